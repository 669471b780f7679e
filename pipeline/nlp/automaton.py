"""One word-level automaton for all patterns of the rules: a trie with gaps, made deterministic where texts need it.

A state is the nodes of the trie to which the same words lead. Of all states texts meet few; each is made once.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise, product
from math import prod
from typing import Any, TypeAlias

from pipeline.nlp.tokens import Normaliser, pattern_words

GAP = "\0gap"
END = "\0end"
ALSO = "\0also"  # shared chains that go on from a node
NUMBER = "<n>"
GAP_REACH = 4
_GAP_STOPS = frozenset({".", "!", "?", ";", "\n", "(", ")", ":", ",", "but"})
_MAX_VARIANTS = 60
_MOST_STATES = 60_000  # a few times what ten thousand adverts meet
_NO_MORE = ""  # after the last token; no pattern has such a word

Node = dict[str, Any]

# The states to which words lead, () for one not made yet; the rules that end here; the words that lead on after a gap;
# the nodes. A plain tuple: it is taken apart at every step.
Steps: TypeAlias = "dict[str, State | tuple[()]]"
State: TypeAlias = "tuple[Steps, tuple[int, ...], frozenset[str], tuple[Node, ...]]"


# Start and end token of a match (end exclusive), the tokens that it consumed (without gaps), the number of the rule. A
# plain tuple: there are sixty in an advert, most of which a longer one overrules.
Hit: TypeAlias = "tuple[int, int, tuple[int, ...], int]"


class Automaton:
    """Patterns -> rule numbers."""

    def __init__(self) -> None:
        self._root: Node = {}
        self._begin: dict[str, State] = {}
        self._states: dict[tuple[int, ...], State] = {}  # by their nodes
        self._normaliser = Normaliser()

    def add(self, pattern: str, rule: int) -> None:
        """Adds a pattern. One of many alternatives becomes a chain that they share, not a phrase for each."""
        self._begin = {}
        options = [self._options(word) for word in pattern.split()]
        if prod(len(option) for option in options) > _MAX_VARIANTS:
            rest: Node = {END: [rule]}
            for option in reversed(options[1:]):
                rest = _slot(option, rest)
            for words in options[0]:
                self._path(words).setdefault(ALSO, []).append(rest)
            return
        for combination in product(*options):
            rules = self._path(tuple(word for words in combination for word in words)).setdefault(END, [])
            if rule not in rules:
                rules.append(rule)

    def _path(self, words: tuple[str, ...]) -> Node:
        node = self._root
        for word in words:
            node = node.setdefault(word, {})
        return node

    def _options(self, word: str) -> list[tuple[str, ...]]:
        if word == "..":
            return [(GAP,)]
        optional = word.endswith("?") and len(word) > 1
        found: list[tuple[str, ...]] = []
        for alternative in word.rstrip("?").split("|") if optional else word.split("|"):
            words = (NUMBER,) if alternative == NUMBER else tuple(pattern_words(alternative, self._normaliser))
            if words and words not in found:
                found.append(words)
        if optional:
            found.append(())
        return found

    def words(self) -> Iterable[str]:
        """Every word of the patterns."""
        stack: list[Node] = [self._root]
        seen: set[str] = set()
        known: set[int] = set()
        while stack:
            node = stack.pop()
            if id(node) in known:
                continue
            known.add(id(node))
            for key, child in node.items():
                if key == ALSO:
                    stack.extend(child)
                elif key != END:
                    seen.add(key)
                    stack.append(child)
        return seen

    def find(self, norms: list[str]) -> list[Hit]:
        """All matches of all patterns, in order of their start. Bounded work for each token."""
        if not self._begin or len(self._states) > _MOST_STATES:
            self._states = {}
            self._begin = {word: self._state((node,)) for word, node in self._root.items() if word[0] != "\0"}
        hits: list[Hit] = []
        figure = self._begin.get(NUMBER)
        said = [*norms, _NO_MORE]
        for start, state in enumerate(map(self._begin.get, norms)):
            if state is None:
                if figure is None or not norms[start][:1].isdecimal():
                    continue
                state = figure
            at = start + 1
            while True:
                steps, ended, gap, _ = state
                if gap and not gap.isdisjoint(said[at : at + GAP_REACH + 1]):
                    self._walk(state, said, start, at, hits)
                    break
                if ended:
                    words = tuple(range(start, at))
                    for rule in ended:
                        hits.append((start, at, words, rule))
                after = steps.get(said[at])
                if not after:
                    if after is None and NUMBER not in steps:
                        break
                    after = self._after(state, said[at])
                    if after is None:
                        break
                state = after
                at += 1
        return hits

    def _walk(self, state: State, said: list[str], start: int, at: int, hits: list[Hit]) -> None:
        """All matches, also those with gaps, that begin with the tokens start..at, which lead to a state."""
        stack = [(state, at, tuple(range(start, at)))]
        while stack:
            state, at, words = stack.pop()
            _, ended, gap, nodes = state
            for rule in ended:
                hits.append((start, at, words, rule))
            near = said[at : at + GAP_REACH + 1]
            if gap.isdisjoint(near):
                after = self._after(state, said[at])
                if after is not None:
                    stack.append((after, at + 1, (*words, at)))
                continue
            # What a node leads to after a gap comes before what it leads to without, and after the nodes before it.
            gaps = [i for i, node in enumerate(nodes) if i and GAP in node and not node[GAP].keys().isdisjoint(near)]
            for first, last in reversed(list(pairwise([0, *gaps, len(nodes)]))):
                following = _following(nodes[first:last], said[at])
                if following:
                    stack.append((self._state(following), at + 1, (*words, at)))
                beyond = nodes[first].get(GAP, {})
                for place, word in enumerate(near, at):
                    if word in beyond:
                        stack.append((self._state((beyond[word],)), place + 1, (*words, place)))
                    if word in _GAP_STOPS:
                        break

    def _after(self, state: State, word: str) -> State | None:
        """The state to which a word leads on from a state."""
        steps, _, _, nodes = state
        key = word
        if word not in steps:
            if NUMBER not in steps or not word[:1].isdecimal():
                return None
            key = NUMBER
        after = steps[key]
        if not after:
            after = steps[key] = self._state(_following(nodes, word))
        return after

    def _state(self, nodes: tuple[Node, ...]) -> State:
        """The state of some nodes and the chains that go on from them."""
        name = tuple(map(id, nodes))
        state = self._states.get(name)
        if state is None:
            every = tuple(one for node in nodes for one in _with_chains(node))
            steps: Steps = {word: () for node in every for word in node if word[0] != "\0"}
            gap = frozenset(word for node in every for word in node.get(GAP, ()) if word[0] != "\0")
            state = steps, tuple(rule for node in every for rule in node.get(END, ())), gap, every
            self._states[name] = state
        return state


def _following(nodes: Iterable[Node], word: str) -> tuple[Node, ...]:
    """The nodes to which a word leads, also as a number."""
    keys = (NUMBER, word) if word[:1].isdecimal() else (word,)
    return tuple(node[key] for node in nodes for key in keys if key in node)


def _with_chains(node: Node) -> list[Node]:
    """A node and the shared chains that go on from it, the last first."""
    return [node, *(one for chain in reversed(node.get(ALSO, ())) for one in _with_chains(chain))]


def _slot(option: list[tuple[str, ...]], rest: Node) -> Node:
    """A node from which each alternative of one place of a pattern leads to `rest`."""
    node: Node = {}
    for words in option:
        node = _merged(node, _lead(words, rest))
    return node


def _lead(words: tuple[str, ...], rest: Node) -> Node:
    for word in reversed(words):
        rest = {word: rest}
    return rest


def _merged(one: Node, two: Node) -> Node:
    """Both nodes in a new one; neither is changed, for both may be shared."""
    both = dict(one)
    for key, child in two.items():
        if key not in both:
            both[key] = child
        elif key == END:
            both[key] = [*both[key], *child]
        else:
            both[key] = _merged(both[key], child)
    return both
