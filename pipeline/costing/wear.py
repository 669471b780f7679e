"""What brings a fault about without its parents: wear in years and miles, the roots' direct effects, renewals."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.costing.network import Network
from pipeline.costing.signs import Renewal, Signs, renewal
from pipeline.schemas.knowledge_parts import Fault, Life, Service, Wear

Array = NDArray[np.float64]

SOUND = (1.0, 0.0, 0.0)


def fault_wear(network: Network, fault: Fault, signs: Signs) -> tuple[Array, Renewal | None]:
    """P(sound, minor, major) from wear for each joint state of the roots, shape (root states, 3).

    Weibull lives (Weibull 1951) in years and in miles, the worse of both; the roots and the year of building set the
    pace (accelerated life). A renewal that the advert tells of is believed as far as `trust` says for each care state.
    """
    pace = np.full(len(network.configs), fault.wear.pace(signs.year_built))
    for root, values in fault.roots.items():
        pace = pace * network.by_root(root, values)
    table = _worn(fault.wear, pace, signs.age, signs.miles)
    renewed = renewal(signs, fault.speaks, fault.undated_years)
    if renewed is not None:
        what, share = renewed
        trust = (share * network.by_root("care", fault.trust, 0.0))[:, None]
        table = trust * _worn(fault.wear, pace, what.years, what.miles) + (1 - trust) * table
    return table, renewed[0] if renewed else None


def fits(table: Array, chance: float) -> Array:
    """Likelihood that makes a node bad only where the part is fitted, shape of `table`, (root states, 3).

    With wear alone P(bad) becomes `chance` times what it was, without any bearing on the roots; what parents bring is
    scaled by nearly as much.
    """
    bad = table[:, 1:].sum(axis=-1)
    sound = (1 - chance * bad) / np.maximum(1 - bad, 1e-12)
    return np.stack([sound, np.full_like(sound, chance), np.full_like(sound, chance)], axis=-1)


def _worn(wear: Wear, pace: Array, years: float, miles: float) -> Array:
    leak = np.array([1 - sum(wear.leak), *wear.leak])
    cumulative = np.broadcast_to(np.cumsum(leak), (len(pace), 3))
    for life, since in ((wear.years, years), (wear.miles, miles)):
        if life is not None:
            cumulative = cumulative * np.cumsum(_lasted(life, wear.major_ratio, pace * life.exposure(since)), axis=-1)
    return np.maximum(np.diff(cumulative, axis=-1, prepend=0.0), 0.0)


def _lasted(life: Life, major_ratio: float, exposure: Array) -> Array:
    """P(sound, minor, major) of a Weibull life after an exposure, shape (n, 3); major comes at `major_ratio` lives."""
    sound = np.exp(-((exposure / life.life) ** life.shape))
    not_major = np.exp(-((exposure / (life.life * major_ratio)) ** life.shape))
    return np.stack([sound, not_major - sound, 1 - not_major], axis=-1)


def service_wear(network: Network, service: Service, signs: Signs) -> tuple[Array, Renewal | None]:
    """P(kept, overdue, -) for each joint state of the roots, shape (root states, 3); overdue stands as `minor`.

    Work proven done counts from its date: overdue when the interval ends within the buyer's first year.
    """
    overdue = network.by_root("care", service.overdue, 0.0)
    if service.years is not None and signs.age < service.years:  # not even once due since new
        overdue = overdue * (signs.age / service.years)
    renewed = renewal(signs, service.speaks, service.undated_years)
    if renewed is not None:
        what, share = renewed
        a_year = signs.miles / max(signs.age, 1.0)
        due = max(_due(what.years, 1.0, service.years), _due(what.miles, a_year, service.miles))
        trust = share * network.by_root("care", service.trust, 0.0)
        overdue = trust * due + (1 - trust) * overdue
    return np.stack([1 - overdue, overdue, np.zeros_like(overdue)], axis=-1), renewed[0] if renewed else None


def _due(since: float, a_year: float, interval: float | None) -> float:
    """Chance that work is due: rises from a tenth of the interval before its end to a tenth after.

    The buyer's first year counts too, though at most a quarter of the interval: what is done every year anyway is
    running cost, not repair.
    """
    if interval is None:
        return 0.0
    ahead = min(a_year, 0.25 * interval)
    return float(np.clip(((since + ahead) / interval - 0.9) / 0.2, 0.0, 1.0))
