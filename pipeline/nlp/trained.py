"""Reads claims by the rules and the trained model together: which claims stand, in which words, from which of both."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from pipeline.nlp.features import Encoded
from pipeline.nlp.mentions import Mention
from pipeline.nlp.merge import ORIGIN, merge
from pipeline.nlp.model import ClaimModel, Guess
from pipeline.nlp.reader import Read, Reader, claim_of
from pipeline.nlp.weigh import NEAR, TOLD, Candidate, candidates, rows, spread, told_by
from pipeline.schemas.language import Language, SubjectRule
from pipeline.types import Claim, Status


class Asked(NamedTuple):
    """A text to read, the day on which it was saved, and the odometer reading now, in the advert's unit."""

    text: str
    saved_on: date
    mileage: int | None = None


class TrainedReader(Reader):
    """Reads claims by the rules of a language and a model trained on top of them."""

    def __init__(self, language: Language, model: ClaimModel) -> None:
        super().__init__(language, model.run_on)
        self._model = model

    def read_claims(self, text: str, saved_on: date, mileage: int | None = None) -> tuple[Claim, ...]:
        """Claims of a text, one a subject and status; offsets are those of `text`."""
        return self.read_all([Asked(text, saved_on, mileage)])[0]

    def read_all(self, adverts: Sequence[Asked]) -> list[tuple[Claim, ...]]:
        """Claims of several texts, as `read_claims` gives them; the model works on all of them at once."""
        reads = self.read_each(adverts)
        encoded, guesses = self._model.guesses(reads)
        if encoded is None:
            return [() for _ in reads]
        told = [told_by(read.mentions) for read in reads]
        found = [candidates(some, said, self._limits) for some, said in zip(guesses, told, strict=True)]
        likely = [
            row
            for some, said, chunks in zip(found, told, encoded.chunks, strict=True)
            for row in rows(some, said, chunks)
        ]
        sure = iter(self._model.confidences(spread(likely)).round(3).tolist()) if likely else iter(())
        every: list[tuple[Claim, ...]] = []
        for number, (advert, read, some) in enumerate(zip(adverts, reads, found, strict=True)):
            if not encoded.chunks[number]:
                every.append(())
                continue
            claims = self._stand(advert, read, encoded, number, list(zip(some, sure, strict=False)))
            claims += self._by_rules(read, advert.saved_on, advert.mileage, without=self._model.known)
            every.append(merge(self._settled(claims), self._telling))
        return every

    def _stand(
        self, advert: Asked, read: Read, encoded: Encoded, number: int, found: Sequence[tuple[Candidate, float]]
    ) -> list[Claim]:
        """The claims of an advert, of those worth weighing, that are sure enough."""
        own: dict[tuple[int, str], list[Mention]] = {}
        at = encoded.at[number]
        for mention in read.mentions:
            own.setdefault((at[mention.start], mention.subject), []).append(mention)
        return [
            self._claim(advert, read, encoded, number, guess, own.get((guess.chunk, one.subject), ()), one.status, sure)
            for one, sure in found
            if sure >= self._model.stands
            for chance, guess in one.in_turn()
            if chance >= (TOLD if one.told and (guess.chunk, one.subject) in own else NEAR * one.chance)
        ]

    def _claim(
        self,
        advert: Asked,
        read: Read,
        encoded: Encoded,
        number: int,
        guess: Guess,
        own: Sequence[Mention],
        status: Status,
        confidence: float,
    ) -> Claim:
        """The claim in the rules' words where they named the subject (`own`), else in the words of the chunk."""
        chunk, subject = guess.chunk, guess.subject
        first, last = encoded.first[chunk], encoded.last[chunk]
        told = next(((m, said) for m in own for said in m.statuses if said[0] == status), None)
        if told is not None:
            one, said = told
        elif own:
            one, said = own[0], (status, ORIGIN, min(own[0].start, first), max(own[-1].end, last))
        else:
            one = Mention(subject, _rule(subject), first, last, tuple(range(first, last)))
            said = (status, ORIGIN, first, last)
        one.chunk = encoded.inner[chunk]  # what the rules passed over was dealt to none
        sentence = read.sentences[encoded.sentence[chunk] - encoded.heads[number]]
        return claim_of(read, sentence, one, said, advert.saved_on, advert.mileage, subject in self._limits, confidence)


_rules: dict[str, SubjectRule] = {}


def _rule(subject: str) -> SubjectRule:
    """A stand-in rule for what the model found by itself."""
    if subject not in _rules:
        _rules[subject] = SubjectRule.model_construct(
            id=ORIGIN, reason="read by the trained model", source="judgement", patterns=("-",), kind="part"
        )
    return _rules[subject]
