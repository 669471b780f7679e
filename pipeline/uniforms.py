"""Common random numbers: one column of uniforms for each named quantity, the same for every vehicle and every night."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def column(name: str, samples: int, seed: int) -> Array:
    """Stratified uniforms in [0, 1), shape (samples,), one in each of `samples` equal strata in random order.

    A column depends on its name, the seed and the number of samples only, so that a fault added to the rules moves no
    other's draws. Stratification (McKay, Beckman & Conover 1979) keeps each margin's error near 1/samples.
    """
    digest = hashlib.sha256(f"{seed}:{name}".encode()).digest()
    rng = np.random.default_rng(np.frombuffer(digest, dtype=np.uint32))
    return np.asarray((rng.permutation(samples) + rng.random(samples)) / samples, dtype=np.float64)


def columns(names: Iterable[str], samples: int, seed: int) -> Array:
    """The columns of several names side by side, shape (samples, names)."""
    return np.column_stack([column(name, samples, seed) for name in names])
