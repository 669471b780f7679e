"""What brings a fault about without its parents: wear in years and miles, the roots' direct effects, renewals."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.costing.network import Network
from pipeline.costing.signs import Fleet, Renewal, renewal
from pipeline.schemas.knowledge_parts import Fault, Service, Wear

Array = NDArray[np.float64]


def fault_wear(network: Network, fault: Fault, fleet: Fleet) -> tuple[Array, dict[int, Renewal]]:
    """P(sound, minor, major) from wear, (vehicles, root states, 3), and the renewals that adverts tell of, by vehicle.

    Weibull lives (Weibull 1951) in years and in miles, the worse of both; the roots and the year of building set the
    pace (accelerated life). A renewal that the advert tells of is believed as far as `trust` says for each care state.
    """
    pace = np.ones((1, len(network.configs)))
    for root, values in fault.roots.items():
        pace = pace * network.by_root(root, values)
    if fault.wear.built:
        pace = pace * np.array([fault.wear.pace(one.year_built) for one in fleet.signs])[:, None]
    result = _worn(fault.wear, pace, fleet.age[:, None], fleet.miles[:, None])
    renewals: dict[int, Renewal] = {}
    for v, (what, share) in _renewed(fleet, fault).items():
        mine = pace[v if len(pace) > 1 else 0]
        trust = (share * network.by_root("care", fault.trust, 0.0))[:, None]
        result[v] = trust * _worn(fault.wear, mine, what.years, what.miles) + (1 - trust) * result[v]
        renewals[v] = what
    return result, renewals


def fits(wear: Array, chance: Array) -> Array:
    """Likelihood that makes a node bad only where the part is fitted, shape of `wear`, (vehicles, root states, 3).

    `chance`: (vehicles,). With wear alone P(bad) becomes `chance` times what it was, without any bearing on the roots;
    what parents bring is scaled by nearly as much.
    """
    bad, fitted = wear[..., 1] + wear[..., 2], chance[:, None]
    result = np.empty_like(wear)
    result[..., 0] = (1 - fitted * bad) / np.maximum(1 - bad, 1e-12)
    result[..., 1] = result[..., 2] = fitted
    return result


def _renewed(fleet: Fleet, item: Fault | Service) -> dict[int, tuple[Renewal, float]]:
    vehicles = sorted({v for link in item.speaks if link.renews for v in fleet.done.get(link.subject, ())})
    found = {v: renewal(fleet.signs[v], item.speaks, item.undated_years) for v in vehicles}
    return {v: one for v, one in found.items() if one is not None}


def _worn(wear: Wear, pace: Array, years: Array | float, miles: Array | float) -> Array:
    """P(sound, minor, major), the shape of `pace` against `years` and 3 more."""
    sound, not_major = 1 - sum(wear.leak), 1 - wear.leak[1]
    spent = spent_major = np.zeros(1)
    for life, since in ((wear.years, years), (wear.miles, miles)):
        if life is not None:
            mine = (pace * life.exposure(since) / life.life) ** life.shape
            # Major comes at `major_ratio` lives.
            spent, spent_major = spent + mine, spent_major + mine / wear.major_ratio**life.shape
    result = np.empty((*np.broadcast_shapes(np.shape(years), pace.shape), 3))
    result[..., 0] = sound * np.exp(-spent)
    result[..., 2] = 1 - not_major * np.exp(-spent_major)
    result[..., 1] = np.maximum(1 - result[..., 0] - result[..., 2], 0.0)
    return result


def service_wear(network: Network, service: Service, fleet: Fleet) -> tuple[Array, dict[int, Renewal]]:
    """P(kept, overdue, -), (vehicles, root states, 3), and the proven work by vehicle; overdue stands as `minor`.

    Work proven done counts from its date: overdue when the interval ends within the buyer's first year.
    """
    overdue = np.broadcast_to(network.by_root("care", service.overdue, 0.0), (len(fleet.signs), len(network.configs)))
    if service.years is not None:  # not even once due since new
        overdue = overdue * np.minimum(fleet.age / service.years, 1.0)[:, None]
    overdue = np.array(overdue)
    renewals: dict[int, Renewal] = {}
    for v, (what, share) in _renewed(fleet, service).items():
        signs = fleet.signs[v]
        a_year = signs.miles / max(signs.age, 1.0)
        due = max(_due(what.years, 1.0, service.years), _due(what.miles, a_year, service.miles))
        trust = share * network.by_root("care", service.trust, 0.0)
        overdue[v] = trust * due + (1 - trust) * overdue[v]
        renewals[v] = what
    return np.stack([1 - overdue, overdue, np.zeros_like(overdue)], axis=-1), renewals


def _due(since: float, a_year: float, interval: float | None) -> float:
    """Chance that work is due: rises from a tenth of the interval before its end to a tenth after.

    The buyer's first year counts too, though at most a quarter of the interval: what is done every year anyway is
    running cost, not repair.
    """
    if interval is None:
        return 0.0
    ahead = min(a_year, 0.25 * interval)
    return float(np.clip(((since + ahead) / interval - 0.9) / 0.2, 0.0, 1.0))
