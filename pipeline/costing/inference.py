"""Exact posteriors and exact joint samples of the belief network, vectorised over vehicles.

The joint states of the roots are enumerated. Given them, the fault graph falls into connected components, and
each is solved by bucket elimination (Dechter 1999) in min-fill order; the backward pass over the same buckets
gives every marginal, and drawing instead of summing there gives exact joint samples.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.costing.network import Network, table
from pipeline.errors import StageError

Array = NDArray[np.float64]
AT_ONCE = 8  # vehicles drawn at once: what is at hand stays in a processor's cache
Factor = tuple[tuple[str, ...], Array]  # fault ids, values (vehicles or 1, root states or 1, 3 an id ...)


@dataclass(frozen=True, slots=True)
class Bucket:
    """P(node | given, roots, evidence): `table` is (vehicles, root states, 3 a given ..., 3)."""

    node: str
    given: tuple[str, ...]  # all eliminated later, so all known before it on the way back
    table: Array


@dataclass(frozen=True, slots=True)
class Solved:
    """The network given the evidence. `root_weights`: (vehicles, root states); `log_evidence`: (vehicles,)."""

    network: Network
    root_weights: Array
    log_evidence: Array
    buckets: tuple[Bucket, ...]  # in the order of elimination

    @property
    def ids(self) -> tuple[str, ...]:
        """Node ids as declared in the network."""
        return tuple(node.id for node in self.network.nodes)

    def roots(self) -> dict[str, Array]:
        """Posterior of each root: (vehicles, its states)."""
        sizes = [len(states) for states in self.network.priors.values()]
        joint = self.root_weights.reshape(-1, *sizes)
        axes = range(1, len(sizes) + 1)
        return {root: joint.sum(axis=tuple(a for a in axes if a != i)) for i, root in enumerate(self.network.priors, 1)}

    def marginals(self) -> dict[str, Array]:
        """Posterior of each fault: (vehicles, 3)."""
        known: dict[str, Factor] = {}  # node -> its clique's distribution given the roots
        found: dict[str, Array] = {}
        for bucket in reversed(self.buckets):
            factors: list[Factor] = [((*bucket.given, bucket.node), bucket.table)]
            if bucket.given:
                holder = next(known[b.node] for b in self.buckets if b.node in bucket.given)
                factors.append((bucket.given, _combine([holder], bucket.given)))
            clique = (*bucket.given, bucket.node)
            known[bucket.node] = (clique, _combine(factors, clique))
            alone = _combine([known[bucket.node]], (bucket.node,))
            found[bucket.node] = np.einsum("vr,vrk->vk", self.root_weights, alone)
        return {node: found[node] for node in self.ids}

    def sample(self, uniforms: Array) -> tuple[NDArray[np.intp], NDArray[np.int8]]:
        """Exact draws from the joint posterior, the same uniforms for every vehicle (common random numbers).

        `uniforms`: (samples, 1 + faults) in [0, 1); column 0 draws the roots, column 1 + i the fault `ids[i]`.
        Returns root states (vehicles, samples), rows of `network.configs`, and states (vehicles, samples, faults).
        """
        if uniforms.ndim != 2 or uniforms.shape[1] != 1 + len(self.ids):
            raise ValueError(f"uniforms have shape {uniforms.shape}, not (samples, {1 + len(self.ids)})")
        vehicles, column = len(self.root_weights), {node: i for i, node in enumerate(self.ids)}
        chances = np.cumsum(self.root_weights, axis=1)
        roots = np.stack([np.searchsorted(row / row[-1], uniforms[:, 0], side="right") for row in chances])
        configs, at = len(self.network.configs), np.ascontiguousarray(uniforms.T)
        steps = []
        for bucket in reversed(self.buckets):
            shape = (vehicles, configs, *bucket.table.shape[2:])
            cumulative = np.cumsum(np.broadcast_to(bucket.table, shape), axis=-1)
            with np.errstate(invalid="ignore"):  # rows of no chance at all are never reached
                passed = [(cumulative[..., k] / cumulative[..., -1]).reshape(vehicles, -1) for k in (0, 1)]
            steps.append((column[bucket.node], [column[given] for given in bucket.given], passed))
        states = np.zeros((vehicles, len(self.ids), len(uniforms)), dtype=np.int8)
        for start in range(0, vehicles, AT_ONCE):
            some = slice(start, start + AT_ONCE)
            mine = states[some]
            base = np.arange(len(mine))[:, None] * configs + roots[some]
            for own, given, passed in steps:
                place = base
                for parent in given:
                    place = place * 3 + mine[:, parent]
                # A state is passed when the uniform is at or above its cumulative chance: one of no chance is never
                # drawn.
                first, second = ((at[1 + own] >= chance[some].take(place)).view(np.int8) for chance in passed)
                np.add(first, second, out=mine[:, own])
        return roots.astype(np.intp), np.moveaxis(states, 1, 2)


def solve(
    network: Network,
    wear: Mapping[str, Array],
    root_likelihood: Mapping[str, Array] | None = None,
    node_likelihood: Mapping[str, Array] | None = None,
) -> Solved:
    """Condition the network on P(what the advert says | state).

    `wear`: node -> (vehicles, root states, 3), what brings it about without its parents. `root_likelihood`: root ->
    (vehicles, its states); `node_likelihood`: node -> (vehicles, 3) or (vehicles, root states, 3); what is missing is
    no evidence. Only ratios of a row matter to posteriors. Raises StageError when the evidence of a vehicle is
    impossible.
    """
    ids = tuple(node.id for node in network.nodes)
    root_likelihood, node_likelihood = root_likelihood or {}, node_likelihood or {}
    unknown = (set(root_likelihood) - set(network.priors)) | (set(node_likelihood) - set(ids))
    if unknown:
        raise ValueError(f"evidence on what the network does not have: {', '.join(sorted(unknown))}")
    factors: list[Factor] = []
    for node in network.nodes:
        factors.append(((*(link.parent for link in node.links), node.id), table(node, wear[node.id])))
        if node.id in node_likelihood:
            seen = node_likelihood[node.id]
            factors.append(((node.id,), seen if seen.ndim == 3 else seen[:, None, :]))
    vehicles = max((values.shape[0] for _, values in factors), default=1)
    log_z = np.zeros((vehicles, len(network.configs)))
    weights = np.broadcast_to(network.root_prior(), log_z.shape)
    for position, root in enumerate(network.priors):
        if root in root_likelihood:
            weights = weights * root_likelihood[root][:, [config[position] for config in network.configs]]
    buckets: list[Bucket] = []
    for node_id in network.elimination:
        mine = [f for f in factors if node_id in f[0]]
        factors = [f for f in factors if node_id not in f[0]]
        given = tuple(sorted({i for scope, _ in mine for i in scope} - {node_id}))
        product = _combine(mine, (*given, node_id))
        message = product.sum(axis=-1)
        chances = np.divide(product, message[..., None], out=np.zeros_like(product), where=message[..., None] > 0)
        buckets.append(Bucket(node_id, given, chances))
        # Many faint likelihoods would underflow: keep the size of each message as a logarithm.
        size = message.max(axis=tuple(range(2, message.ndim))) if given else message
        with np.errstate(divide="ignore"):
            log_z = log_z + np.log(size)
        if given:
            safe = np.where(size > 0, size, 1.0).reshape(*size.shape, *[1] * len(given))
            factors.append((given, message / safe))
    with np.errstate(divide="ignore"):
        log_joint = np.log(weights) + log_z
    peak = log_joint.max(axis=1, keepdims=True)
    if not np.all(np.isfinite(peak)):
        which = ", ".join(str(i) for i in np.flatnonzero(~np.isfinite(peak[:, 0])))
        raise StageError(f"costing: the evidence rules out every state (vehicle index {which})")
    joint = np.exp(log_joint - peak)
    total = joint.sum(axis=1, keepdims=True)
    return Solved(network, joint / total, (peak + np.log(total))[:, 0], tuple(buckets))


def _combine(factors: list[Factor], out: tuple[str, ...]) -> Array:
    """Product of factors summed down to `out`: (vehicles, root states, 3 an id of out ...)."""
    label = {node: i for i, node in enumerate(dict.fromkeys(i for scope, _ in factors for i in scope))}
    operands: list[object] = []
    for scope, values in factors:
        operands += [values, [Ellipsis, *(label[i] for i in scope)]]
    result: Array = np.einsum(*operands, [Ellipsis, *(label[i] for i in out)], optimize=len(factors) > 2)  # type: ignore[call-overload]
    return result
