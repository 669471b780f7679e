"""The subject codes: complete, and none twice."""

from pathlib import Path

import pytest

from pipeline.errors import RuleError
from pipeline.paths import data_folder
from pipeline.schemas.subjects import load_subjects


def test_every_subject_has_a_name_of_its_own() -> None:
    names = load_subjects(data_folder("rules")).names
    assert len(names) == 53
    assert len(set(names.values())) == len(names)


def test_a_code_that_stands_twice_is_refused(tmp_path: Path) -> None:
    (tmp_path / "subjects.yaml").write_text(
        "source: judgement\nsubjects:\n- {code: sills, name: a}\n- {code: sills, name: b}\n", encoding="utf-8"
    )
    with pytest.raises(RuleError, match=r"rules/subjects\.yaml:2: subjects: the code 'sills' stands twice"):
        load_subjects(tmp_path)
