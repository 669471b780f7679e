"""The belief network over one vehicle: hidden roots, and faults that wear, the roots and other faults bring about."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from graphlib import CycleError, TopologicalSorter

import numpy as np
from numpy.typing import NDArray

from pipeline.costing.noisy_max import noisy_max
from pipeline.errors import RuleError
from pipeline.types import STATES

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Link:
    """A node that causes another: `effect[s]` is the distribution that a parent in state s brings alone."""

    parent: str
    effect: tuple[tuple[float, float, float], ...]


@dataclass(frozen=True, slots=True)
class Node:
    """One fault or service: sound / minor / major (a service that is overdue is `minor`)."""

    id: str
    links: tuple[Link, ...] = ()


@dataclass(frozen=True)
class Network:
    """Roots and nodes. Raises RuleError on a cycle, an unknown name or numbers that are no probabilities."""

    priors: Mapping[str, Mapping[str, float]]  # root -> its states with their probabilities
    nodes: tuple[Node, ...]
    configs: tuple[tuple[int, ...], ...] = field(init=False)  # every joint state of the roots, as indices
    _laid_out: dict[tuple[object, ...], Array] = field(init=False, repr=False, compare=False, default_factory=dict)

    def __post_init__(self) -> None:
        configs = tuple(itertools.product(*(range(len(states)) for states in self.priors.values())))
        object.__setattr__(self, "configs", configs)
        for root, prior in self.priors.items():
            if len(prior) < 2 or min(prior.values()) < 0 or abs(sum(prior.values()) - 1) > 1e-9:
                raise RuleError("needs two or more probabilities that sum to 1", where=f"root {root}")
        ids = {node.id for node in self.nodes}
        if len(ids) != len(self.nodes):
            raise RuleError("an id stands twice", where="faults")
        for node in self.nodes:
            _check_node(node, ids)
        self.order()

    def order(self) -> tuple[str, ...]:
        """Ids, parents before children."""
        try:
            return tuple(TopologicalSorter({n.id: [k.parent for k in n.links] for n in self.nodes}).static_order())
        except CycleError as error:
            raise RuleError(f"faults cause each other in a circle: {' → '.join(error.args[1])}") from error

    @cached_property
    def elimination(self) -> tuple[str, ...]:
        """Order in which nodes are summed out: greedy min-fill over what each node's table joins."""
        scopes = [(*(link.parent for link in node.links), node.id) for node in self.nodes]
        return min_fill_order(tuple(node.id for node in self.nodes), scopes)

    def root_prior(self) -> Array:
        """P(joint root state), shape (root states,)."""
        rows = [list(prior.values()) for prior in self.priors.values()]
        return np.array([np.prod([row[i] for row, i in zip(rows, config, strict=True)]) for config in self.configs])

    def by_root(self, root: str, values: Mapping[str, float], otherwise: float = 1.0) -> Array:
        """A number for each state of one root, laid out over the joint states: shape (root states,), read-only."""
        key = (root, otherwise, *values.items())
        found = self._laid_out.get(key)
        if found is None:
            states, position = list(self.priors[root]), list(self.priors).index(root)
            found = np.array([values.get(states[config[position]], otherwise) for config in self.configs])
            found.setflags(write=False)
            self._laid_out[key] = found
        return found


def table(node: Node, wear: Array) -> Array:
    """P(node | roots, parents), shape (vehicles, root states, 3 a parent ..., 3).

    `wear`: (vehicles, root states, 3), what age, miles and the roots bring without any parent.
    """
    return noisy_max(wear, [np.array(link.effect) for link in node.links])


def min_fill_order(ids: tuple[str, ...], scopes: Sequence[tuple[str, ...]]) -> tuple[str, ...]:
    """Elimination order that adds few edges: greedy min-fill, ties by degree, then as declared.

    Components never share an edge, so that one order serves them all without mixing their tables.
    """
    near: dict[str, set[str]] = {i: set() for i in ids}
    for scope in scopes:
        for a, b in itertools.combinations(scope, 2):
            near[a].add(b)
            near[b].add(a)
    order: list[str] = []
    while near:
        best = min(
            near, key=lambda i: (sum(b not in near[a] for a, b in itertools.combinations(near[i], 2)), len(near[i]))
        )
        around = near.pop(best)
        for a in around:
            near[a] |= around
            near[a] -= {a, best}
        order.append(best)
    return tuple(order)


def _check_node(node: Node, ids: set[str]) -> None:
    where = f"fault {node.id}"
    parents = [link.parent for link in node.links]
    if len(set(parents)) != len(parents):
        raise RuleError("names a parent twice", where=where)
    for parent in parents:
        if parent not in ids:
            raise RuleError(f"is caused by {parent!r}, which is not a fault", where=where)
    rows = [row for link in node.links for row in link.effect]
    if any(len(link.effect) != len(STATES) for link in node.links) or any(
        len(row) != len(STATES) or min(row) < 0 or abs(sum(row) - 1) > 1e-9 for row in rows
    ):
        raise RuleError("needs rows of three probabilities that sum to 1", where=where)
    if any(link.effect[0][0] != 1.0 for link in node.links):
        raise RuleError("a sound parent must bring nothing: its row is 1, 0, 0", where=where)
