"""Reads claims by the rules and the trained model together: which claims stand, in which words, from which of both."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from pipeline.nlp.features import Encoded
from pipeline.nlp.mentions import Mention
from pipeline.nlp.merge import merge
from pipeline.nlp.model import ORIGIN, ClaimModel, Guess
from pipeline.nlp.reader import Read, Reader, claim_of
from pipeline.nlp.weigh import NEAR, TOLD, candidates, features, told_by
from pipeline.schemas.language import Language, SubjectRule
from pipeline.types import Claim, Status


class TrainedReader(Reader):
    """Reads claims by the rules of a language and a model trained on top of them."""

    def __init__(self, language: Language, model: ClaimModel) -> None:
        super().__init__(language, model.run_on)
        self._model = model

    def read_claims(self, text: str, saved_on: date, mileage: int | None = None) -> tuple[Claim, ...]:
        """Claims of a text, one a subject and status; offsets are those of `text`."""
        read = self.read_rules(text, saved_on, mileage)
        encoded, guesses = self._model.guesses(read.tokens, read.sentences, read.mentions, read.cues)
        if encoded is None:
            return ()
        told = told_by(read.mentions)
        found = candidates(guesses, told, self._limits)
        if not found:
            return merge(self._settled(self._by_rules(read, saved_on, mileage, without=self._model.known)))
        own: dict[tuple[int, str], list[Mention]] = {}
        for mention in read.mentions:
            own.setdefault((encoded.at[mention.start], mention.subject), []).append(mention)
        sure = self._model.confidences(features(found, told, len(encoded.first))).round(3).tolist()
        claims = [
            self._claim(
                read, encoded, guess, own.get((guess.chunk, one.subject), ()), one.status, saved_on, mileage, confidence
            )
            for one, confidence in zip(found, sure, strict=True)
            if confidence >= self._model.stands
            for chance, guess in one.in_turn()
            if chance >= (TOLD if (guess.chunk, one.subject) in own and one.told else NEAR * one.chance)
        ]
        claims += self._by_rules(read, saved_on, mileage, without=self._model.known)
        return merge(self._settled(claims))

    def _claim(
        self,
        read: Read,
        encoded: Encoded,
        guess: Guess,
        own: Sequence[Mention],
        status: Status,
        saved_on: date,
        mileage: int | None,
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
        sentence = read.sentences[encoded.sentence[chunk]]
        return claim_of(read, sentence, one, said, saved_on, mileage, subject in self._limits, confidence)


_rules: dict[str, SubjectRule] = {}


def _rule(subject: str) -> SubjectRule:
    """A stand-in rule for what the model found by itself."""
    if subject not in _rules:
        _rules[subject] = SubjectRule.model_construct(
            id=ORIGIN, reason="read by the trained model", source="judgement", patterns=("-",), kind="part"
        )
    return _rules[subject]
