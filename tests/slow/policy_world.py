"""A world of vehicles with known truth, adverts made from them, and buyers who follow different policies.

Truth: states of all parts and their cost are drawn from the rules (or from rules wrong by up to a factor of two),
worth from a curve of age and mileage with scatter of its own, the asking price from the worth, the seller's hopes and
a part of the repairs. Adverts tell of each subject what the report tables make likely for the worst part that it is
about. All buyers judge what they see at a viewing alike; they differ in whom they ring, where they go and when they
stop.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from costing_fleet import AS_OF, Words, draw, silent_vehicles, wrong
from numpy.typing import NDArray

from pipeline.costing.estimate import TOGETHER, Engine
from pipeline.costing.reports import ADMITS, SERVICE_STATES
from pipeline.paths import data_folder
from pipeline.ranking import rank
from pipeline.ranking.surplus import call_cost, price_paid, visit_cost
from pipeline.schemas.decision import load_decision
from pipeline.schemas.knowledge import load_knowledge
from pipeline.schemas.knowledge_parts import Knowledge
from pipeline.schemas.value_priors import load_value_priors
from pipeline.types import STATES, Buyer, Claim, Comparable, Evidence, Prospect, Ranked, RepairEstimate, Status
from pipeline.valuation import value

Array = NDArray[np.float64]

RULES = data_folder("rules")
PACKS = ("general", "monocoque-car")
KNOWLEDGE = load_knowledge(PACKS[:1], RULES)
DECISION = load_decision(RULES)
PRIORS = load_value_priors(PACKS, RULES)
SAMPLES = 500
LEVEL, A_YEAR, TEN_THOUSAND = 6000.0, -0.03, -0.035  # worth at 25 years and 100,000 miles, and what changes it
OWN, HOPES = 0.1, 0.12  # sd of log: of a vehicle's own worth, of what sellers ask beside it
TOLD_OFF, HIDDEN_OFF = 0.6, 0.25  # share of told and of untold work that the asking price allows for
OUTSIDE = -550.0  # surplus of going without: about that of an average one bought unseen
GUIDE = 6000.0
VEHICLES = 12  # in a pool
BATCH = 6  # pools drawn together: one market, with wrong rates the same ones
MOST_TRIPS = 6


@dataclass(frozen=True)
class Pool:
    """`truth`: (vehicles, items) cost of every item; `worth`: true sound value; `seen_worth`: as a look shows it."""

    prospects: tuple[Prospect, ...]
    truth: Array
    worth: Array
    seen_worth: Array
    usual: Array  # (items,) true mean cost of all vehicles: what a buyer reckons with who reads nothing into adverts
    looks: Array  # (vehicles, items) uniforms: does a viewing show it?
    answers: Array  # (vehicles, questions) uniforms: what does the seller say?
    paid: Array
    trips: Array
    above: Array  # log asking price above least squares on age and mileage over the whole market

    @property
    def surplus(self) -> Array:
        """True surplus of each once bought, trips apart."""
        return self.worth - self.paid - self.truth.sum(axis=1)


@dataclass(frozen=True)
class Result:
    """Money left beside going without, viewings, calls, and whether what was bought was worse than going without."""

    money: float
    trips: int
    calls: int
    bad: bool
    bought: bool


class World:
    """Pools drawn with right rates, or with every rate wrong by its own factor of up to `most`."""

    def __init__(self, most: float, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        self.buyer = Buyer(
            "Hexham", "everyday", "GBP", "uk", 60.0, 0.45, 12.0, guide_price=GUIDE, outside_option=OUTSIDE
        )
        self.most = most
        self.engine = Engine(KNOWLEDGE, self.buyer, SAMPLES, 7)
        self.items = next(iter(self.engine.run(silent_vehicles(self.rng, 1)))).items

    def pools(self) -> list[Pool]:
        """Some searches: vehicles, their adverts, and what the program makes of them."""
        rng, count = self.rng, VEHICLES * BATCH
        truth = KNOWLEDGE if self.most == 1 else wrong(KNOWLEDGE, rng, self.most)
        nature = Engine(truth, self.buyer, count, int(rng.integers(1 << 30)))
        silent = silent_vehicles(rng, count)
        drawn = draw(nature, Words({}, {}), silent, rng)
        costs = nature.item_costs(drawn.states)
        evidence = [_advert(silent[v], truth, nature, drawn.states[v], int(drawn.roots[v]), rng) for v in range(count)]
        told = _told(evidence, nature, costs)
        estimates = self._estimates(evidence)
        age = np.array([e.age_years or 0.0 for e in evidence])
        miles = np.array([e.mileage_miles or 0.0 for e in evidence])
        middle = np.log(LEVEL) + A_YEAR * np.minimum(age - 25, 8) + TEN_THOUSAND * (miles - 1e5) / 1e4
        worth = np.exp(middle + rng.normal(0, OWN, count))
        work = TOLD_OFF * told + HIDDEN_OFF * (costs.sum(axis=1) - told)
        asking = np.maximum(worth * np.exp(rng.normal(0, HOPES, count)) - work, 250.0).round(-1)
        offered = [_comparable(e, a, r) for e, a, r in zip(evidence, asking, estimates, strict=True)]
        values = value(offered, PRIORS, self.buyer, AS_OF)
        distance = rng.uniform(5, 150, count)
        prospects = [
            Prospect(e.ref, (e.ref,), e.ref, e, r, v, float(a), "GBP", float(d), None)
            for e, r, v, a, d in zip(evidence, estimates, values, asking, distance, strict=True)
        ]
        share = DECISION.decision.value.revealed_share
        known = np.array([v.log_mean or 0.0 for v in values])
        blur = rng.normal(0, OWN, count) * np.sqrt(share * (1 - share))
        seen = np.exp(known + share * (np.log(worth) - known) + blur)
        paid = np.array([price_paid(p, DECISION) for p in prospects])
        trips = np.array([visit_cost(float(d), self.buyer, DECISION) for d in distance])
        asked = len(DECISION.questions.questions)
        x = np.column_stack([np.ones(count), age, miles])
        expected = x @ np.linalg.lstsq(x, np.log(asking), rcond=None)[0]
        looks, answers = rng.random(costs.shape), rng.random((count, asked))
        return [
            Pool(tuple(prospects[c]), costs[c], worth[c], seen[c], costs.mean(axis=0), looks[c], answers[c], paid[c],
                 trips[c], np.log(asking[c]) - expected[c])
            for c in (slice(n * VEHICLES, (n + 1) * VEHICLES) for n in range(BATCH))
        ]  # fmt: skip

    def _estimates(self, evidence: Sequence[Evidence]) -> list[RepairEstimate]:
        """What the engine makes of vehicles, without the sentences that explain it, which take most of the time."""
        found = []
        for start in range(0, len(evidence), TOGETHER):
            some = evidence[start : start + TOGETHER]
            believed = self.engine.believed(some)
            for v, one in enumerate(some):
                costs = self.engine.item_costs(believed.states[v])
                said = {c.subject for c in one.claims if c.status in ADMITS}
                items = []
                for n, item in enumerate(self.items):
                    sound, minor, major = (float(p) for p in believed.marginals[item.item][v])
                    told = (
                        bool(said & set(item.subjects[:1])) and minor + major >= self.engine.knowledge.admission.belief
                    )
                    cost = float(costs[:, n].mean())
                    items.append(
                        replace(item, sound=sound, minor=minor, major=major, expected_cost=cost, admitted=told)
                    )
                admitted = sum(item.expected_cost for item in items if item.admitted)
                rest = float(costs.sum(axis=1).mean()) - admitted
                found.append(RepairEstimate(one.ref, tuple(items), costs.astype(np.float32), {}, admitted, rest))
        return found

    # ---- the policies -----------------------------------------------------------

    def program(self, pool: Pool) -> Result:
        """(a): rings where it says so, goes down the visit worths, stops when the best found beats every one left."""
        prospects = list(pool.prospects)
        rows = {row.ref: row for row in rank(prospects, self.buyer, DECISION)}
        left = [v for v in range(VEHICLES) if _open(rows[prospects[v].ref])]
        rung: set[int] = set()
        best, at, spent, trips = OUTSIDE, -1, 0.0, 0
        while left:
            v = max(left, key=lambda v: _index(rows[prospects[v].ref]))
            row = rows[prospects[v].ref]
            if _index(row) <= best:
                break
            if row.verdict == "ring first" and v not in rung:
                rung.add(v)
                spent += call_cost(self.buyer, DECISION)
                prospects[v] = self._called(pool, v, row)
                (rows[prospects[v].ref],) = rank([prospects[v]], self.buyer, DECISION)
                if not _open(rows[prospects[v].ref]):
                    left.remove(v)
                continue
            left.remove(v)
            spent, trips = spent + float(pool.trips[v]), trips + 1
            found = self._seen(pool, v, prospects[v].repair.item_costs.mean(axis=0))
            if found > best:
                best, at = found, v
        return _result(pool, at, spent, trips, len(rung))

    def in_order(self, pool: Pool, order: Sequence[int], most: int | None) -> Result:
        """A rival: in this order, the first that looks better than going without, or the best of `most` viewings."""
        best, at, spent, trips = OUTSIDE, -1, 0.0, 0
        for v in order[: most or MOST_TRIPS]:
            spent, trips = spent + float(pool.trips[v]), trips + 1
            found = self._seen(pool, v, pool.usual)
            if found > best:
                best, at = found, v
                if most is None:
                    break
        return _result(pool, at, spent, trips, 0)

    def oracle(self, pool: Pool) -> Result:
        """(e): knows everything, and goes straight to the best or stays at home."""
        net = pool.surplus - pool.trips
        v = int(np.argmax(net))
        return _result(pool, v, float(pool.trips[v]), 1, 0) if net[v] > OUTSIDE else _result(pool, -1, 0.0, 0, 0)

    def _seen(self, pool: Pool, v: int, expected: Array) -> float:
        """Surplus as it looks after a viewing: what was seen counts, for the rest what is usual or believed."""
        chance = np.array([item.seen_on_viewing for item in pool.prospects[v].repair.items])
        work = np.where(pool.looks[v] < chance, pool.truth[v], expected).sum()
        return float(pool.seen_worth[v] - pool.paid[v] - work)

    def _called(self, pool: Pool, v: int, row: Ranked) -> Prospect:
        """The vehicle after its seller answered the questions of the call sheet, as honestly as the rules suppose."""
        prospect, rules = pool.prospects[v], DECISION.questions
        told: list[Claim] = []
        asked = {subject for question in row.questions for subject in question.subjects}
        for n, question in enumerate(rules.questions):
            if not asked & set(question.subjects):
                continue
            for subject in question.subjects:
                items = [i for i, item in enumerate(prospect.repair.items) if item.subjects[:1] == (subject,)]
                if not items:
                    continue
                bad = float(pool.truth[v, items].sum()) > 0
                honest = rules.proof_says_bad if question.proof else rules.says_bad
                says = pool.answers[v, n] < (honest if bad else rules.cries_wolf)
                told.append(_claim(subject, "present" if says else "absent", "plain"))
        subjects = {claim.subject for claim in told}
        kept = tuple(c for c in prospect.evidence.claims if c.subject not in subjects)
        evidence = replace(prospect.evidence, claims=(*kept, *told))
        (repair,) = self._estimates([evidence])
        return replace(prospect, evidence=evidence, repair=repair)


def policies(world: World) -> dict[str, Callable[[Pool], Result]]:
    """All by name. A rival with two ways of stopping stands here twice; the better counts for it."""

    def rival(order: Callable[[Pool], Sequence[int]], most: int | None) -> Callable[[Pool], Result]:
        return lambda pool: world.in_order(pool, order(pool), most)

    found: dict[str, Callable[[Pool], Result]] = {"this program": world.program}
    for name, order in (
        ("cheapest first", cheapest), ("nearest first", nearest), ("best price against a hedonic model", best_priced)
    ):  # fmt: skip
        found[f"{name}, first acceptable"] = rival(order, None)
        found[f"{name}, best of three"] = rival(order, 3)
    found["oracle"] = world.oracle
    return found


def cheapest(pool: Pool) -> list[int]:
    """(b)"""
    return [int(v) for v in np.argsort([p.asking_price or 0.0 for p in pool.prospects], kind="stable")]


def nearest(pool: Pool) -> list[int]:
    """(c)"""
    return [int(v) for v in np.argsort([p.distance_miles or 0.0 for p in pool.prospects], kind="stable")]


def best_priced(pool: Pool) -> list[int]:
    """(d): least squares of log price on age and mileage, most below it first; repair is not thought of."""
    return [int(v) for v in np.argsort(pool.above, kind="stable")]


def simulate(most: float, pools: int, seed: int) -> dict[str, list[Result]]:
    """Every policy on the same pools."""
    world = World(most, seed)
    ways = policies(world)
    found: dict[str, list[Result]] = {name: [] for name in ways}
    for _ in range(-(-pools // BATCH)):
        for pool in world.pools():
            for name, policy in ways.items():
                found[name].append(policy(pool))
    return found


def _open(row: Ranked) -> bool:
    return row.visit_worth is not None and row.verdict != "leave"


def _index(row: Ranked) -> float:
    assert row.visit_worth is not None
    return row.visit_worth


def _result(pool: Pool, v: int, spent: float, trips: int, calls: int) -> Result:
    true = float(pool.surplus[v]) if v >= 0 else OUTSIDE
    return Result(true - spent - OUTSIDE, trips, calls, v >= 0 and true < OUTSIDE, v >= 0)


def _claim(subject: str, status: str, grade: str) -> Claim:
    known: dict[str, Status] = {s: s for s in ("present", "absent", "done", "due", "possible")}  # type: ignore[misc]
    return Claim(subject, known[status], grade or "plain", subject, 0, 1, "simulated")  # type: ignore[arg-type]


def _advert(
    silent: Evidence, truth: Knowledge, nature: Engine, states: NDArray[np.int8], config: int, rng: np.random.Generator
) -> Evidence:
    """What the seller writes: of each subject one thing, after the worst part that it is first of all about."""
    roots = {
        root: tuple(truth.roots[root].prior)[int(n)]
        for root, n in zip(nature.network.priors, nature.network.configs[config], strict=True)
    }
    worst: dict[str, tuple[int, str, str]] = {}
    for key, state in zip(nature.ids, states.tolist(), strict=True):
        is_fault = key in truth.faults
        item = truth.faults[key] if is_fault else truth.services[key]
        main = max(item.speaks, key=lambda link: link.share, default=None)
        if main is None:
            continue
        row = STATES[state] if is_fault else SERVICE_STATES[min(state, 1)]
        if main.subject not in worst or state > worst[main.subject][0]:
            worst[main.subject] = (state, main.table, row)
    drawn = [(subject, table, row) for subject, (_, table, row) in worst.items()]
    for name, root in truth.roots.items():
        drawn += [(r.subject, r.table, roots[name]) for r in root.claims if r.subject not in worst]
    claims: dict[str, Claim] = {}
    for subject, table, row in drawn:
        cells = truth.tables[table].cells(row)
        status, grade = list(cells)[int(rng.choice(len(cells), p=np.array(list(cells.values())) / sum(cells.values())))]
        if status not in ("silence", "done_old"):
            claims.setdefault(subject, _claim(subject, status, grade))
    facts = dict(silent.facts)
    outcomes = truth.fact_tables["care.service_history"].rows[roots["care"]]
    said = str(rng.choice(list(outcomes), p=np.array(list(outcomes.values())) / sum(outcomes.values())))
    if said != "silence":
        facts["service_history"] = said
    facts["test_state"] = "valid"
    return replace(silent, facts=facts, claims=tuple(claims.values()))


def _told(evidence: Sequence[Evidence], nature: Engine, costs: Array) -> Array:
    """Cost of what each advert owns up to, (vehicles,)."""
    found = np.zeros(len(evidence))
    for v, one in enumerate(evidence):
        said = {claim.subject for claim in one.claims if claim.status in ADMITS}
        for i, key in enumerate(nature.ids):
            if said & set(nature.reports.subjects[key][:1]):
                found[v] += costs[v, i]
    return found


def _comparable(evidence: Evidence, asking: float, repair: RepairEstimate) -> Comparable:
    years = evidence.facts["year"]
    return Comparable(
        evidence.ref, float(asking), None, float(years[0]), evidence.mileage_miles, str(evidence.facts["fuel"]), None,
        None, evidence.facts.get("service_history"), None, repair.admitted_mean,
    )  # fmt: skip
