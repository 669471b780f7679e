"""Recording: what a person says is understood or refused, moves what it should, can be taken back, and is kept."""

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.errors import UsageError, ViewworthyError
from pipeline.ingest import gather
from pipeline.intake import add
from pipeline.notes.apply import corrected, outdated, recorded
from pipeline.notes.record import Given, Recorder
from pipeline.notes.session import Told, everything, record, store_note, take_back
from pipeline.notes.words import exact_claim, fact_value, finding
from pipeline.paths import data_folder
from pipeline.refs import completions, find_vehicle
from pipeline.run import bring_up_to_date
from pipeline.schemas.notes import NoteRules, load_note_rules
from pipeline.schemas.subjects import load_subjects
from pipeline.search import Search, open_search, start_search
from pipeline.store import Store, open_store
from pipeline.types import (
    Advert,
    Claim,
    ClaimCorrection,
    Fact,
    FactCorrection,
    Note,
    Reading,
    Snapshot,
    VehicleView,
)

ONE = "1994 Marrick Dale camper, 2.4 diesel, manual, 98,000 miles, MOT to June 2027. Clutch a bit high. £4,200. Hexham."
TWO = "1997 Marrick Dale camper, 2.4 diesel, manual, 131,000 miles. Cambelt due. £5,100 ono. Kendal."
DAY = date(2026, 10, 31)
RULES = load_note_rules(data_folder("rules"))
SUBJECTS = load_subjects(data_folder("rules")).names


def quiet(stage: str, done: int, total: int) -> None:
    return None


@pytest.fixture
def search(tmp_path: Path) -> Search:
    start_search(tmp_path / "s", home="Skipton", budget=7000, guide_price=5500)
    with (tmp_path / "s" / "buyer.toml").open("a", encoding="utf-8") as toml:
        toml.write(f'\n[as_of]\ndate = "{DAY}"\n')
    found = open_search(tmp_path / "s")
    for name, text in {"one": ONE, "two": TWO}.items():
        (found.inbox / f"{name}.txt").write_text(text, encoding="utf-8")
    return found


@pytest.fixture
def store(search: Search) -> Iterator[Store]:
    with open_store(search.folder) as opened:
        add(opened, gather([search.inbox]), DAY)
        yield opened


def note(store: Store, search: Search, ref: str = "one.txt", **given: object) -> Told:
    return record(store, search, ref, Given(**given), quiet)  # type: ignore[arg-type]


def look(store: Store, search: Search, ref: str = "one.txt") -> VehicleView:
    return find_vehicle(everything(bring_up_to_date(store, search, remember=False).view), ref)


def bad(view: VehicleView, item: str) -> float:
    return next(one.minor + one.major for one in view.prospect.repair.items if one.item == item)


# ---- what words mean -------------------------------------------------------------


def answer(words: str) -> Claim | None:
    name, _, rest = words.partition(":")
    return exact_claim(name, rest.strip(), SUBJECTS, RULES, "call")


def test_an_answer_in_the_exact_form_is_a_claim_with_when_and_how_far_it_is_believed() -> None:
    told = answer("timing_belt: done at 80k in 2019")
    assert told is not None
    assert (told.subject, told.status, told.at_mileage, told.at_year) == ("timing_belt", "done", 80_000, 2019)
    assert told.origin == "call" and told.confidence == RULES.believed.call < 1
    shown = answer("timing belt: done at 80,000, bill seen")
    assert shown is not None and shown.origin == "papers" and shown.confidence == RULES.believed.papers
    heavy = answer("sills: present heavy")
    assert heavy is not None and heavy.grade == "heavy"
    assert answer("clutch: he says it never slipped") is None, "other words are left to the reader"


def test_an_unknown_name_is_answered_with_the_nearest() -> None:
    with pytest.raises(UsageError, match="timing_belt"):
        answer("timing belts: done")


@pytest.mark.parametrize(
    ("key", "words", "value"),
    [
        ("mileage", "98,500", 98_500),
        ("mileage", "98k", 98_000),
        ("year", "1994 or 1995", [1994, 1995]),
        ("engine_litres", "2.4", 2.4),
        ("asking_price", "£3,900", 3900),
        ("test_expiry", "2027-06", "2027-06"),
        ("gearbox", "Auto", "auto"),
        ("mileage", "unsaid", None),
    ],
)
def test_facts_from_words(key: str, words: str, value: object) -> None:
    assert fact_value(key, words, "--answer") == value


@pytest.mark.parametrize(
    ("key", "words"),
    [("mileage", "many"), ("year", "94"), ("gearbox", "both"), ("test_expiry", "June"), ("currency", "pounds")],
)
def test_facts_that_cannot_be_used_say_what_can(key: str, words: str) -> None:
    with pytest.raises(UsageError, match=r"Give .* 'unsaid'"):
        fact_value(key, words, "--answer")


def test_a_finding_under_a_subject_is_taken_for_its_items(store: Store, search: Search) -> None:
    knowledge, belief = Recorder(search).knowledge, look(store, search).prospect.repair.items
    sound = finding("sills: sound", SUBJECTS, knowledge, belief, RULES)
    assert {"sills_outer", "sills_inner"} <= set(sound.items) and "boot_floor" not in sound.items
    worse = finding("sills: rotten", SUBJECTS, knowledge, belief, RULES)
    assert worse.state == "major" and len(worse.items) == 1
    named = finding("inner sills and membranes rusted: minor", SUBJECTS, knowledge, belief, RULES)
    assert named.items == ("sills_inner",)
    belt = finding("timing_belt: overdue", SUBJECTS, knowledge, belief, RULES)
    assert belt.state == "minor" and belt.items == ("timing_belt",)
    for words, told in (("sils: bad", "sills"), ("sills: pink", "sound, minor or major"), ("welding: bad", "Name a")):
        with pytest.raises(UsageError, match=told):
            finding(words, SUBJECTS, knowledge, belief, RULES)


# ---- what follows ------------------------------------------------------------------


def test_a_finding_moves_beliefs_cost_price_and_ranking_and_is_taken_back(store: Store, search: Search) -> None:
    before = look(store, search)
    told = note(store, search, found=["clutch: major"], photos=["IMG_1.jpg"])
    after = look(store, search)
    assert told.note.learnt == "viewing" and "photograph: IMG_1.jpg" in told.understood
    assert bad(after, "clutch") > bad(before, "clutch") + 0.3
    assert after.ranked.repair_cost.mean > before.ranked.repair_cost.mean + 100
    assert (after.ranked.walk_away or 0) < (before.ranked.walk_away or 0)
    assert (after.ranked.visit_worth or 0) < (before.ranked.visit_worth or 0)
    shown = {change.what: (change.before, change.after) for change in told.changes}
    assert {"visit worth", "repair cost", "walk away above", "clutch worn"} <= set(shown)
    undone = take_back(store, search, "one.txt", quiet)
    assert undone.note.number == told.note.number
    assert {c.what: (c.after, c.before) for c in undone.changes} == shown
    again = look(store, search)
    assert again.ranked == before.ranked
    assert [n.undone for n in again.notes] == [True], "what is taken back stays in the history"
    with pytest.raises(UsageError, match="nothing is recorded"):
        take_back(store, search, "one.txt", quiet)


def test_an_answer_outweighs_the_advert_and_says_where_it_came_from(store: Store, search: Search) -> None:
    before = look(store, search, "two.txt")
    assert {(c.subject, c.status) for c in before.prospect.evidence.claims} >= {("timing_belt", "due")}
    note(store, search, "two.txt", answers=["timing_belt: done at 130000, bill seen", "owners: 3"])
    after = look(store, search, "two.txt")
    told = [c for c in after.prospect.evidence.claims if c.subject == "timing_belt"]
    assert [(c.status, c.origin, c.at_mileage) for c in told] == [("done", "papers", 130_000)]
    assert bad(after, "timing_belt") < bad(before, "timing_belt") / 2
    assert after.prospect.evidence.facts["owners"] == 3
    assert all(c.origin == "advert" for text in after.texts for c in text.reading.claims), "the advert is as it was"


def test_free_text_is_read_as_adverts_are(store: Store, search: Search) -> None:
    told = note(store, search, text="Rang him. The clutch slips badly. Two owners. It is 1994 and he wants £9,999.")
    after = look(store, search)
    claims = [c for c in after.prospect.evidence.claims if c.subject == "clutch" and c.origin == "call"]
    assert [c.status for c in claims] == ["present"] and claims[0].rule.startswith("note.text:")
    assert any("clutch" in line for line in told.understood)
    clutch = next(item for item in after.prospect.repair.items if item.item == "clutch")
    assert clutch.minor + clutch.major > 0.35 and not clutch.admitted, "the advert itself admits no slipping clutch"
    assert after.prospect.evidence.facts["owners"] == 2
    assert after.prospect.asking_price == 4200, "a sum in a note is not the asking price"


def test_free_text_is_read_again_when_the_rules_change(store: Store, search: Search) -> None:
    note(store, search, text="The clutch slips badly.")
    assert store.unread_notes("other rules") == {1}
    kept = store.note_readings()[1]
    store.keep_note_readings({1: Reading((), ())}, "other rules")
    assert look(store, search).notes[0].text == "The clutch slips badly."
    assert store.note_readings()[1] == kept


def test_a_price_agreed_is_what_is_paid_and_a_refused_offer_is_not_enough(store: Store, search: Search) -> None:
    asking = look(store, search)
    note(store, search, price_refused=4150.0)
    refused = look(store, search).ranked
    assert refused.price_to_pay == 4150 > (asking.ranked.price_to_pay or 0)
    note(store, search, no_less=True)
    assert look(store, search).ranked.price_to_pay == 4200
    note(store, search, price_agreed=3300.0)
    agreed = look(store, search).ranked
    assert agreed.price_to_pay == 3300 and agreed.opening_offer == 3300
    assert any("agreed" in reason.text for reason in agreed.price_reasons)
    assert agreed.surplus and asking.ranked.surplus
    assert agreed.surplus.mean - asking.ranked.surplus.mean == pytest.approx((asking.ranked.price_to_pay or 0) - 3300)


@pytest.mark.parametrize("fate", ["bought", "sold", "gone"])
def test_what_is_no_longer_for_sale_leaves_the_ranking_and_is_kept(store: Store, search: Search, fate: str) -> None:
    told = note(store, search, fate=fate)
    assert [v.texts[0].advert_id for v in told.view.vehicles] == ["two.txt"]
    assert [(v.texts[0].advert_id, v.fate) for v in told.view.apart] == [("one.txt", fate)]
    assert ("stands", f"kept apart: {fate}") in {(c.what, c.after) for c in told.changes}
    take_back(store, search, "one.txt", quiet)
    assert len(bring_up_to_date(store, search, remember=False).view.vehicles) == 2


def test_nothing_is_stored_when_a_word_cannot_be_used(store: Store, search: Search) -> None:
    for given in (
        {"found": ["clutch: major", "sofa: major"]},
        {"answers": ["clutch: major", "moonroof: done"]},
        {"text": "all well", "price_agreed": -3.0},
        {"text": "x" * 20_001},
        {},
    ):
        with pytest.raises(UsageError):
            note(store, search, **given)
    assert store.notes() == []


def test_a_note_does_not_use_up_what_the_next_run_tells(store: Store, search: Search) -> None:
    bring_up_to_date(store, search)
    note(store, search, fate="sold")
    (search.inbox / "one.txt").write_text(ONE.replace("4,200", "3,900"), encoding="utf-8")
    add(store, gather([search.inbox]), DAY)
    take_back(store, search, "one.txt", quiet)
    view = bring_up_to_date(store, search).view
    assert any("4,200 to 3,900" in change for change in view.changes)


# ---- corrections ---------------------------------------------------------------------


def snapshot(number: int, text: str, day: date = DAY) -> Snapshot:
    return Snapshot(number, Advert("a", text, "a.txt", "0" * 64, "text"), day, "", day, day)


def fact(key: str, value: object, quote: str) -> Fact:
    return Fact(key, value, quote, 0, len(quote), "rule")


def correct(*rights: FactCorrection | ClaimCorrection) -> list[Note]:
    facts = tuple(r for r in rights if isinstance(r, FactCorrection))
    claims = tuple(r for r in rights if isinstance(r, ClaimCorrection))
    return [Note(1, "a", DAY, "reading", fact_corrections=facts, claim_corrections=claims)]


def test_a_corrected_fact_outlives_new_snapshots_and_new_rules() -> None:
    wrong = Reading((fact("mileage", 60_000, "belt at 60k"),), ())
    other = Reading((fact("mileage", 75_000, "75 thousand"),), ())
    snapshots = [snapshot(1, "98k on the clock, belt at 60k"), snapshot(2, "reworded, 75 thousand", date(2026, 11, 9))]
    notes = correct(FactCorrection("a", "mileage", 98_000, 60_000, "98k"))
    for first in (wrong, other):  # `other`: what newer rules make of the same text
        right = corrected({1: first, 2: other}, snapshots, notes, RULES)
        assert right[1].fact("mileage") == right[2].fact("mileage") == 98_000
        (chosen,) = right[1].facts
        assert (chosen.origin, chosen.rule) == ("correction", "note.correction")
        assert snapshots[0].advert.text[chosen.start : chosen.end] == "98k"
        assert [f.value for f in right[1].rivals] == [first.facts[0].value], "what had been read is shown still"
    assert corrected({1: wrong}, snapshots[:1], [replace(notes[0], undone=True)], RULES)[1] == wrong


def test_a_corrected_price_ends_when_the_seller_writes_another() -> None:
    notes = correct(FactCorrection("a", "asking_price", 4200, 200, "£4 200"))
    snapshots = [
        snapshot(1, "yours for £4 200"),
        snapshot(2, "still £4 200, new tyres", date(2026, 11, 5)),
        snapshot(3, "now £3,900", date(2026, 11, 9)),
    ]
    readings = {n: Reading((fact("asking_price", value, ""),), ()) for n, value in ((1, 200), (2, 200), (3, 3900))}
    right = corrected(readings, snapshots, notes, RULES)
    assert [right[n].fact("asking_price") for n in (1, 2, 3)] == [4200, 4200, 3900]
    assert any("reworded since" in rival.origin for rival in right[3].rivals)


def test_a_fact_may_be_corrected_to_unsaid() -> None:
    right = corrected(
        {1: Reading((fact("vin", "X1", "X1"),), ())}, [snapshot(1, "part no X1")],
        correct(FactCorrection("a", "vin", None, "X1", "X1")), RULES,
    )  # fmt: skip
    assert right[1].fact("vin") is None and [f.value for f in right[1].rivals] == ["X1"]


def claim(subject: str, status: str, quote: str) -> Claim:
    return Claim(subject, status, "plain", quote, 0, len(quote), "rule")  # type: ignore[arg-type]


def test_a_corrected_claim_outlives_new_rules_and_ends_with_its_words() -> None:
    quote = "no rust on sills"
    right = replace(claim("sills", "absent", quote), rule="note.correction", origin="correction")
    notes = correct(ClaimCorrection("a", "sills", right, "present", quote))
    snapshots = [snapshot(1, "honest van, no rust on sills"), snapshot(2, "sills gone", date(2026, 11, 9))]
    later = Reading((), (claim("sills", "possible", "rust on sills"), claim("clutch", "due", "clutch")))
    for read in (Reading((), (claim("sills", "present", quote),)), later):
        found = corrected({1: read}, snapshots, notes, RULES)[1].claims
        assert [(c.status, c.origin) for c in found if c.subject == "sills"] == [("absent", "correction")]
        assert snapshots[0].advert.text[found[-1].start : found[-1].end] == quote
    assert any(c.subject == "clutch" for c in found), "other subjects stay"
    gone = Reading((), (claim("sills", "present", "sills gone"),))
    assert corrected({2: gone}, snapshots, notes, RULES)[2] == gone


def test_a_claim_may_be_withdrawn_or_added_beside() -> None:
    read = Reading((), (claim("sills", "present", "sills done"), claim("sills", "done", "sills done")))
    where = [snapshot(1, "sills done, tyres new")]
    withdrawn = corrected({1: read}, where, correct(ClaimCorrection("a", "sills", None)), RULES)[1]
    assert withdrawn.claims == ()
    more = claim("tyres", "absent", "")
    added = corrected({1: read}, where, correct(ClaimCorrection("a", "tyres", more, "")), RULES)[1]
    assert [c.subject for c in added.claims] == ["sills", "sills", "tyres"] and added.claims[-1].start == -1


def test_corrections_by_the_command_show_in_the_advert_and_move_the_cost(store: Store, search: Search) -> None:
    told = note(store, search, "two.txt", corrections=["mileage: 31000", "timing_belt: unsaid"])
    assert told.note.learnt == "reading"
    after = look(store, search, "two.txt")
    assert after.prospect.evidence.mileage_miles == 31_000
    assert not [c for c in after.texts[0].reading.claims if c.subject == "timing_belt"]
    assert any("was read as 131,000" in line for line in told.understood)
    with pytest.raises(UsageError, match="no status"):
        note(store, search, corrections=["sills: lovely"])


# ---- the newest word -------------------------------------------------------------------


def test_the_newest_word_counts() -> None:
    def one(number: int, status: str, **more: object) -> Note:
        return Note(number, "a", DAY, "call", answers=(claim("clutch", status, status),), **more)  # type: ignore[arg-type]

    notes = [one(1, "absent", price_agreed=100.0), one(2, "present", price_refused=90.0), one(3, "done", undone=True)]
    found = recorded(notes, {}, RULES)
    assert [c.status for c in found.first.claims] == ["present"]
    assert (found.agreed, found.least) == (None, 90.0), "an offer refused later ends an agreement"
    told = [claim("clutch", "done", "")]
    assert outdated(claim("clutch", "due", ""), told) and outdated(claim("clutch", "possible", ""), told)
    assert not outdated(claim("clutch", "present", ""), told) and not outdated(claim("sills", "due", ""), told)


def test_notes_are_kept_when_adverts_are_linked_or_parted(store: Store, search: Search) -> None:
    note(store, search, found=["clutch: minor"])
    (search.inbox / "again.txt").write_text(ONE.replace("£4,200", "£4,000"), encoding="utf-8")
    add(store, gather([search.inbox]), DAY)
    linked = look(store, search, "one.txt")
    assert {t.advert_id for t in linked.texts} == {"one.txt", "again.txt"}
    assert linked.prospect.evidence.findings["clutch"] == "minor"


# ---- the command ---------------------------------------------------------------------------

RUNNER = CliRunner()


def test_the_command_records_lists_and_takes_back(store: Store, search: Search) -> None:
    bring_up_to_date(store, search)
    assert ("1", look(store, search).title) in completions(search.folder, "")
    at = ["--search", str(search.folder)]
    first = RUNNER.invoke(app, ["note", "1", "--found", "clutch: major", "--at", "viewing", *at])
    assert first.exit_code == 0, first.exception
    assert "found: clutch and flywheel major" in first.output and "→" in first.output
    listed = RUNNER.invoke(app, ["note", "one", "--history", "--json", *at])
    assert [row["note"] for row in json.loads(listed.stdout)["notes"]] == ["note 1, 31 October 2026, at the viewing"]
    back = RUNNER.invoke(app, ["note", "1", "--undo", "--json", *at])
    assert json.loads(back.stdout)["undone"] is True
    for words, told in (
        (["note", "1"], "nothing to record"),
        (["note", "1", "--sold", "--gone"], "cannot both"),
        (["note", "1", "--undo", "--text", "x"], "go alone"),
        (["note", "1", "--text", "x", "--at", "pub"], "call, viewing, papers"),
        (["note", "77", "--gone"], "Numbers go from 1 to 2"),
        (["note", "hexam", "--gone"], "viewworthy rank"),
    ):
        result = RUNNER.invoke(app, [*words, *at])
        assert isinstance(result.exception, ViewworthyError) and told in str(result.exception), words


def test_rules_of_notes_refuse_what_is_no_fact() -> None:
    with pytest.raises(ValueError, match="unknown fact 'colour'"):
        NoteRules.model_validate({**RULES.model_dump(), "changing": ["colour"]})


def test_store_note_hangs_on_the_first_advert(store: Store, search: Search) -> None:
    told = store_note(store, search, "two.txt", lambda v, key: Note(0, key, DAY, "call", fate="sold"), quiet)
    assert told.note.advert_id == "two.txt" and told.note.number == 1


def test_a_correction_holds_for_every_advert_that_says_so(store: Store, search: Search) -> None:
    (search.inbox / "again.txt").write_text(ONE.replace("£4,200", "£4,000"), encoding="utf-8")
    add(store, gather([search.inbox]), DAY)
    note(store, search, "one.txt", corrections=["mileage: 89000", "clutch: absent"])
    after = look(store, search, "one.txt")
    assert [text.reading.fact("mileage") for text in after.texts] == [89_000, 89_000]
    for text in after.texts:
        assert [c.status for c in text.reading.claims if c.subject == "clutch"] == ["absent"]
