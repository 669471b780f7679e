"""Red flags: what raises each, what lifts it, and that each says what to verify before travelling."""

from dataclasses import replace

import pytest
from test_rank import BUYER, RULES, claim, one, prospect

from pipeline.ranking import rank
from pipeline.types import Claim, Ranked


def codes(*claims: Claim, **facts: str) -> set[str]:
    return {flag.code for flag in one(claims=claims, facts=facts).flags}


def test_every_flag_says_what_to_verify() -> None:
    for rule in RULES.flags.flags:
        assert len(rule.verify.split()) >= 5 and rule.verify.endswith("."), rule.id
        assert rule.when or rule.valuation_flags or rule.facts or rule.checks, rule.id


@pytest.mark.parametrize(
    ("quote", "verdict"),
    [
        ("no log book", "leave"),
        ("log book still in the last keeper's name", "leave"),
        ("it is in my late father's name", "ring first"),
        ("in the club's name, the treasurer will sign", "ring first"),
        ("one key only", "ring first"),
    ],
)
def test_whose_name_the_papers_are_in(quote: str, verdict: str) -> None:
    assert one(claims=(claim("documents", quote=quote),)).verdict == verdict


def test_a_floor_that_gives() -> None:
    assert "soft_floor" in codes(claim("floors", quote="a springy place by the door"))
    assert "soft_floor" not in codes(claim("floors", quote="some surface rust"))


def test_coolant_lost_with_the_cause_still_to_find() -> None:
    lost = claim("cooling", quote="it loses a little water")
    assert "coolant_explained" not in codes(lost)
    assert "coolant_explained" in codes(lost, claim("cooling", "done", "new radiator"))
    assert "coolant_explained" in codes(lost, claim("cooling", "possible", "thermostat I think"))
    assert "coolant_explained" not in codes(claim("cooling", quote="fan is noisy"), claim("cooling", "done", "hoses"))
    admitted = claim("head_gasket", "due", "needs a head gasket")
    assert "coolant_explained" not in codes(lost, claim("cooling", "done", "new radiator"), admitted)


def test_fresh_coating_over_fresh_work_wants_pictures() -> None:
    coated, welded = claim("underseal", "done", "freshly undersealed"), claim("sills", "done", "sills welded")
    assert "coated" in codes(coated, welded)
    assert "coated" not in codes(coated)
    assert "coated" not in codes(coated, claim("sills", "done", "sills welded, photographs of every stage"))


def test_no_test_and_a_warning_light() -> None:
    assert "no_test" in codes(test_state="expired")
    assert "warning_light" in codes(claim("warning_light"))
    assert "warning_light" not in codes(claim("warning_light"), claim("warning_light", "done"))


def test_an_oil_light_with_the_engine_running() -> None:
    lit = claim("warning_light", quote="the oil light winks at tickover, only the sender")
    assert one(claims=(lit,)).verdict == "leave" and "oil_light" in codes(lit)
    assert "oil_light" not in codes(claim("warning_light", quote="abs light on"))
    assert "oil_light" not in codes(lit, claim("engine_replaced", "done", "new engine since"))


def priced(flag: str, *claims: Claim) -> Ranked:
    cheap = prospect(claims=claims)
    return rank([replace(cheap, valuation=replace(cheap.valuation, flags=(flag,)))], BUYER, RULES)[0]


def test_a_price_far_below_without_a_reason() -> None:
    assert {f.code for f in priced("price_far_below").flags} == {"price_far_below"}
    why = (claim("sills"), claim("gearbox"), claim("running"))
    assert not {f.code for f in priced("price_far_below", *why).flags} & {"price_far_below"}
    swindle = priced("price_far_below", claim("no_viewing"))
    assert swindle.verdict == "leave" and "swindle" in {f.code for f in swindle.flags}


def test_identity_that_does_not_agree_is_asked_about() -> None:
    row = one(facts={"plate": "R123 ABC", "year": [1990]})
    assert "identity" in {flag.code for flag in row.flags} and row.verdict == "ring first"


def test_words_read_without_much_confidence_ask_and_do_not_rule_out() -> None:
    """A doubtful reading raises the flag; two flags of a swindle together rule it out all the same."""
    refused = claim("no_viewing", quote="test drives with proof of insurance")
    assert one(claims=(replace(refused, confidence=0.9),)).verdict == "leave"
    doubtful = one(claims=(replace(refused, confidence=0.5),))
    assert {flag.code: flag.disqualifies for flag in doubtful.flags} == {"no_viewing": False}
    money = replace(claim("advance_payment", quote="a small sum holds it"), confidence=0.5)
    assert one(claims=(replace(refused, confidence=0.5), money)).verdict == "leave"


@pytest.mark.parametrize(
    ("passage", "proven"),
    [
        ("CAT S. Hit at a junction, new chassis leg section. Jig report and the bill are in the folder.", True),
        ("cat s, repaired; an independent engineer's letter goes with it", True),
        ("Category S. Photos of the repair at every stage.", True),
        ("Cat C in 2013. The garage measured the legs corner to corner, and I have the sheet.", True),
        ("Cat C in 2013. It was never measured.", False),
        ("CAT S, drives straight. More photos on request.", False),
        ("Cat S, I have no engineers report and no repair invoices.", False),
        ("cat s, never saw an invoice for the work, sorry", False),
        ("CAT S. Drives straight as an arrow.", False),
    ],
)
def test_proof_of_a_repair_in_the_sentences_after(passage: str, proven: bool) -> None:
    written_off = claim("writeoff", quote="cat s")
    van = prospect(claims=(written_off,))
    told = replace(van, evidence=replace(van.evidence, passages={"writeoff": passage}))
    found = {flag.code for flag in rank([told], BUYER, RULES)[0].flags}
    assert ("writeoff_structural" not in found) == proven
    assert found & {"writeoff", "writeoff_structural"}, "either way it stays flagged"


def test_what_follows_another_subject_proves_nothing_of_a_write_off() -> None:
    van = prospect(claims=(claim("writeoff", quote="cat s"),))
    told = replace(van, evidence=replace(van.evidence, passages={"towing": "an engineer's report"}))
    assert "writeoff_structural" in {flag.code for flag in rank([told], BUYER, RULES)[0].flags}
