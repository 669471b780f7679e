"""Wrong rules are refused in one line that names file and line."""

import shutil
from pathlib import Path

import pytest

from pipeline.errors import RuleError
from pipeline.paths import data_folder
from pipeline.schemas.knowledge import load_knowledge

RULES = data_folder("rules")
FAULT = """about: a pack
source: judgement
faults:
- id: squeak
  name: squeaks
  group: body
  kind: trim
  wear: {years: {life: 20, shape: 2}, major_ratio: 1.5}
  speaks:
  - {subject: interior, share: 0.1}
  jobs: {minor: [trim_bits], major: [trim_many]}
  look: Listen.
  source: judgement
"""


def pack(folder: Path, text: str) -> Path:
    (folder / "packs").mkdir(exist_ok=True)
    (folder / "packs" / "odd.yaml").write_text(text, encoding="utf-8")
    return folder / "packs"


def refused(tmp_path: Path, text: str) -> str:
    with pytest.raises(RuleError) as caught:
        load_knowledge(["odd"], RULES, [pack(tmp_path, text)])
    message = str(caught.value)
    assert "\n" not in message
    return message


def test_a_well_formed_pack_adds_its_fault(tmp_path: Path) -> None:
    knowledge = load_knowledge(["odd"], RULES, [pack(tmp_path, FAULT)])
    assert knowledge.faults["squeak"].seen.walk_round > 0.5  # from its kind
    assert knowledge.faults["squeak"].speaks[0].table == "cosmetic"


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ("  look: Listen.\n", "  look: Listen.\n  colour: red\n", 13, "unknown key"),
        ("kind: trim", "kind: tin", 7, "unknown kind 'tin'"),
        ("[trim_many]", "[trim_most]", 4, "unknown job 'trim_most'"),
        ("[trim_bits]", "[]", 11, "at least 1"),
        ("subject: interior", "subject: interiors", None, "unknown subject 'interiors'"),
        ("shape: 2}", "shape: -2}", 8, "greater than 0"),
        ("major_ratio: 1.5", "major_ratio: 0.5", 8, "greater than or equal to 1"),
        ("  source: judgement\n", "", 4, "no source"),
        ("  speaks:\n", "  causes: [{fault: ghost, when: major, minor: 0.1, major: 0.1}]\n  speaks:\n", 4, "'ghost'"),
        ("  speaks:\n", "  causes: [{fault: dents, when: major, minor: 0.6, major: 0.6}]\n  speaks:\n", 9, "exceed 1"),
        ("  speaks:\n", "  roots: {care: {superb: 0.5}}\n  speaks:\n", 4, "'superb'"),
        ("  speaks:\n", "  applies: {every: [diesel]}\n  speaks:\n", 9, "unknown key"),
    ],
)
def test_an_error_names_file_and_line(tmp_path: Path, old: str, new: str, line: int | None, says: str) -> None:
    head, _, tail = FAULT.rpartition(old)
    message = refused(tmp_path, head + new + tail)
    assert says in message
    if line is not None:
        assert message.split(": ")[0].endswith(f"packs/odd.yaml:{line}"), message


def test_causes_that_go_round_are_refused(tmp_path: Path) -> None:
    link = "  causes: [{fault: %s, when: major, minor: 0.1, major: 0.1}]\n  source: judgement\n"
    text = "about: a pack\nsource: judgement\nfaults:\n"
    text += "- id: dents\n" + link % "seats" + "- id: seats\n" + link % "dents"
    assert "causes go round" in refused(tmp_path, text)


def test_an_id_twice_in_one_file_and_a_missing_pack_are_refused(tmp_path: Path) -> None:
    text = (
        "about: a\nsource: judgement\njobs:\n- {id: trim_bits, source: judgement}\n- {id: trim_bits, source: other}\n"
    )
    assert "odd.yaml:5: jobs: the id 'trim_bits' stands twice" in refused(tmp_path, text)
    with pytest.raises(RuleError, match="there is no pack 'none'"):
        load_knowledge(["none"], RULES)


def test_a_change_is_merged_into_what_stands_below(tmp_path: Path) -> None:
    text = "about: a\nsource: judgement\nfaults:\n- id: dents\n  pay: {minor: 0.5}\n  source: common practice\n"
    before = load_knowledge(["general"], RULES).faults["dents"]
    after = load_knowledge(["odd"], RULES, [pack(tmp_path, text)]).faults["dents"]
    assert (after.pay.minor, after.pay.major) == (0.5, before.pay.major)
    assert (after.wear, after.source) == (before.wear, "common practice")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("minor: {silence: 0.6995,", "minor: {silence: 0.7995,", "row minor sums to 1.1, not 1"),
        (
            "sound: {silence: 0.765, absent: 0.16,",
            "sound: {silence: 0.905, absent: 0.02,",
            "Silence is never better than a denial",
        ),
    ],
)
def test_report_tables_must_sum_to_one_and_keep_their_order(tmp_path: Path, old: str, new: str, says: str) -> None:
    rules = tmp_path / "rules"
    shutil.copytree(RULES, rules)
    path = rules / "reports" / "claims.yaml"
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(RuleError, match=r"rules/reports/claims\.yaml:\d+: ") as caught:
        load_knowledge(["general"], rules)
    assert says in str(caught.value)


def test_a_subject_without_a_path_into_belief_is_refused(tmp_path: Path) -> None:
    rules = tmp_path / "rules"
    shutil.copytree(RULES, rules)
    path = rules / "subjects.yaml"
    path.write_text(path.read_text(encoding="utf-8") + "- code: horn\n  name: horn\n", encoding="utf-8")
    with pytest.raises(RuleError, match="'horn' bears on no fault, service or root"):
        load_knowledge(["general"], rules)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("id: uk", "id: gb", "Call it 'uk'"),
        ("currency: GBP", "currency: XXX", "no rate for XXX"),
        ("low: 45, usual: 62", "low: 65, usual: 62", "not in order"),
    ],
)
def test_a_wrong_region_is_refused(tmp_path: Path, old: str, new: str, says: str) -> None:
    rules = tmp_path / "rules"
    shutil.copytree(RULES, rules)
    path = rules / "regions" / "uk.yaml"
    path.write_text(path.read_text(encoding="utf-8").replace(old, new, 1), encoding="utf-8")
    with pytest.raises(RuleError) as caught:
        load_knowledge(["general"], rules)
    assert says in str(caught.value)
