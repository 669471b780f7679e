"""The packs that come with the program: complete, priced everywhere, sourced, and sensible at the edges."""

from pathlib import Path

import pytest

from pipeline.paths import data_folder
from pipeline.schemas.knowledge import load_knowledge, pack_names
from pipeline.schemas.knowledge_checks import fault_order
from pipeline.schemas.knowledge_parts import Knowledge
from pipeline.schemas.subjects import load_subjects
from pipeline.schemas.traits import named_in, vehicle_traits
from pipeline.types import Claim

RULES = data_folder("rules")
CLUB = data_folder("data_demo") / "packs"
SHIPPED = ("general", "ladder-frame-4x4", "light-camper-van", "monocoque-car", "pickup", "roadster")


@pytest.fixture(scope="module")
def general() -> Knowledge:
    return load_knowledge(["general"], RULES)


def test_the_packs_named_in_the_design_are_there() -> None:
    assert set(SHIPPED) <= set(pack_names(RULES))
    assert "fenwright-curlew" in pack_names(RULES, [CLUB])


@pytest.mark.parametrize("name", SHIPPED)
def test_each_pack_passes_every_check_alone(name: str) -> None:
    knowledge = load_knowledge([name], RULES)
    order = fault_order(knowledge)
    for key, fault in knowledge.faults.items():
        assert all(order.index(cause.fault) < order.index(key) for cause in fault.causes)


def test_the_general_pack_is_as_large_as_an_inspectors_knowledge(general: Knowledge) -> None:
    assert len(general.faults) >= 70
    assert len(general.services) >= 25
    assert len(general.jobs) >= 90
    assert sum(len({cause.fault for cause in fault.causes}) for fault in general.faults.values()) >= 20


def test_every_job_of_every_fault_has_a_price_in_every_region(general: Knowledge) -> None:
    assert len(general.regions) == 5
    for job in general.jobs.values():
        for region in general.regions.values():
            price = job.hours.mean * region.labour.usual + general.parts(job, region).mean
            assert 0 < price < 20_000, (job.id, region.id)


def test_every_subject_bears_on_belief_or_is_said_not_to(general: Knowledge) -> None:
    spoken = {link.subject for item in (*general.faults.values(), *general.services.values()) for link in item.speaks}
    spoken |= {claim.subject for root in general.roots.values() for claim in root.claims}
    assert spoken | set(general.no_belief) == set(load_subjects(RULES).names)


def test_major_work_costs_no_less_than_minor_work(general: Knowledge) -> None:
    def cost(jobs: tuple[str, ...]) -> float:
        found = [general.jobs[key] for key in jobs]
        hours = sum(job.hours.mean + sum(general.access[group].hours.mean for group in job.access) for job in found)
        return hours * 60 + sum(job.parts.mean for job in found)

    for fault in general.faults.values():
        assert cost(fault.jobs.major) >= cost(fault.jobs.minor), fault.id


def test_care_hard_use_and_standing_never_make_a_part_last_longer_than_they_should(general: Knowledge) -> None:
    for fault in general.faults.values():
        care = fault.roots.get("care")
        if care:
            assert care["good"] < care["average"] < care["poor"], fault.id
        for root in ("hard_use", "stood"):
            states = fault.roots.get(root)
            if states:
                assert states["yes"] >= states["no"], (fault.id, root)


def test_work_that_can_hurt_says_so_and_some_is_not_for_the_home(general: Knowledge) -> None:
    for key in (
        "brake_pipes_all",
        "spring_pair",
        "belt_service",
        "engine_exchange",
        "exhaust_system",
        "radiator_replace",
    ):
        assert general.jobs[key].caution and not general.jobs[key].diy_unwise, key
    for key in ("sill_pair", "aircon_repair", "belts_mounts", "lpg_repair"):
        assert general.jobs[key].diy_unwise, key


def test_what_an_engine_implies_follows_from_the_facts(general: Knowledge) -> None:
    old_diesel = vehicle_traits(general, {"fuel": "diesel", "year": [1988], "engine_litres": 2.5})
    assert (old_diesel["mechanical_pump"], old_diesel["electronic_pump"], old_diesel["carburettor"]) == (1, 0, 0)
    early_petrol = vehicle_traits(general, {"fuel": "petrol", "year": [1975], "engine_litres": 1.6})
    assert early_petrol["carburettor"] == 1 and early_petrol["diesel"] == 0
    unknown = vehicle_traits(general, {})
    assert 0.1 < unknown["diesel"] < 0.9 and 0.1 < unknown["belt"] < 0.9
    assert vehicle_traits(general, {"gearbox": "auto"})["manual"] == 0


def test_an_advert_that_tells_of_a_belt_settles_belt_or_chain(general: Knowledge) -> None:
    facts = {"fuel": "diesel", "year": [1994]}
    belt = Claim("timing_belt", "done", "plain", "cam belt done", 0, 13, "t")
    chain = Claim("timing_belt", "absent", "plain", "chain driven, quiet", 0, 19, "t")
    assert vehicle_traits(general, facts, [belt])["belt"] == 1
    assert vehicle_traits(general, facts, [belt])["chain"] == 0
    assert vehicle_traits(general, facts, [chain])["belt"] == 0


def test_an_advert_that_tells_of_a_clutch_or_of_single_gears_settles_the_gearbox(general: Knowledge) -> None:
    clutch = Claim("clutch", "done", "plain", "new clutch", 0, 10, "t")
    notchy = Claim("gearbox", "present", "slight", "third is notchy when cold", 0, 25, "t")
    slips = Claim("gearbox", "present", "plain", "kickdown is slow", 0, 16, "t")
    whines = Claim("gearbox", "present", "plain", "gearbox whines", 0, 14, "t")
    open_ = vehicle_traits(general, {})
    for claim, kind in ((clutch, "manual"), (notchy, "manual"), (slips, "auto")):
        traits = vehicle_traits(general, {}, [claim])
        assert traits[kind] == 1 and traits["manual"] + traits["auto"] == 1
    assert vehicle_traits(general, {}, [whines])["auto"] == open_["auto"]
    assert vehicle_traits(general, {"gearbox": "auto"}, [clutch])["manual"] == 0  # what it says outright stands


def test_words_show_a_chain_where_nothing_is_claimed_of_it(general: Knowledge) -> None:
    facts = {"fuel": "petrol", "year": [1989]}
    shown = facts | named_in(general, "Chain cam so no belt to fret about.")
    assert vehicle_traits(general, shown)["chain"] == 1 and vehicle_traits(general, shown)["belt"] == 0
    assert "named_traits" not in named_in(general, "No timing belt history.")
    belt = Claim("timing_belt", "done", "plain", "belt done", 0, 9, "t")
    assert vehicle_traits(general, shown, [belt])["belt"] == 1  # what is claimed outright weighs more


def test_a_chain_engine_of_the_club_keeps_its_chain_whatever_the_advert_says() -> None:
    club = load_knowledge(["light-camper-van", "fenwright-curlew"], RULES, [CLUB])
    facts = {"fuel": "diesel", "engine_litres": 2.5, "year": [1999]}
    belt = Claim("timing_belt", "done", "plain", "cambelt done", 0, 12, "t")
    traits = vehicle_traits(club, facts, [belt])
    assert (traits["chain"], traits["belt"]) == (1, 0)
    assert club.services["timing_belt"].applies.chance(traits) == 0


def test_the_clubs_pack_changes_only_what_it_says() -> None:
    before = load_knowledge(["light-camper-van"], RULES)
    club = load_knowledge(["light-camper-van", "fenwright-curlew"], RULES, [CLUB])
    assert club.services["timing_belt"].miles == 48000
    assert club.services["timing_belt"].overdue == before.services["timing_belt"].overdue
    assert club.faults["sills_outer"].wear.built and not before.faults["sills_outer"].wear.built
    assert club.faults["sills_outer"].speaks == before.faults["sills_outer"].speaks
    assert club.faults["dampers"] == before.faults["dampers"]


def test_a_frame_has_outriggers_and_a_unitary_body_has_not(general: Knowledge) -> None:
    frame = load_knowledge(["ladder-frame-4x4"], RULES)
    assert general.faults["outriggers"].applies.chance(vehicle_traits(general, {})) == 0
    assert frame.faults["outriggers"].applies.chance(vehicle_traits(frame, {})) == 1
    assert frame.faults["chassis_legs"].applies.chance(vehicle_traits(frame, {})) == 0


def test_no_number_is_without_a_source(general: Knowledge) -> None:
    assert all(len(source) >= 3 for source in general.sources())
    assert sum(general.sources().values()) > 300


def test_money_is_exchanged_and_indexed(general: Knowledge) -> None:
    money = general.money
    assert money.exchange(100, "GBP", "GBP") == 100
    assert money.exchange(money.exchange(100, "EUR", "USD"), "USD", "EUR") == pytest.approx(100)
    assert money.level("GBP", 2018, 2026) > 1 > money.level("GBP", 2026, 2018)
    assert money.level("XXX", 2018, 2026) == 1


def test_names_of_packs_cannot_leave_their_folder(tmp_path: Path) -> None:
    from pipeline.errors import RuleError

    with pytest.raises(RuleError, match="there is no pack"):
        load_knowledge(["../general"], RULES, [tmp_path])
