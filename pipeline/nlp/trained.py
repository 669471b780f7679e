"""Reads claims by the rules and the trained model together: which claims stand, in which words, from which of both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from pipeline.nlp.features import Encoded
from pipeline.nlp.mentions import Mention
from pipeline.nlp.merge import merge
from pipeline.nlp.model import ORIGIN, ClaimModel, Guess
from pipeline.nlp.reader import Read, Reader, claims_of
from pipeline.schemas.language import Language, SubjectRule
from pipeline.types import Claim, Status


class TrainedReader(Reader):
    """Reads claims by the rules of a language and a model trained on top of them."""

    def __init__(self, language: Language, model: ClaimModel) -> None:
        super().__init__(language)
        self._model = model

    def read_claims(self, text: str, saved_on: date, mileage: int | None = None) -> tuple[Claim, ...]:
        """Claims of a text, one a subject and status; offsets are those of `text`."""
        read = self.read_rules(text, saved_on, mileage)
        encoded, guesses = self._model.guesses(read.tokens, read.sentences, read.mentions, read.cues)
        if encoded is None:
            return ()
        own: dict[tuple[int, str], list[Mention]] = {}
        for mention in read.mentions:
            own.setdefault((encoded.at[mention.start], mention.subject), []).append(mention)
        told = {(mention.subject, one[0]) for mention in read.mentions for one in mention.statuses}
        chances: dict[tuple[str, Status], float] = {}
        claims: list[Claim] = []
        for guess in guesses:
            allowed = self._limits.get(guess.subject)
            for status, chance in guess.chances():
                least = self._model.told if (guess.subject, status) in told else self._model.untold
                if chance < least or (allowed is not None and status not in allowed):
                    continue
                mentions = own.get((guess.chunk, guess.subject), [])
                claims.append(self._claim(read, encoded, guess, mentions, status, saved_on, mileage))
                chances[guess.subject, status] = max(chance, chances.get((guess.subject, status), 0.0))
        claims += self._by_rules(read, saved_on, mileage, without=self._model.known)
        sure = {key: round(self._model.confidence(chance), 3) for key, chance in chances.items()}
        return tuple(
            replace(claim, confidence=sure.get((claim.subject, claim.status), claim.confidence))
            for claim in merge(self._settled(claims))
        )

    def _claim(
        self,
        read: Read,
        encoded: Encoded,
        guess: Guess,
        own: Sequence[Mention],
        status: Status,
        saved_on: date,
        mileage: int | None,
    ) -> Claim:
        """The claim in the rules' words where they named the subject (`own`), else in the words of the chunk."""
        chunk, subject = guess.chunk, guess.subject
        sentence = read.sentences[encoded.sentence[chunk]]
        first, last = encoded.first[chunk], encoded.last[chunk]
        told = next((m for m in own if any(status == had for had, *_ in m.statuses)), None)
        mentions, cues, times = read.around(sentence)
        limited = subject in self._limits
        number = next(i for i, one in enumerate(sentence.chunks) if one.end > first)
        if told is not None:
            kept = [one for one in told.statuses if one[0] == status]
            one = replace(told, statuses=kept, chunk=number)
        elif own:
            start, end = own[0].start, own[-1].end
            one = replace(own[0], statuses=[(status, ORIGIN, min(start, first), max(end, last))], chunk=number)
        else:
            one = Mention(subject, _rule(subject), first, last, tuple(range(first, last)))
            one.statuses, one.chunk = [(status, ORIGIN, first, last)], number
        return claims_of(read.tokens, sentence, one, mentions, cues, times, saved_on, mileage, limited)[0]


_rules: dict[str, SubjectRule] = {}


def _rule(subject: str) -> SubjectRule:
    """A stand-in rule for what the model found by itself."""
    if subject not in _rules:
        _rules[subject] = SubjectRule.model_construct(
            id=ORIGIN, reason="read by the trained model", source="judgement", patterns=("-",), kind="part"
        )
    return _rules[subject]
