"""The pack that the README shows is a pack: it loads, changes what it says it changes, and is no longer than told."""

from pathlib import Path

from pipeline.paths import data_folder
from pipeline.schemas.knowledge import load_knowledge

README = Path(__file__).resolve().parents[1] / "README.md"


def test_the_readmes_pack_loads(tmp_path: Path) -> None:
    text = README.read_text(encoding="utf-8").split("```yaml\n")[1].split("```")[0]
    assert len(text.splitlines()) <= 22
    (tmp_path / "harrow-tern.yaml").write_text(text, encoding="utf-8")
    rules = data_folder("rules")
    plain, own = load_knowledge(["general"], rules), load_knowledge(["harrow-tern"], rules, [tmp_path])
    assert set(own.faults) - set(plain.faults) == {"tern_beam"}
    assert own.faults["tern_beam"].jobs.major == ("tern_beam_rebuild",)
    before, after = plain.faults["sills_outer"].wear.years, own.faults["sills_outer"].wear.years
    assert before and after and after.life == 24 < before.life
    assert own.faults["sills_outer"].look == plain.faults["sills_outer"].look
