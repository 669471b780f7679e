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

_NOWHERE: dict[str, int] = {}  # one for all states from which no word leads on: a processor's cache holds it

# Start and end token of a match (end exclusive), the tokens that it consumed (without gaps), the number of the rule. A
# plain tuple: there are sixty in an advert, most of which a longer one overrules.
Hit: TypeAlias = "tuple[int, int, tuple[int, ...], int]"


class Automaton:
    """Patterns -> rule numbers."""

    def __init__(self) -> None:
        self._root: Node = {}
        self._begin: dict[str, int] = {}  # the states of the first words
        self._forget()
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

    def _forget(self) -> None:
        """Leaves no states but the first, which stands for one not made yet.

        What is told of a state is in lists, by its number, without a node: so the garbage collector has nothing to
        look at, however many there are.
        """
        self._states: dict[tuple[int, ...], int] = {}  # by the nodes
        self._steps = [_NOWHERE]  # the states to which words lead
        self._ended: list[tuple[int, ...]] = [()]  # the rules that end there
        self._gaps: list[frozenset[str]] = [frozenset()]  # the words that lead on after a gap
        self._members: list[tuple[int, ...]] = [()]  # the nodes
        self._gapped: list[tuple[int, ...]] = [()]  # places of those after which a gap may stand

    def _every(self) -> dict[int, Node]:
        """Every node by its id."""
        stack: list[Node] = [self._root]
        known: dict[int, Node] = {}
        while stack:
            node = stack.pop()
            if id(node) not in known:
                known[id(node)] = node
                for key, child in node.items():
                    if key == ALSO:
                        stack.extend(child)
                    elif key != END:
                        stack.append(child)
        return known

    def words(self) -> Iterable[str]:
        """Every word of the patterns."""
        return {key for node in self._every().values() for key in node if key not in (ALSO, END)}

    def find(self, norms: list[str]) -> list[Hit]:
        """All matches of all patterns, in order of their start. Bounded work for each token."""
        if not self._begin or len(self._steps) > _MOST_STATES:
            self._nodes = self._every()
            self._forget()
            self._begin = {word: self._state((node,)) for word, node in self._root.items() if word[0] != "\0"}
        hits: list[Hit] = []
        every_steps, every_ended, every_gap = self._steps, self._ended, self._gaps
        figure = self._begin.get(NUMBER)
        said = [*norms, _NO_MORE]
        for start, state in enumerate(map(self._begin.get, norms)):
            if state is None:
                if figure is None or not norms[start][:1].isdecimal():
                    continue
                state = figure
            at = start + 1
            while True:
                gap = every_gap[state]
                if gap and not gap.isdisjoint(said[at : at + GAP_REACH + 1]):
                    self._walk(state, said, start, at, hits)
                    break
                ended = every_ended[state]
                if ended:
                    words = tuple(range(start, at))
                    for rule in ended:
                        hits.append((start, at, words, rule))
                steps = every_steps[state]
                after = steps.get(said[at])
                if not after:
                    if after is None and NUMBER not in steps:
                        break
                    after = self._after(state, said[at])
                    if not after:
                        break
                state = after
                at += 1
        return hits

    def _walk(self, state: int, said: list[str], start: int, at: int, hits: list[Hit]) -> None:
        """All matches, also those with gaps, that begin with the tokens start..at, which lead to a state."""
        stack = [(state, at, tuple(range(start, at)))]
        while stack:
            state, at, words = stack.pop()
            for rule in self._ended[state]:
                hits.append((start, at, words, rule))
            near = said[at : at + GAP_REACH + 1]
            after = self._after(state, said[at])
            if self._gaps[state].isdisjoint(near):
                if after:
                    stack.append((after, at + 1, (*words, at)))
                continue
            # What a node leads to after a gap comes before what it leads to without, and after the nodes before it.
            every, members = self._nodes, self._members[state]
            gaps = [i for i in self._gapped[state] if i and not every[members[i]][GAP].keys().isdisjoint(near)]
            for first, last in reversed(list(pairwise([0, *gaps, len(members)]))):
                following = _following([every[member] for member in members[first:last]], said[at]) if after else ()
                if following:
                    stack.append((self._state(following), at + 1, (*words, at)))
                beyond = every[members[first]].get(GAP, {})
                for place, word in enumerate(near if beyond else (), at):
                    if word in beyond:
                        stack.append((self._state((beyond[word],)), place + 1, (*words, place)))
                    if word in _GAP_STOPS:
                        break

    def _after(self, state: int, word: str) -> int:
        """The state to which a word leads on from a state; 0 where it leads nowhere."""
        steps = self._steps[state]
        key = word
        if word not in steps:
            if NUMBER not in steps or not word[:1].isdecimal():
                return 0
            key = NUMBER
        after = steps[key]
        if not after:
            nodes = [self._nodes[member] for member in self._members[state]]
            after = steps[key] = self._state(_following(nodes, word))
        return after

    def _state(self, nodes: tuple[Node, ...]) -> int:
        """The state of some nodes and the chains that go on from them."""
        name = tuple(map(id, nodes))
        state = self._states.get(name)
        if state is None:
            state = self._states[name] = len(self._steps)
            every = [one for node in nodes for one in _with_chains(node)]
            steps = {word: 0 for node in every for word in node if word[0] != "\0"}
            self._steps.append(steps or _NOWHERE)
            self._ended.append(tuple([rule for node in every for rule in node.get(END, ())]))
            self._gaps.append(frozenset(word for node in every for word in node.get(GAP, ()) if word[0] != "\0"))
            self._members.append(tuple(map(id, every)))
            self._gapped.append(tuple([place for place, node in enumerate(every) if GAP in node]))
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
