"""Reads claims by the rules and the trained model together: which claims stand, in which words, from which of both."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from pipeline.nlp.features import Encoded
from pipeline.nlp.mentions import Mention, Naming
from pipeline.nlp.merge import ORIGIN, merge
from pipeline.nlp.model import ClaimModel
from pipeline.nlp.reader import Read, Reader, Said, claim_of
from pipeline.nlp.weigh import Candidates, allowed, candidates, told_by
from pipeline.schemas.language import Language
from pipeline.types import STATUSES, Claim, Status

_BY_ITSELF = Naming(ORIGIN, "part")  # stands for the rule of what the model found by itself


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
        self._allowed = allowed(model.subjects, self._limits)
        self._unknown = language.subjects.keys() - model.known  # read by the rules alone

    def read_claims(self, text: str, saved_on: date, mileage: int | None = None) -> tuple[Claim, ...]:
        """Claims of a text, one a subject and status; offsets are those of `text`."""
        return self.read_all([Asked(text, saved_on, mileage)])[0]

    def read_all(self, adverts: Sequence[Asked]) -> list[tuple[Claim, ...]]:
        """Claims of several texts, as `read_claims` gives them; the model works on all of them at once."""
        reads = self.read_each(adverts)
        found = self._model.guesses(reads)
        if found is None:
            return [() for _ in reads]
        encoded, guesses = found
        told = [told_by(read.mentions) for read in reads]
        likely = candidates(guesses, told, encoded.chunks, self._allowed)
        every: list[tuple[Claim, ...]] = []
        for read, chunks, claims in zip(reads, encoded.chunks, self._stand(reads, encoded, likely), strict=True):
            if chunks and self._unknown:
                claims += self._by_rules(read, without=self._model.known)
            every.append(merge(self._settled(claims), self._telling))
        return every

    def _stand(self, reads: Sequence[Read], encoded: Encoded, likely: Candidates) -> list[list[Claim]]:
        """The claims of each advert, of those worth weighing, that are sure enough."""
        guesses, subjects = likely.guesses, self._model.subjects
        confidences = self._model.confidences(likely.features).round(3)
        of, lines = likely.to_tell(confidences >= self._model.stands)
        told = (guesses.advert[lines], guesses.chunk[lines], guesses.subject[lines], likely.place[of], confidences[of])
        claims: list[list[Claim]] = [[] for _ in reads]
        for line, number, chunk, subject, place, confidence in zip(
            lines.tolist(), *(values.tolist() for values in told), strict=True
        ):
            own = guesses.own[line]
            one, said = _words_of(own, encoded, chunk, subjects[subject], STATUSES[place])
            one.chunk = encoded.inner[chunk]  # what the rules passed over was dealt to none
            read = reads[number]
            sentence = read.sentences[encoded.sentence[chunk] - encoded.heads[number]]
            limited = one.subject in self._limits
            claims[number].append(claim_of(read, sentence, one, said, limited, confidence))
        return claims


def _words_of(
    own: Sequence[Mention], encoded: Encoded, chunk: int, subject: str, status: Status
) -> tuple[Mention, Said]:
    """What a claim rests on: the rules' words where they named the subject (`own`), else the words of the chunk."""
    for mention in own:
        for said in mention.statuses:
            if said[0] == status:
                return mention, said
    first, last = encoded.first[chunk], encoded.last[chunk]
    if own:
        return own[0], (status, ORIGIN, min(own[0].start, first), max(own[-1].end, last))
    found = Mention(subject, _BY_ITSELF, first, last, tuple(range(first, last)))
    return found, (status, ORIGIN, first, last)
