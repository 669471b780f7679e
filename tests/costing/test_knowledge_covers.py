"""What an experienced inspector looks for on an older vehicle is there, by name: faults, services, jobs, causes."""

import pytest

from pipeline.paths import data_folder
from pipeline.schemas.knowledge import load_knowledge, pack_names
from pipeline.schemas.knowledge_parts import Fault, Knowledge, Service
from pipeline.schemas.traits import vehicle_traits

RULES = data_folder("rules")
FRAME = load_knowledge(["ladder-frame-4x4"], RULES)
CAMPER = load_knowledge(["light-camper-van"], RULES)
EVERY = load_knowledge(pack_names(RULES), RULES)

THINGS = {
    "sills, outer and inner": "sills_outer sills_inner",
    "door-pillar feet": "door_pillar_feet",
    "floors, boot floor": "floors_front boot_floor",
    "inner wings around battery tray and air box": "inner_wings",
    "arches, damper turrets": "rear_arches damper_turrets",
    "frame": "body_mounts rear_crossmember chassis_rails outriggers",
    "unitary body": "chassis_legs rear_subframe front_leg_ends",
    "tailgate shut line and spare-wheel hinge": "tailgate_rust",
    "paint blistering where alloy meets steel": "galvanic_blisters",
    "underseal, patches under it": "old_patches cavity_wax",
    "roof, sunroof, seals, water under carpets": "roof_leak sunroof_leak seals_leak wet_carpets drains_blocked",
    "belt by miles and years, broken belt, chain": "timing_belt belt_broken belt_noise chain_worn",
    "coolant, porous head, level loss": "coolant head_porous coolant_loss overheated radiator water_pump hoses",
    "gasket between pump and block, head gaskets": "pump_gasket head_gasket head_gaskets_v valley_gasket",
    "sludge, cam and followers": "sludge cam_followers bottom_end engine_oil",
    "smoke told apart": "valve_seals piston_wear injectors turbo",
    "tampered fuelling": "fuelling_tampered",
    "carburettor, injection-era sensors, air-flow meter": "carburettor injection_early airflow_meter",
    "misfires": "ignition spark_plugs ignition_parts",
    "diesel pumps, mechanical and electronic": "pump_mechanical pump_electronic glow_plugs",
    "cooling pipes of an automatic": "auto_cooler_pipes automatic auto_fluid",
    "clutch and gearbox": "clutch dual_mass clutch_hydraulics gearbox_synchro gearbox_bearings gearbox_oil",
    "transfer box, differentials, low range and lock": "transfer_box final_drive low_range lock_exercise axle_oil",
    "drive-flange and input-gear spline wear": "spline_wear",
    "steering box, bent rods, swivels": "steering_box bent_rods swivels swivel_grease",
    "bushes, dampers, anti-roll bars": "bushes dampers springs roll_bar ball_joints",
    "brakes": "brake_pipes brake_hoses calipers discs_pads rear_brakes master_servo brake_fluid",
    "power steering": "ps_pump ps_fluid",
    "heater, seats, seat bases, wheel rim, winder": "heater_matrix seats seat_bases trim sunroof_winder",
    "electrics": "wiring fuse_board window_lifts lamps instruments alternator battery",
    "tyres, exhaust": "tyres exhaust_system catalyst",
    "camper": "roof_canvas ply_floor living_damp gas_system gas_check fridge water_system leisure_battery camper_mains",
}


def items(knowledge: Knowledge) -> dict[str, Fault | Service]:
    return {**knowledge.faults, **knowledge.services}


@pytest.mark.parametrize("what", THINGS)
def test_what_an_inspector_looks_for_is_there(what: str) -> None:
    missing = [key for key in THINGS[what].split() if key not in items(EVERY)]
    assert not missing


CAUSES = [
    ("roof_leak", "wet_carpets"), ("sunroof_leak", "wet_carpets"), ("seals_leak", "wet_carpets"),
    ("heater_matrix", "wet_carpets"), ("wet_carpets", "floors_front"), ("wet_carpets", "wiring"),
    ("roof_leak", "headlining"), ("radiator", "coolant_loss"), ("water_pump", "coolant_loss"),
    ("hoses", "coolant_loss"), ("coolant_loss", "overheated"), ("fan", "overheated"),
    ("overheated", "head_gasket"), ("overheated", "head_porous"), ("overheated", "piston_wear"),
    ("sludge", "bottom_end"), ("mud_packed", "damper_turrets"), ("mud_packed", "chassis_rails"),
    ("mud_packed", "rear_crossmember"), ("underside_knocks", "chassis_rails"), ("sills_outer", "sills_inner"),
    ("sills_outer", "door_pillar_feet"), ("auto_cooler_pipes", "automatic"), ("screen_surround", "seals_leak"),
]  # fmt: skip


@pytest.mark.parametrize(("cause", "effect"), CAUSES)
def test_one_fault_brings_the_next(cause: str, effect: str) -> None:
    assert any(link.fault == cause for link in FRAME.faults[effect].causes)


@pytest.mark.parametrize(
    ("service", "fault"),
    [("engine_oil", "cam_followers"), ("engine_oil", "sludge"), ("coolant", "radiator"), ("brake_fluid", "calipers"),
     ("timing_belt", "belt_broken"), ("auto_fluid", "automatic"), ("mud", "mud_packed")],
)  # fmt: skip
def test_neglect_brings_faults(service: str, fault: str) -> None:
    assert any(fed.fault == fault for fed in EVERY.services[service].feeds)


@pytest.mark.parametrize("fault", ["valve_seals", "calipers", "rear_brakes", "tyres", "fuel_tank", "battery", "clutch"])
def test_standing_wears(fault: str) -> None:
    assert EVERY.faults[fault].roots["stood"]["yes"] > 1


@pytest.mark.parametrize("fault", ["bent_rods", "auto_cooler_pipes", "chassis_rails", "underside_knocks", "low_range"])
def test_hard_use_wears(fault: str) -> None:
    assert FRAME.faults[fault].roots["hard_use"]["yes"] > 1


NORMAL = {
    "rocker_leak": "mist", "steering_box": "mists", "swivels": "mist", "gearbox_synchro": "warm",
    "piston_wear": "litre", "crank_rear_seal": "damp",
    "pump_mechanical": "puff of black", "chain_worn": "two seconds", "final_drive": "hum",
}  # fmt: skip


@pytest.mark.parametrize("fault", NORMAL)
def test_what_is_normal_on_an_old_vehicle_is_said(fault: str) -> None:
    assert NORMAL[fault] in EVERY.faults[fault].normal


def test_particular_knowledge() -> None:
    assert EVERY.services["timing_belt"].miles and EVERY.services["timing_belt"].years
    assert "advice" in EVERY.services["auto_fluid"].caution
    assert EVERY.faults["tyres"].wear.years and EVERY.faults["tyres"].wear.miles
    assert EVERY.jobs["seat_base_made"].scarcity == "unobtainable"
    cheap, dear = (sum(EVERY.jobs[j].hours.mean for j in jobs) for jobs in (("bush_pair",), ("bush_set",)))
    assert EVERY.jobs["bush_pair"].parts.mode < 40 * cheap < 40 * dear
    assert EVERY.faults["galvanic_blisters"].kind == "cosmetic"
    underseal = EVERY.tables["underseal"]
    assert underseal.chance("major", "done") > underseal.chance("sound", "done")
    assert underseal.chance("major", "done_old") < underseal.chance("sound", "done_old")
    assert "second" in " ".join(EVERY.faults["gearbox_synchro"].speaks[0].words)


@pytest.mark.parametrize("colour", ["blue", "white", "black"])
def test_smoke_points_at_different_parts(colour: str) -> None:
    shares = {
        key: link.share_of(f"{colour} smoke")
        for key, fault in EVERY.faults.items()
        for link in fault.speaks
        if link.subject == "smoke"
    }
    likeliest = max(shares, key=lambda key: shares[key])
    assert likeliest in {"blue": {"piston_wear", "valve_seals"}, "white": {"head_gasket", "head_gaskets_v"}}.get(
        colour, {"injectors", "fuelling_tampered", "boost_hoses"}
    )


@pytest.mark.parametrize(
    ("facts", "has", "has_not"),
    [
        ({"fuel": "petrol", "engine_litres": 3.5, "year": [1976]}, "carburettor v_engine", "mechanical_pump"),
        ({"fuel": "petrol", "engine_litres": 3.9, "year": [1994]}, "injection v_engine", "diesel"),
        ({"fuel": "petrol", "engine_litres": 1.3, "year": [1979]}, "carburettor", "v_engine injection"),
        ({"fuel": "diesel", "engine_litres": 2.5, "year": [1988]}, "mechanical_pump", "electronic_pump"),
        ({"fuel": "diesel", "engine_litres": 2.5, "year": [2005]}, "electronic_pump", "mechanical_pump carburettor"),
    ],
)
def test_engines_imply_their_parts(facts: dict[str, object], has: str, has_not: str) -> None:
    traits = vehicle_traits(CAMPER, facts)
    assert all(traits[name] >= 0.5 for name in has.split()), traits
    assert all(traits.get(name, 0.0) < 0.05 for name in has_not.split()), traits
