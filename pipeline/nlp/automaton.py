"""One word-level automaton for all patterns of the rules: a trie with gaps, walked once over the tokens."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import product
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

Node = dict[str, Any]


Steps: TypeAlias = "dict[str, Frozen]"
Chains: TypeAlias = "tuple[tuple[Frozen, int], ...]"  # the nodes with which they begin or go on, words taken for it
# The nodes that words lead to, rules that end here, the chains that go on with a word, those that may go on otherwise,
# words of which one must be in reach for that (None: it may be none of them), the node after a number, the nodes that
# words after a gap lead to. A plain tuple: it is taken apart at every step.
Frozen: TypeAlias = (
    "tuple[Steps, tuple[int, ...], dict[str, Chains], Chains, frozenset[str] | None, Frozen | None, Steps]"
)


# Start and end token of a match (end exclusive), the tokens that it consumed (without gaps), the number of the rule. A
# plain tuple: there are sixty in an advert, most of which a longer one overrules.
Hit: TypeAlias = "tuple[int, int, tuple[int, ...], int]"


class Automaton:
    """Patterns -> rule numbers."""

    def __init__(self) -> None:
        self._root: Node = {}
        self._frozen: Frozen | None = None
        self._normaliser = Normaliser()

    def add(self, pattern: str, rule: int) -> None:
        """Adds a pattern. One of many alternatives becomes a chain that they share, not a phrase for each."""
        self._frozen = None
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
        if self._frozen is None:
            self._frozen = _freeze(self._root, {})
        hits: list[Hit] = []
        root, _, _, _, _, number, _ = self._frozen
        size = len(norms)
        for start, norm in enumerate(norms):
            node = root.get(norm)
            if node is None:
                if number is None or not norm[:1].isdecimal():
                    continue
                node = number
            children, ended, chains, loose, ahead, figure, gap = node
            after = norms[start + 1] if start + 1 < size else ""
            if (
                after in children
                or after in chains
                or (figure is not None and after[:1].isdecimal())
                or (loose and (ahead is None or not ahead.isdisjoint(norms[start + 1 : start + GAP_REACH + 2])))
                or (gap and not gap.keys().isdisjoint(norms[start + 1 : start + GAP_REACH + 2]))
            ):
                _walk(node, norms, start, size, hits)
            else:
                for rule in ended:
                    hits.append((start, start + 1, (start,), rule))
        return hits


def _freeze(node: Node, known: dict[int, Frozen]) -> Frozen:
    """A node as the walk wants it; shared chains stay shared."""
    frozen = known.get(id(node))
    if frozen is None:
        children = {key: _freeze(child, known) for key, child in node.items() if key[0] != "\0" and key != NUMBER}
        every = [_freeze(one, known) for one in node.get(ALSO, ())]
        loose = tuple((chain, 0) for chain in every if _wide(chain))
        chains = {
            word: tuple(
                (chain, 0) if _wide(chain) else (chain[0][word], 1)
                for chain in every
                if _wide(chain) or word in chain[0]
            )
            for word in {word for chain in every for word in chain[0]}
        }
        number = _freeze(node[NUMBER], known) if NUMBER in node else None
        gap = _freeze(node[GAP], known)[0] if GAP in node else {}
        frozen = (children, tuple(node.get(END, ())), chains, loose, _ahead(loose), number, gap)
        known[id(node)] = frozen
    return frozen


def _wide(chain: Frozen) -> bool:
    """Whether anything but a word leads on from the node with which a chain begins."""
    _, ended, chains, loose, _, number, gap = chain
    return bool(ended or chains or loose or number or gap)


def _ahead(loose: tuple[tuple[Frozen, int], ...]) -> frozenset[str] | None:
    """Words of which one must be in reach, lest none of the chains goes on; None when they may go on without."""
    words: set[str] = set()
    for (children, ended, chains, further, _, number, gap), _ in loose:
        if ended or number or further:
            return None
        words.update(children, chains, gap)
    return frozenset(words)


def _walk(node: Frozen, norms: list[str], start: int, size: int, hits: list[Hit]) -> None:
    stack: list[tuple[Frozen, int, tuple[int, ...]]] = [(node, start + 1, (start,))]
    while stack:
        (children, ended, chains, loose, ahead, number, gap), at, words = stack.pop()
        for rule in ended:
            hits.append((start, at, words, rule))
        if at >= size:
            continue
        norm = norms[at]
        if norm in chains:
            for chain, taken in chains[norm]:
                stack.append((chain, at + taken, (*words, at) if taken else words))
        elif loose and (ahead is None or not ahead.isdisjoint(norms[at : at + GAP_REACH + 1])):
            for chain, _ in loose:
                stack.append((chain, at, words))
        if norm in children:
            stack.append((children[norm], at + 1, (*words, at)))
        if number is not None and norm[:1].isdecimal():
            stack.append((number, at + 1, (*words, at)))
        if gap and not gap.keys().isdisjoint(norms[at : at + GAP_REACH + 1]):
            for place in range(at, min(size, at + GAP_REACH + 1)):
                if place > at and norms[place - 1] in _GAP_STOPS:
                    break
                child = gap.get(norms[place])
                if child is not None:
                    stack.append((child, place + 1, (*words, place)))


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
