"""Conditional probability tables by noisy-MAX, with noisy-OR as the two-state case.

Each cause alone would bring the effect to some state; the effect is the worst of what its causes bring. So
cumulative probabilities multiply: P(X <= k | parents) = P(leak <= k) * prod_i P(X_i <= k | parent_i).
Sources: Pearl, Probabilistic Reasoning in Intelligent Systems, 1988 (noisy-OR); Henrion 1989 and Díez 1993
(graded generalisation).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def noisy_max(leak: Array, effects: Sequence[Array]) -> Array:
    """Table of a K-state effect, states in rising severity.

    `leak`: (..., K), what the causes outside the table bring; leading axes (vehicles, root states) are kept.
    `effects`: one array (parent states, K) a parent, each row a distribution.
    Returns (..., parent 1 states, ..., parent n states, K). Raises ValueError on anything but distributions.
    """
    _check(leak, "leak")
    batch, states = leak.ndim - 1, leak.shape[-1]
    cumulative = np.cumsum(leak, axis=-1).reshape(*leak.shape[:-1], *[1] * len(effects), states)
    for position, effect in enumerate(effects):
        _check(effect, f"effect {position}")
        if effect.ndim != 2 or effect.shape[1] != states:
            raise ValueError(f"effect {position} has shape {effect.shape}, not (parent states, {states})")
        shape = [1] * (batch + len(effects)) + [states]
        shape[batch + position] = effect.shape[0]
        cumulative = cumulative * np.cumsum(effect, axis=1).reshape(shape)
    table: Array = np.diff(cumulative, axis=-1, prepend=0.0)
    return np.maximum(table, 0.0)  # rounding in the cumulative sums may leave -1e-17


def noisy_or(leak: float, strengths: Sequence[float]) -> Array:
    """Table (2, ..., 2, 2) of a two-state effect; P(1 | parents) = 1 - (1 - leak) * prod over present (1 - q)."""
    effects = [np.array([[1.0, 0.0], [1.0 - q, q]]) for q in strengths]
    return noisy_max(np.array([1.0 - leak, leak]), effects)


def _check(values: Array, what: str) -> None:
    if not (values.min() >= 0.0 and np.abs(values.sum(axis=-1) - 1.0).max() <= 1e-9):  # not a number is neither
        raise ValueError(f"{what}: rows must be probabilities that sum to 1")
