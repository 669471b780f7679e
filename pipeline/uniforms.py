"""Common random numbers: one column of uniforms for each named quantity, the same for every vehicle and every night."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
KEPT = 1024  # columns kept at hand, 32 kB each at 4,000 samples
SMALL = 1 << 13  # samples up to which they are


def column(name: str, samples: int, seed: int) -> Array:
    """Stratified uniforms in [0, 1), shape (samples,), one in each of as many equal strata, in random order; read-only.

    A column depends on its name, the seed and the number of samples only, so that a fault added to the rules moves no
    other's draws. Stratification (McKay, Beckman & Conover 1979) keeps each margin's error near 1/samples.
    """
    return _kept(name, samples, seed) if samples <= SMALL else _drawn(name, samples, seed)


def _drawn(name: str, samples: int, seed: int) -> Array:
    digest = hashlib.sha256(f"{seed}:{name}".encode()).digest()
    rng = np.random.default_rng(np.frombuffer(digest, dtype=np.uint32))
    drawn = np.asarray((rng.permutation(samples) + rng.random(samples)) / samples, dtype=np.float64)
    drawn.flags.writeable = False
    return drawn


_kept = lru_cache(maxsize=KEPT)(_drawn)


def columns(names: Iterable[str], samples: int, seed: int) -> Array:
    """The columns of several names side by side, shape (samples, names)."""
    return np.column_stack([column(name, samples, seed) for name in names])
