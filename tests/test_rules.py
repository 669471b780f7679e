"""Rules files: typed values out, errors that name file and line."""

from pathlib import Path

import pytest

from pipeline.errors import RuleError
from pipeline.fingerprint import fingerprint
from pipeline.rules import RuleModel, read_folder, read_rules


class Item(RuleModel):
    id: str
    words: list[str]


class Items(RuleModel):
    items: list[Item]


def write(folder: Path, text: str) -> Path:
    path = folder / "things.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_words_that_yaml_takes_for_booleans_stay_words(tmp_path: Path) -> None:
    read = read_rules(write(tmp_path, "items:\n- id: a\n  words: [no, on, off, yes]\n"), Items)
    assert read.items[0].words == ["no", "on", "off", "yes"]


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("items:\n- id: a\n  words: [x]\n  colour: red\n", 4, "unknown key"),
        ("items:\n- id: a\n  words: [x]\n- id: b\n  words: 7\n", 5, "list"),
        ("items:\n- id: a\n  id: b\n  words: [x]\n", 3, "stands twice"),
        ("items: [\n", 2, "not valid YAML"),
        ("items:\n- words: [x]\n", 2, "required"),
    ],
)
def test_an_error_names_file_and_line(tmp_path: Path, text: str, line: int, says: str) -> None:
    with pytest.raises(RuleError) as caught:
        read_rules(write(tmp_path, text), Items)
    assert str(caught.value).startswith(f"things.yaml:{line}: ")
    assert says in str(caught.value)


def test_a_missing_and_a_badly_encoded_file_are_said_in_one_line(tmp_path: Path) -> None:
    with pytest.raises(RuleError, match=r"none\.yaml: cannot be read"):
        read_rules(tmp_path / "none.yaml", Items)
    (tmp_path / "latin.yaml").write_bytes(b"items: [\xe9]")
    with pytest.raises(RuleError, match="UTF-8"):
        read_rules(tmp_path / "latin.yaml", Items)


def test_yaml_tags_run_nothing(tmp_path: Path) -> None:
    with pytest.raises(RuleError, match="not valid YAML"):
        read_rules(write(tmp_path, "items: !!python/object/apply:os.getcwd []\n"), Items)


def test_a_folder_is_read_sorted_and_its_fingerprint_follows_contents(tmp_path: Path) -> None:
    for name in ("b", "a"):
        (tmp_path / f"{name}.yaml").write_text(f"items:\n- id: {name}\n  words: [x]\n", encoding="utf-8")
    assert list(read_folder(tmp_path, Items)) == ["a", "b"]
    before = fingerprint([tmp_path])
    assert before == fingerprint([tmp_path])
    (tmp_path / "a.yaml").write_text("items: []\n", encoding="utf-8")
    assert fingerprint([tmp_path]) != before
