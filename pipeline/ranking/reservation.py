"""The reservation price of a search with recall.

Weitzman (1979), Optimal search for the best alternative, Econometrica 47:641-654: the box to open next is the one with
the highest reservation price z, which solves cost = E[(X - z)+]; stop when the best found beats every z left.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def reservation_price(
    values: ArrayLike, cost: ArrayLike, weights: ArrayLike | None = None, discount: float = 1.0
) -> Array:
    """z solving z = -cost + discount * E[max(X, z)], exactly, for distributions given by weighted points.

    `values`: (..., n) points; `cost`: (...) not negative; `weights`: (n,) or (..., n), summing to 1 (default: equal);
    `discount`: factor in (0, 1] on what is found, for search that takes time. Returns z, shape (...).

    E[(X - z)+] is the largest of the lines S_k - z W_k over the k best points (S, W: their weighted sum and weight),
    so that the root is the largest of the lines' roots. Raises ValueError on a negative cost.
    """
    x = np.asarray(values, dtype=np.float64)
    c = np.asarray(cost, dtype=np.float64)
    if not (np.isfinite(x).all() and np.isfinite(c).all()):
        raise ValueError("values and cost must be finite")
    if np.any(c < 0) or not 0 < discount <= 1:
        raise ValueError("cost must not be negative and discount must be in (0, 1]")
    if weights is None:
        best, weight = np.sort(x, axis=-1)[..., ::-1], np.full(x.shape, 1.0 / x.shape[-1])
    else:
        order = np.argsort(-x, axis=-1, kind="stable")
        best = np.take_along_axis(x, order, axis=-1)
        weight = np.take_along_axis(np.broadcast_to(np.asarray(weights, dtype=np.float64), x.shape), order, axis=-1)
    total, mass = np.cumsum(weight * best, axis=-1), np.cumsum(weight, axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        roots = (discount * total - c[..., None]) / (discount * mass + 1.0 - discount)
        none = np.where(discount < 1, -c / np.float64(1.0 - discount), -np.inf)  # k = 0: nothing found beats z
    return np.asarray(np.fmax(np.nanmax(roots, axis=-1), none))
