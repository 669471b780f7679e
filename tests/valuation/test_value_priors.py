"""The rules of value: loading, laying over, refusing, and finding traits."""

from pathlib import Path

import pytest

from pipeline.errors import RuleError
from pipeline.schemas.value_priors import load_value_priors

RULES = Path(__file__).resolve().parents[2] / "rules"
PACKS = sorted(path.stem for path in (RULES / "value").glob("*.yaml"))


@pytest.mark.parametrize("pack", PACKS)
def test_every_pack_loads_and_every_entry_has_a_source(pack: str) -> None:
    priors = load_value_priors([pack], RULES)
    entries = [*priors.curves.values(), *priors.effects.values(), *priors.numbers.values()]
    assert len(entries) > 40 and all(entry.source for entry in entries)


def test_a_pack_lies_over_general_and_one_without_a_file_adds_nothing() -> None:
    general, roadster = load_value_priors(["general"], RULES), load_value_priors(["general", "roadster"], RULES)
    assert roadster.effects["modified"].mean < general.effects["modified"].mean
    assert roadster.numbers == general.numbers
    assert load_value_priors(["general", "no-such-pack"], RULES) == general


def test_a_search_folder_may_bring_its_own(tmp_path: Path) -> None:
    (tmp_path / "packs").mkdir()
    (tmp_path / "value").mkdir()
    (tmp_path / "value" / "my-van.yaml").write_text(
        "effects: [{id: trait.blue, name: Blue, mean: 0.5, sd: 0.1, words: [sky blue], source: judgement}]\n"
    )
    priors = load_value_priors(["general", "my-van"], RULES, [tmp_path / "packs"])
    assert priors.trait("blue").mean == 0.5 and priors.trait("unheard-of").id == "trait.other"
    assert priors.traits_in("A Sky Blue van") == ("blue",)
    assert priors.traits_in("skyblue, not sky blue at all, no sky blue") == ()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("effects: [{id: colour, name: C, mean: 0, sd: 1, source: judgement}]", "unknown effect 'colour'"),
        ("effects: [{id: modified, name: M, mean: 0, sd: 1, words: [x], source: judgement}]", "belong to a trait"),
        ("effects: [{id: modified, name: M, mean: 0, sd: 0, source: judgement}]", "greater than 0"),
        ("numbers: [{id: noise.sd, value: 1}]", "source"),
        ("numbers: [{id: nose.sd, value: 1, source: judgement}]", "unknown number"),
        (
            "curves: [{id: age, per: 1, common_sd: 1, source: judgement, "
            "knots: [{at: 5, mean: 0, sd: 1}, {at: 5, mean: 0, sd: 1}]}]",
            "must rise",
        ),
        ("colours: []", "unknown key"),
    ],
)
def test_a_wrong_file_is_refused_with_file_and_line(tmp_path: Path, text: str, says: str) -> None:
    (tmp_path / "packs").mkdir()
    (tmp_path / "value").mkdir()
    (tmp_path / "value" / "odd.yaml").write_text(text + "\n")
    with pytest.raises(RuleError) as refused:
        load_value_priors(["odd"], RULES, [tmp_path / "packs"])
    assert says in str(refused.value) and "value/odd.yaml:1" in str(refused.value)


def test_general_must_be_complete(tmp_path: Path) -> None:
    (tmp_path / "value").mkdir()
    (tmp_path / "value" / "general.yaml").write_text("numbers: []\n")
    with pytest.raises(RuleError, match="no entry for 'age'"):
        load_value_priors(["general"], tmp_path)
