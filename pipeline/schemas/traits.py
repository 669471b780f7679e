"""What a vehicle is, by the facts and claims of its advert: trait -> probability."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.schemas.knowledge_parts import Engine, Knowledge, Match
from pipeline.types import Claim

EITHER = (("chain", "belt"), ("manual", "auto"))
LITRE_TOLERANCE = 0.051  # 1.9 and 2.0 are told apart, 1.95 is neither


def named_in(knowledge: Knowledge, text: str) -> dict[str, Any]:
    """What a text names of the packs' models: `variants` (ids; of words within words the longest), `model_named`, and
    `named_traits`, which words show though nothing is claimed of them.

    Each is left out where nothing is found; `model_named` where a pack gives no aliases.
    """
    text = text.lower()
    found: dict[str, Any] = {}
    words = {word: variant.id for file in knowledge.files for variant in file.variants for word in variant.words}
    told = [word for word in words if _stands(word, text)]
    variants = sorted({words[word] for word in told if not any(word != other and word in other for other in told)})
    if variants:
        found["variants"] = variants
    shown = (named for file in knowledge.files for named in file.named)
    traits = sorted({named.trait for named in shown if any(_stands(word, text) for word in named.words)})
    if traits:
        found["named_traits"] = traits
    aliases = [alias for file in knowledge.files for alias in file.aliases]
    return found | ({"model_named": any(_stands(alias, text) for alias in aliases)} if aliases else {})


def _stands(word: str, text: str) -> bool:
    word = word.lower()
    return word in text and re.search(rf"(?<!\w){re.escape(word)}(?!\w)", text) is not None


def vehicle_traits(knowledge: Knowledge, facts: Mapping[str, Any], claims: Sequence[Claim] = ()) -> dict[str, float]:
    """Traits of one vehicle, the probability of each.

    What the packs say of every vehicle, then the engines of the most particular pack that has any which fit the facts,
    mixed by their share, then variants, then facts and claims that tell a trait outright.
    """
    traits = dict(knowledge.traits)
    fitting: list[Engine] = []
    for engines in knowledge.engines:
        fitting = [engine for engine in engines if _fits(engine.when, facts)]
        if fitting:
            break
    total = sum(engine.share for engine in fitting)
    for name in {name for engine in fitting for name in engine.traits}:
        traits[name] = sum(engine.share * engine.traits.get(name, 0.0) for engine in fitting) / total
    for file in knowledge.files:
        for variant in file.variants:
            if variant.id in (facts.get("variants") or ()) or (variant.by_years and _built_in(variant.years, facts)):
                traits.update(variant.traits)
    if facts.get("fuel"):
        for fuel in ("petrol", "diesel", "lpg", "hybrid", "electric"):
            traits[fuel] = float(facts["fuel"] == fuel)
        traits["petrol"] = max(traits["petrol"], traits["lpg"], traits["hybrid"])
    if facts.get("gearbox"):
        traits["auto"] = float(facts["gearbox"] == "auto")
        traits["manual"] = 1.0 - traits["auto"]
    for told in knowledge.told:
        for claim in claims:
            if claim.subject != told.subject or claim.status not in told.statuses:
                continue
            quote = claim.quote.lower()
            if not told.words or any(word in quote for word in told.words):
                _show(traits, told.trait)
    for trait in facts.get("named_traits") or ():
        if traits.get(trait, 0.0) < 1.0:
            _show(traits, trait)
    return traits


def _show(traits: dict[str, float], trait: str) -> None:
    """The trait is there, unless it cannot be; what shows one of a pair denies the other."""
    if traits.get(trait, 0.0) > 0:
        traits[trait] = 1.0
        for pair in EITHER:
            if trait in pair:
                traits[pair[pair[0] == trait]] = 0.0


def _fits(match: Match, facts: Mapping[str, Any]) -> bool:
    for key, allowed in (("fuel", match.fuel), ("gearbox", match.gearbox)):
        value = "petrol" if key == "fuel" and facts.get(key) == "lpg" and "lpg" not in allowed else facts.get(key)
        if allowed and value is not None and value not in allowed:
            return False
    litres = facts.get("engine_litres")
    if match.litres and litres is not None:
        low, high = match.litres
        if not low - LITRE_TOLERANCE < float(litres) < high + LITRE_TOLERANCE:
            return False
    return match.years is None or not facts.get("year") or _built_in(match.years, facts)


def _built_in(span: tuple[int, int] | None, facts: Mapping[str, Any]) -> bool:
    year = facts.get("year")
    if span is None or not year:
        return False
    return any(span[0] <= int(y) <= span[1] for y in (year if isinstance(year, (list, tuple)) else [year]))
