"""Learning from outcomes: against the closed forms, in any order, taken back without a trace, blind to promises."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import gamma

from pipeline.costing import learnt_knowledge
from pipeline.costing.learning import learn, with_learnt
from pipeline.costing.outcomes import outcomes_of
from pipeline.paths import data_folder
from pipeline.schemas.knowledge import load_knowledge
from pipeline.schemas.knowledge_parts import Knowledge
from pipeline.types import Buyer, Claim, Evidence, Outcome

KNOWLEDGE = load_knowledge(["general"], data_folder("rules"))
BUYER = Buyer("Hexham", "everyday", "GBP", "uk", 60.0, 0.45, 12.0)
ITEM = "sills_outer"
VAN = Evidence(
    "1", {"year": [1996], "fuel": "diesel", "mileage": 120000}, (), 30.0, 120000.0, date(2026, 10, 31), 80
)  # fmt: skip


def known_roots() -> Knowledge:
    """The knowledge where nothing is hidden: care is average, the vehicle neither stood nor worked hard."""
    priors = {"care": {"good": 0.0, "average": 1.0, "poor": 0.0}, "hard_use": {"no": 1.0, "yes": 0.0}}
    priors["stood"] = {"no": 1.0, "yes": 0.0}
    roots = {key: root.model_copy(update={"prior": priors[key]}) for key, root in KNOWLEDGE.roots.items()}
    return replace(KNOWLEDGE, roots=roots)


def hazards(years: float) -> tuple[float, float]:
    """Cumulative hazard of not being sound and of being major, by hand from the rules."""
    wear = KNOWLEDGE.faults[ITEM].wear
    assert wear.years is not None and wear.miles is None and wear.leak == (0.0, 0.0)
    spent = (min(years, wear.years.cap or years) / wear.years.life) ** wear.years.shape
    return spent, spent / wear.major_ratio**wear.years.shape


def test_sound_parts_update_the_gamma_as_a_conjugate_prior() -> None:
    strength = KNOWLEDGE.learning.strength
    (learnt,) = learn([Outcome(ITEM, "sound", 14.0, 0.0)] * 20, known_roots())
    assert learnt.shape == pytest.approx(strength, rel=1e-3)
    assert learnt.rate == pytest.approx(strength + 20 * hazards(14.0)[0], rel=1e-3)
    assert learnt.found == {"sound": 20}


def test_all_states_agree_with_quadrature() -> None:
    counts = {"sound": 12, "minor": 5, "major": 3}
    spent, spent_major = hazards(15.0)
    (learnt,) = learn([Outcome(ITEM, s, 15.0, 0.0) for s, n in counts.items() for _ in range(n)], known_roots())  # type: ignore[arg-type]

    def density(factor: float) -> float:
        sound, not_major = np.exp(-factor * spent), np.exp(-factor * spent_major)
        likelihood = (
            1e12 * sound**12 * (not_major - sound) ** 5 * (1 - not_major) ** 3
        )  # quad has an absolute tolerance
        strength = KNOWLEDGE.learning.strength
        return float(gamma.pdf(factor, strength, scale=1 / strength) * likelihood)

    total, first, second = (quad(lambda x, n=n: x**n * density(x), 0, 30, limit=200)[0] for n in range(3))  # type: ignore[misc]
    assert learnt.mean == pytest.approx(first / total, rel=1e-4)
    assert learnt.shape / learnt.rate**2 == pytest.approx(second / total - (first / total) ** 2, rel=1e-3)


def test_the_order_does_not_matter_and_what_is_taken_back_leaves_no_trace() -> None:
    found = [
        Outcome(ITEM, "sound", 20.0, 9e4),
        Outcome(ITEM, "major", 12.0, 6e4),
        Outcome("clutch", "minor", 30.0, 1e5),
    ]
    assert [o.mean for o in learn(found, KNOWLEDGE)] == pytest.approx([o.mean for o in learn(found[::-1], KNOWLEDGE)])
    assert learn(found[:1], KNOWLEDGE) == learn([*found, found[0]][:1], KNOWLEDGE)
    assert with_learnt(KNOWLEDGE, learn([], KNOWLEDGE)) == KNOWLEDGE


@pytest.mark.parametrize("item", [*KNOWLEDGE.faults, *KNOWLEDGE.services])
def test_bad_outcomes_raise_and_sound_ones_lower_every_item(item: str) -> None:
    worst = "minor" if item in KNOWLEDGE.services else "major"
    (bad,), (sound,) = (learn([Outcome(item, s, 25.0, 1e5)] * 8, KNOWLEDGE) for s in (worst, "sound"))  # type: ignore[arg-type]
    assert sound.mean < 1 < bad.mean
    assert sound.interval()[1] < bad.interval()[1]


def test_what_the_advert_told_already_teaches_less() -> None:
    """A rotten sill that everybody expected says little of how sills rust."""
    silent = Outcome(ITEM, "major", 18.0, 9e4)
    expected = replace(silent, before=(0.02, 0.08, 0.90))
    (new,), (old,) = learn([silent] * 5, KNOWLEDGE), learn([expected] * 5, KNOWLEDGE)
    assert 1 < old.mean < new.mean


def test_findings_of_a_search_change_the_other_vehicles_and_are_told() -> None:
    seen = [replace(VAN, ref=str(n), findings={ITEM: "sound", "no such item": "major"}) for n in range(10)]
    after, sentences, (learnt,) = learnt_knowledge([*seen, VAN], KNOWLEDGE, BUYER)
    assert learnt.found == {"sound": 10} and learnt.mean < 1
    before_life, after_life = KNOWLEDGE.faults[ITEM].wear.years, after.faults[ITEM].wear.years
    assert before_life is not None and after_life is not None and after_life.life > before_life.life
    assert "10 sound" in sentences[0].text and "outer sills" in sentences[0].text
    assert learnt_knowledge([VAN], KNOWLEDGE, BUYER)[0] is KNOWLEDGE


def test_a_renewed_part_counts_from_its_renewal() -> None:
    done = Claim("sills", "done", "plain", "new sills", 0, 5, "test", at_year=2021)
    (outcome,) = outcomes_of([replace(VAN, claims=(done,), findings={ITEM: "sound"})], KNOWLEDGE, BUYER)
    assert outcome.years == pytest.approx(5.3, abs=0.3)
    assert outcome.before is not None and sum(outcome.before) == pytest.approx(1)
