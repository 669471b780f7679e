"""Wear learnt from outcomes: how many times as fast as the rules say each part wears, and how sure that is.

The cumulative hazard of every item is the rules' times a factor with a gamma prior of mean 1, worth `strength`
outcomes (rules/reports/learning.yaml). A part found sound, its care known, updates it as a conjugate prior: the rate
grows by the hazard. The other outcomes are summed over the hidden roots and over a grid of factors, and matched by a
gamma of the same mean and variance. Nothing is ever folded into the rules: all outcomes are counted anew at every run,
so that an outcome taken back leaves no trace.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import gamma

from pipeline.costing.network import Network
from pipeline.schemas.evidence import Assumed
from pipeline.schemas.knowledge_parts import Fault, Knowledge, Service
from pipeline.types import STATES, Outcome, Reason

Array = NDArray[np.float64]

GRID = np.exp(np.linspace(np.log(1 / 30), np.log(30), 201))  # factors looked at
GRID[100] = 1.0  # exactly
TOGETHER = 256  # outcomes at once: bounds memory


@dataclass(frozen=True, slots=True)
class Learnt:
    """What outcomes made of one item: a gamma of `shape` and `rate` over the factor on its cumulative hazard."""

    item: str
    found: Mapping[str, int]  # state -> outcomes
    shape: float
    rate: float

    @property
    def mean(self) -> float:
        """Expected factor: 1 is what the rules say, 2 is twice as fast."""
        return self.shape / self.rate

    def interval(self, low: float = 0.1, high: float = 0.9) -> tuple[float, float]:
        """Quantiles of the factor."""
        return float(gamma.ppf(low, self.shape) / self.rate), float(gamma.ppf(high, self.shape) / self.rate)


def learn(outcomes: Iterable[Outcome], knowledge: Knowledge) -> tuple[Learnt, ...]:
    """One entry an item that has outcomes, in the order of the knowledge; items that it does not have are left out.

    The order of the outcomes does not matter.
    """
    by_item: dict[str, list[Outcome]] = {}
    for outcome in outcomes:
        by_item.setdefault(outcome.item, []).append(outcome)
    network = Network({key: dict(root.prior) for key, root in knowledge.roots.items()}, ())
    items: dict[str, Fault | Service] = {**knowledge.faults, **knowledge.services}
    return tuple(_learn(item, by_item[key], network, knowledge) for key, item in items.items() if key in by_item)


def with_learnt(knowledge: Knowledge, learnt: Sequence[Learnt]) -> Knowledge:
    """The knowledge with every learnt item wearing as fast as it is expected to."""
    faults, services = dict(knowledge.faults), dict(knowledge.services)
    for one in learnt:
        if one.item in faults:
            faults[one.item] = faster(faults[one.item], one.mean)
        elif one.item in services:
            services[one.item] = neglected(services[one.item], one.mean)
    return replace(knowledge, faults=faults, services=services)


def faster(fault: Fault, factor: float) -> Fault:
    """The fault with `factor` times the cumulative hazard: a Weibull life shortened by the root of its shape."""
    lives = {
        name: life.model_copy(update={"life": life.life * factor ** (-1 / life.shape)})
        for name in ("years", "miles")
        if (life := getattr(fault.wear, name)) is not None
    }
    return fault.model_copy(update={"wear": fault.wear.model_copy(update=lives)})


def neglected(service: Service, factor: float) -> Service:
    """The service with `factor` times the cumulative hazard of being overdue."""
    overdue = {state: 1 - (1 - chance) ** factor for state, chance in service.overdue.items()}
    return service.model_copy(update={"overdue": overdue})


def told(learnt: Sequence[Learnt], knowledge: Knowledge) -> tuple[Reason, ...]:
    """What was learnt in sentences, the most telling first."""
    names = {key: fault.name for key, fault in knowledge.faults.items()}
    names |= {key: service.name for key, service in knowledge.services.items()}
    found = []
    for one in sorted(learnt, key=lambda one: -abs(np.log(one.mean))):
        low, high = one.interval()
        counts = ", ".join(f"{one.found[state]} {state}" for state in STATES if one.found.get(state))
        text = (
            f"learnt from what was found ({counts}): {names[one.item]}, {one.mean:.2f} times as often as the rules say"
        )
        found.append(Reason(f"{text} ({low:.2f} to {high:.2f})", f"costing.learning.{one.item}"))
    return tuple(found)


def _learn(item: Fault | Service, outcomes: Sequence[Outcome], network: Network, knowledge: Knowledge) -> Learnt:
    strength = knowledge.learning.strength
    log_density = gamma.logpdf(GRID, strength, scale=1 / strength) + np.log(GRID)  # the grid is even in its logarithm
    for start in range(0, len(outcomes), TOGETHER):
        some = outcomes[start : start + TOGETHER]
        chances = _chances(item, some, network, knowledge.assumed)
        state = np.array([STATES.index(o.state) if isinstance(item, Fault) else int(o.state != "sound") for o in some])
        seen = chances[np.arange(len(some)), state]
        asked = np.array([o.before is not None for o in some])
        if asked.any():  # what the advert promised is no news about wear
            before = np.array([o.before for o in some if o.before is not None])
            ratio = np.maximum(before, 1e-9) / np.maximum(chances[asked][:, :, GRID == 1.0][:, :, 0], 1e-9)
            seen[asked] /= np.maximum((ratio[:, :, None] * chances[asked]).sum(axis=1), 1e-300)
        log_density = log_density + np.log(np.maximum(seen, 1e-300)).sum(axis=0)
    weights = np.exp(log_density - log_density.max())
    weights /= weights.sum()
    mean = float(weights @ GRID)
    variance = float(weights @ (GRID - mean) ** 2)
    return Learnt(item.id, Counter(outcome.state for outcome in outcomes), mean**2 / variance, mean / variance)


def _chances(item: Fault | Service, outcomes: Sequence[Outcome], network: Network, assumed: Assumed) -> Array:
    """P(sound, minor, major) at every factor, (outcomes, 3, factors), the roots as likely as the rules say."""
    prior = network.root_prior()
    if isinstance(item, Service):
        kept = prior @ (1 - network.by_root("care", item.overdue, 0.0))[:, None] ** GRID
        one = np.stack([kept, 1 - kept, np.zeros_like(kept)])
        return np.broadcast_to(one, (len(outcomes), *one.shape))
    pace = np.ones(len(network.configs))
    for root, values in item.roots.items():
        pace = pace * network.by_root(root, values)
    years = np.array([assumed.age if o.years is None else o.years for o in outcomes])
    a_year = assumed.miles_a_year
    miles = np.array([y * a_year if o.miles is None else o.miles for o, y in zip(outcomes, years, strict=True)])
    spent = spent_major = np.zeros((len(outcomes), len(pace)))
    for life, since in ((item.wear.years, years), (item.wear.miles, miles)):
        if life is not None:
            mine = (pace * life.exposure(since)[:, None] / life.life) ** life.shape
            spent, spent_major = spent + mine, spent_major + mine / item.wear.major_ratio**life.shape
    sound = (1 - sum(item.wear.leak)) * np.einsum("r,org->og", prior, np.exp(-spent[:, :, None] * GRID))
    not_major = (1 - item.wear.leak[1]) * np.einsum("r,org->og", prior, np.exp(-spent_major[:, :, None] * GRID))
    return np.stack([sound, np.maximum(not_major - sound, 0.0), 1 - not_major], axis=1)
