"""What the findings at viewings say of wear: evidence with findings in, outcomes out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal, cast

from pipeline.costing.estimate import SEED, TOGETHER, Engine
from pipeline.costing.learning import Learnt, learn, told, with_learnt
from pipeline.schemas.knowledge_parts import Fault, Knowledge, Service
from pipeline.types import Buyer, Evidence, Outcome, Reason

FITTED = 0.5  # a finding of a part that the vehicle hardly can have is not learnt from


def learnt_knowledge(
    evidence: Sequence[Evidence], knowledge: Knowledge, buyer: Buyer
) -> tuple[Knowledge, tuple[Reason, ...], tuple[Learnt, ...]]:
    """The knowledge after all that was found in this search, the sentences that say so, and what was learnt.

    Without findings it is the knowledge itself.
    """
    learnt = learn(outcomes_of(evidence, knowledge, buyer), knowledge)
    return (with_learnt(knowledge, learnt), told(learnt, knowledge), learnt) if learnt else (knowledge, (), ())


def outcomes_of(evidence: Sequence[Evidence], knowledge: Knowledge, buyer: Buyer) -> tuple[Outcome, ...]:
    """One outcome a finding, with the exposure of the part and with what was believed of it before."""
    items: dict[str, Fault | Service] = {**knowledge.faults, **knowledge.services}
    seen = [one for one in evidence if not items.keys().isdisjoint(one.findings)]
    if not seen:
        return ()
    engine, found = Engine(knowledge, buyer, 2, SEED), []
    for start in range(0, len(seen), TOGETHER):
        some = seen[start : start + TOGETHER]
        tables = engine.tables([replace(one, findings={}) for one in some])
        marginals = engine.solve(tables).marginals()
        for v, (one, signs) in enumerate(zip(some, tables.signs, strict=True)):
            for key, state in one.findings.items():
                item = items.get(key)
                if item is None or item.applies.chance(signs.traits) < FITTED:
                    continue
                renewed = tables.renewals[key].get(v)
                found.append(
                    Outcome(
                        item=key,
                        state=cast('Literal["sound", "minor", "major"]', state),
                        years=renewed.years if renewed else signs.age,
                        miles=renewed.miles if renewed else signs.miles,
                        before=(float(marginals[key][v][0]), float(marginals[key][v][1]), float(marginals[key][v][2])),
                    )
                )
    return tuple(found)
