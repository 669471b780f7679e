"""Lines in, answers out: what brings the reader down costs no other line its answer."""

import json
from collections.abc import Iterable, Iterator

import pytest

from pipeline.extract import extract_lines
from pipeline.nlp.advert import TOGETHER, Advert, AdvertReader
from pipeline.types import Reading

FATAL = "brings it down"


@pytest.mark.parametrize("failure", [ValueError, RecursionError])
def test_a_text_that_brings_the_reader_down_leaves_the_lines_beside_it(
    monkeypatch: pytest.MonkeyPatch, failure: type[Exception]
) -> None:
    whole = AdvertReader.read_all

    def read_all(self: AdvertReader, adverts: Iterable[Advert]) -> Iterator[Reading]:
        some = list(adverts)
        if any(FATAL in advert.text for advert in some):
            raise failure("no such text")
        return whole(self, some)

    monkeypatch.setattr(AdvertReader, "read_all", read_all)
    texts = [FATAL if number == 3 else "New clutch, sills solid." for number in range(TOGETHER + 2)]
    lines = [json.dumps({"id": number, "text": text}).encode() for number, text in enumerate(texts)]
    found = [(json.loads(answer), read) for answer, read in extract_lines(lines)]
    assert [answer["id"] for answer, _ in found] == list(range(TOGETHER + 2))
    assert [number for number, (_, read) in enumerate(found) if not read] == [3]
    assert "error" in found[3][0]
    for number, (answer, _) in enumerate(found):
        if number != 3:
            assert ("clutch", "done") in {(claim["subject"], claim["status"]) for claim in answer["claims"]}
