"""Everything that can be wrong with rules, looked at before a run: types, references, tables, sources."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

from pipeline.paths import data_folder
from pipeline.schemas.decision import load_decision
from pipeline.schemas.knowledge import load_knowledge, pack_names
from pipeline.schemas.language import load_language
from pipeline.schemas.linking import load_link_rules
from pipeline.schemas.notes import load_note_rules
from pipeline.schemas.places import load_place_words
from pipeline.schemas.subjects import load_subjects
from pipeline.schemas.value_priors import load_value_priors
from pipeline.schemas.viewing import load_viewing


def check_all(folder: Path | None = None) -> dict[str, Any]:
    """Loads every rules file and every pack on its own; counts what there is and what the numbers rest on.

    `folder`: packs of the buyer's own. Raises RuleError naming file, line and remedy of the first thing wrong.
    """
    rules = data_folder("rules")
    extra = [folder] if folder else []
    load_language(rules)
    load_link_rules(rules)
    load_place_words(rules)
    load_decision(rules)
    load_note_rules(rules)
    load_viewing(rules)
    names = [name for name in pack_names(rules, extra) if name != "general"]
    for name in names:
        load_knowledge([name], rules, extra)
        load_value_priors([name], rules, extra)
    knowledge = load_knowledge(names, rules, extra)
    kinds: Counter[str] = Counter()
    for source, count in knowledge.sources().items():
        kinds[kind_of_source(source)] += count
    return {
        "subjects": len(load_subjects(rules).names),
        "packs": 1 + len(names),
        "faults": len(knowledge.faults),
        "services": len(knowledge.services),
        "jobs": len(knowledge.jobs),
        "causal links": sum(len(fault.causes) for fault in knowledge.faults.values()),
        "sources": dict(kinds.most_common()),
    }


def kind_of_source(source: str) -> str:
    """ "judgement", "common practice" or "published", by what a source begins with."""
    for kind in ("judgement", "common practice", "from memory"):
        if source.lower().startswith(kind):
            return kind
    return "published, or several"
