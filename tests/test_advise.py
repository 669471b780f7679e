"""One pool, many members: who gets what, what is shared, what is left out, and what the adviser is told."""

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from selectolax.lexbor import LexborHTMLParser
from typer.testing import CliRunner

from pipeline.advise.command import Advised, advise
from pipeline.advise.contacts import DOT, masked
from pipeline.advise.members import read_members
from pipeline.batches import reader_of
from pipeline.cli import app
from pipeline.costing.estimate import Engine
from pipeline.errors import UsageError
from pipeline.ingest import gather
from pipeline.intake import add, quiet
from pipeline.keys import reading_version
from pipeline.nlp.advert import AdvertReader
from pipeline.run import bring_up_to_date
from pipeline.search import Search, open_search, start_search
from pipeline.store import open_store

POOL = {
    "one": "1994 Marrick Dale camper, 2.4 diesel, manual, 98,000 miles, MOT to June 2027, full history, sills welded "
    "2023 with photographs, no rust. £4,200 ono. Ring Ada on 01756 700 412. Hexham.",
    "two": "1997 Marrick Dale camper, 2.4 diesel, manual, 131,000 miles. Test till March. Some rust on the sills. "
    "£5,100. Stroud. Mail ada.pike@post.example please.",
    "three": "Marrick Dale van 1989 2.0 petrol manual 88k, MOT expired, clutch slipping, rust in the floors. "
    "£1,150 Leeds. Reg F417 KLD. 07700 900123",
    "four": "Marrick Dale camper 2001, 2.4 turbo diesel, automatic, 76,000 miles, serviced every year, two owners, no "
    "rust, belt done 2024 with bill. £6,900 York. Text +44 7700 900 456.",
    "five": "Marrick Dale 1992 2.0 petrol, manual gearbox, 104000 miles, long MOT, new brakes, new exhaust, dry "
    "floors, underside waxed from new. £3,600. Skipton. Reg is J88 MDL",
    "six": "Marrick Dale 1995 2.4 diesel manual 120,000 miles MOT May 2027, good runner, tidy inside, £3,900 Carlisle.",
}  # fmt: skip
MEMBERS = {
    "maud-ellery": ("Maud Ellery", 'home = "Skipton"\nbudget_total = 7000', "Four berths, please.", "Ring gently."),
    "otto": (
        "Otto Brandreth",
        'home = "Carlisle"\npurpose = "working"\ndoes_own_work = true',
        "",
        "Owes his fee.",
    ),
    "penny": ("Penny Harrowgate", 'home = "Leeds"\nbudget_total = 300\nbudget_is_hard = true', "", ""),
}
SECRETS = ("01756 700 412", "700 412", "ada.pike", "post.example", "F417", "KLD", "07700", "900123", "900 456", "J88")


@dataclass(frozen=True)
class Given:
    search: Search
    members: Path
    out: Path
    advised: Advised
    read: int
    believed: list[int]

    def page(self, name: str) -> str:
        return (self.out / name).read_text(encoding="utf-8")


def make(folder: Path) -> tuple[Search, Path]:
    start_search(folder / "pool", home="Skipton", budget=7000, guide_price=4500, packs=("light-camper-van",))
    text = (folder / "pool" / "buyer.toml").read_text(encoding="utf-8")
    (folder / "pool" / "buyer.toml").write_text(text + '\n[as_of]\ndate = "2026-10-31"\n', encoding="utf-8")
    search = open_search(folder / "pool")
    for name, words in POOL.items():
        (search.inbox / f"{name}.txt").write_text(words, encoding="utf-8")
    with open_store(search.folder) as store:
        add(store, list(gather([search.inbox])), search.as_of)
    members = folder / "members"
    members.mkdir()
    for key, (name, needs, note, own) in MEMBERS.items():
        head = f'[member]\nname = "{name}"\nnote = "{note}"\nadviser_note = "{own}"\n'
        (members / f"{key}.toml").write_text(f"{head}[buyer]\n{needs}\n", encoding="utf-8")
    return search, members


@pytest.fixture(scope="module")
def given(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Given]:
    folder = tmp_path_factory.mktemp("club")
    search, members = make(folder)
    read, believed = [], []
    reader_of(None, reading_version())  # when it is made it reads a first line
    with pytest.MonkeyPatch.context() as patch:
        reader, believe = AdvertReader.read_all, Engine.believed
        patch.setattr(
            AdvertReader, "read_all", lambda self, some: reader(self, (read.append(1) or one for one in some))
        )
        patch.setattr(Engine, "believed", lambda self, ev: (believed.append(len(ev)), believe(self, ev))[1])
        with open_store(search.folder, create=False) as store:
            advised = advise(store, search, members, folder / "out", contacts=False, progress=quiet)
    yield Given(search, members, folder / "out", advised, len(read), believed)


def test_each_has_a_page_and_the_adviser_the_summary(given: Given) -> None:
    names = sorted(path.relative_to(given.out).as_posix() for path in given.out.rglob("*.html"))
    assert names == ["adviser.html", "members/maud-ellery.html", "members/otto.html", "members/penny.html"]
    assert "For Maud Ellery" in given.page("members/maud-ellery.html")
    assert given.page("members/maud-ellery.html").count("<article") == 3


def test_a_member_at_the_pools_own_terms_gets_what_the_ranking_puts_first(given: Given) -> None:
    with open_store(given.search.folder, create=False) as store:
        ranking = bring_up_to_date(store, given.search, remember=False).view.vehicles
    first = [view for view in ranking if view.ranked.verdict != "leave"][:3]
    maud = given.advised.view.members[0]
    assert maud.member.name == "Maud Ellery"
    assert [view.ref for view in maud.view.vehicles] == [view.ref for view in first]
    for mine, theirs in zip(maud.view.vehicles, first, strict=True):
        assert mine.ranked.visit_worth == pytest.approx(theirs.ranked.visit_worth)
        assert mine.ranked.repair_cost.mean == pytest.approx(theirs.ranked.repair_cost.mean)


def test_own_terms_are_reckoned_exactly(given: Given, tmp_path: Path) -> None:
    otto = given.advised.view.members[1]
    folder = tmp_path / "otto"
    start_search(
        folder, home="Carlisle", purpose="working", own_work=True, guide_price=4500, packs=("light-camper-van",)
    )
    text = (folder / "buyer.toml").read_text(encoding="utf-8")
    (folder / "buyer.toml").write_text(text + '\n[as_of]\ndate = "2026-10-31"\n', encoding="utf-8")
    alone = open_search(folder)
    with open_store(folder) as store:
        add(store, list(gather([given.search.inbox])), alone.as_of)
        views = {v.texts[0].source: v for v in bring_up_to_date(store, alone, remember=False).view.vehicles}
    assert otto.view.vehicles
    for mine in otto.view.vehicles:
        theirs = views[mine.texts[0].source]
        assert mine.ranked.repair_cost.mean == pytest.approx(theirs.ranked.repair_cost.mean)
        assert mine.prospect.distance_miles == pytest.approx(theirs.prospect.distance_miles)


def test_what_was_found_in_the_pool_teaches_wear_for_every_member(given: Given, tmp_path: Path) -> None:
    """Brake pipes found bad at two vehicles, one of them since sold, make those of all others likelier to be bad."""
    search, members = make(tmp_path)
    with open_store(search.folder, create=False) as store:
        refs = {v.texts[0].source: v.ref for v in bring_up_to_date(store, search, remember=False).view.vehicles}
    noted = [refs["two.txt"], refs["three.txt"]]
    for ref, more in zip(noted, ([], ["--sold"]), strict=True):
        told = ["note", ref, "--found", "brake_pipes: major", *more, "--search", str(search.folder)]
        assert CliRunner().invoke(app, told).exit_code == 0
    with open_store(search.folder, create=False) as store:
        ranking = bring_up_to_date(store, search, remember=False).view.vehicles
        views = advise(store, search, members, tmp_path / "out", contacts=False, progress=quiet).view.members
    owns = {view.ref: view for view in ranking}
    for mine in views[0].view.vehicles:  # at the pool's own terms
        assert mine.ranked.repair_cost.mean == pytest.approx(owns[mine.ref].ranked.repair_cost.mean)
    compared = 0
    for before, after in zip(given.advised.view.members, views, strict=True):
        costs = {view.texts[0].source: view.ranked.repair_cost.mean for view in before.view.vehicles}
        for view in after.view.vehicles:
            if view.ref not in noted and view.texts[0].source in costs:
                assert view.ranked.repair_cost.mean > costs[view.texts[0].source]
                compared += 1
    assert compared >= 3


def test_reading_and_beliefs_are_shared(given: Given) -> None:
    assert given.read == len(POOL)
    # once for the pool's own ranking, once for all members' lists together, whatever their number
    assert given.believed == [6, 6]


def test_contacts_are_left_out_unless_asked_for(given: Given, tmp_path: Path) -> None:
    pages = [path.read_text(encoding="utf-8") for path in given.out.rglob("*.html")]
    assert not [secret for secret in SECRETS for html in pages if secret in html]
    shown = {view.ref for one in given.advised.view.members for view in one.view.vehicles}
    with open_store(given.search.folder, create=False) as store:
        told = advise(store, given.search, given.members, tmp_path / "all", contacts=True, progress=quiet)
    everything = "".join(path.read_text(encoding="utf-8") for path in told.paths)
    assert len(shown) >= 3 and sum(secret in everything for secret in SECRETS) >= 3


def test_marks_stay_in_their_places(given: Given) -> None:
    for one in given.advised.view.members:
        for view in one.view.vehicles:
            source = view.texts[0].source.removesuffix(".txt")
            assert len(view.texts[0].text) == len(POOL[source])
            for claim in view.texts[0].reading.claims:
                if claim.start >= 0:
                    assert POOL[source][claim.start : claim.end] == view.texts[0].text[claim.start : claim.end]


def test_nobodys_page_holds_anothers_details(given: Given) -> None:
    for key in MEMBERS:
        html = given.page(f"members/{key}.html")
        for other, (name, needs, note, own) in MEMBERS.items():
            assert not own or own not in html  # the adviser's own notes are nobody's
            if other != key:
                assert name not in html and (not note or note not in html)
                assert f"from {re.findall('home = .([A-Z][a-z]+)', needs)[0]}" not in html
    assert "Four berths, please." in given.page("members/maud-ellery.html")


def test_the_summary_tells_who_competes_and_who_has_none(given: Given) -> None:
    text = LexborHTMLParser(given.page("adviser.html")).body.text()  # type: ignore[union-attr]
    assert "Ring gently." in text and "Owes his fee." in text and "Four berths" in text
    wanted = {one.member.name: {view.ref for view in one.view.vehicles} for one in given.advised.view.members}
    both = wanted["Maud Ellery"] & wanted["Otto Brandreth"]
    assert both
    rivals = text.split("Wanted by several")[1].split("Without one")[0]
    assert rivals.count("Maud Ellery") == rivals.count("Otto Brandreth") == len(both)
    assert wanted["Penny Harrowgate"] == set()
    without = text.split("Without one worth a visit")[1].split("Members")[0]
    assert "Penny Harrowgate" in without and "A budget of about £" in without and "instead of £300" in without
    budget = int(re.findall(r"A budget of about £([\d,]+)", without)[0].replace(",", ""))
    assert 1000 < budget < 8000


def test_the_budget_that_would_do_does(given: Given, tmp_path: Path) -> None:
    html = given.page("members/penny.html")
    budget = re.findall(r"A budget of about £([\d,]+)", html)[0].replace(",", "")
    folder = tmp_path / "m"
    folder.mkdir()
    (folder / "penny.toml").write_text(f'[buyer]\nhome = "Leeds"\nbudget_total = {budget}\n', encoding="utf-8")
    with open_store(given.search.folder, create=False) as store:
        told = advise(store, given.search, folder, tmp_path / "out", contacts=False, progress=quiet)
    assert told.view.members[0].member.name == "Penny"
    assert told.view.members[0].view.vehicles


def test_a_bad_member_file_is_named_and_the_rest_done(given: Given, tmp_path: Path) -> None:
    folder = tmp_path / "members"
    folder.mkdir()
    (folder / "good.toml").write_text('[buyer]\nhome = "York"\n', encoding="utf-8")
    (folder / "bad.toml").write_text('[buyer]\nhome = "York"\nbudgett = 4\n', encoding="utf-8")
    (folder / "lost.toml").write_text('[buyer]\nhome = "Nowhere at all"\n', encoding="utf-8")
    (folder / "day.toml").write_text('[buyer]\nhome = "York"\n[as_of]\ndate = "2026-01-01"\n', encoding="utf-8")
    options = ["--search", str(given.search.folder), "--out", str(tmp_path / "out"), "--json"]
    done = CliRunner().invoke(app, ["advise", str(folder), *options])
    assert done.exit_code == 1
    told = json.loads(done.stdout)
    assert [one["member"] for one in told["members"]] == ["good"]
    reasons = {one["source"]: one["reason"] for one in told["refused"]}
    assert reasons["bad.toml"].startswith("bad.toml:3: budgett: unknown key")
    assert "not in the gazetteer" in reasons["lost.toml"] and reasons["lost.toml"].startswith("lost.toml")
    assert reasons["day.toml"].startswith("day.toml:3: as_of")


def test_a_folder_without_members_says_what_to_do(given: Given, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no such folder"):
        read_members(tmp_path / "nowhere", given.search.buyer)
    with pytest.raises(UsageError, match=r"no member file here.*NAME.toml"):
        read_members(tmp_path, given.search.buyer)


def test_what_a_member_file_leaves_out_is_the_pools(given: Given) -> None:
    members, _ = read_members(given.members, given.search.buyer)
    for _, buyer in members:
        assert buyer.packs == given.search.buyer.packs and buyer.guide_price == 4500
        assert buyer.as_of == given.search.buyer.as_of


@pytest.mark.parametrize(
    ("words", "kept"),
    [
        ("ring 01756 700412 after six", "ring ••••• •••••• after six"),
        ("0 7 7 0 0 9 0 0 1 2 3", "• • • • • • • • • • •"),
        ("+44 (0)7700 900123!", "••• ••••••• ••••••!"),
        ("call (555) 010-4477, or 555.010.4478", "call ••••• ••••••••, or ••••••••••••"),
        ("oh seven seven double oh nine oh oh one two three", "•• ••••• ••••• •••••• •• •••• •• •• ••• ••• •••••"),
        ("mail me at jo.pike@post.example.", f"mail me at {20 * DOT}."),
        ("jo (at) post (dot) example", "•• •••• •••• ••••• •••••••"),
        ("reg AB12 CDE and F417KLD, 131-D-4567", "reg •••• ••• and •••••••, ••••••••••"),
        ("£4,200, 98,000 miles, 1994, 2.4 TD, MOT 06/2027", "£4,200, 98,000 miles, 1994, 2.4 TD, MOT 06/2027"),
        ("timing belt at 88k in 2019, 185/65 R14 tyres", "timing belt at 88k in 2019, 185/65 R14 tyres"),
    ],
)
def test_what_is_a_contact(words: str, kept: str) -> None:
    assert masked(words, [], contacts=True) == kept
    assert len(kept) == len(words) and (DOT in kept) == (kept != words)
