"""Mails: several adverts, odd character sets."""

import hashlib

from pipeline.ingest import read_source
from pipeline.types import Ingested, SourceFile


def read(data: bytes) -> Ingested:
    return read_source(SourceFile("m.eml", data, hashlib.sha256(data).hexdigest()))


def test_alert_is_cut_into_its_adverts() -> None:
    body = b"One\nhttps://x.invalid/1\n\n----------\nTwo\nhttps://x.invalid/2\n----------\nBye\n"
    result = read(b"From: a@x.invalid\nSubject: s\n\n" + body)
    assert [a.advert_id for a in result.adverts] == ["https://x.invalid/1", "https://x.invalid/2"]


def test_unknown_character_set() -> None:
    head = b"From: a@x.invalid\nSubject: s\nContent-Type: text/plain; charset=nonsense\n\n"
    assert read(head + "£900".encode()).adverts[0].text == "£900"


def test_mail_without_words_is_refused() -> None:
    assert "no words" in read(b"From: a@x.invalid\nSubject: s\n\n").refusals[0].reason
