"""Files made to harm: each is read or refused in bounded time and memory, and the next file is read as ever.

A file has five seconds of processor time (`limits.py`), the system ends the reading process beyond; the clock here is
wider, since the machine may be busy with other things.
"""

import gzip
import io
import os
import resource
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from saved import WORDS, docx, mail, packed, read

from pipeline.ingest import gather
from pipeline.ingest.guard import Guard
from pipeline.ingest.limits import MEMORY, MOST_CHARACTERS
from pipeline.types import Ingested, SourceFile

MOST_SECONDS = 40.0
DEEP = 100_000
LD = b'<html><script type="application/ld+json">'
HEADS = {
    "t.txt": "",
    "p.html": "<html><body>",
    "m.eml": "From: a@x.invalid\nMIME-Version: 1.0\n\n",
    "t.csv": "text\n",
}


@pytest.fixture(autouse=True)
def the_next_file_is_read_as_ever() -> Iterator[None]:
    began = time.monotonic()
    yield
    assert time.monotonic() - began < MOST_SECONDS
    assert [a.text for a in read("next.txt", WORDS.encode()).adverts] == [WORDS]
    assert resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024 < MEMORY


def refused(result: Ingested, *words: str) -> None:
    assert result.adverts == ()
    assert len(result.refusals) == 1
    assert any(word in result.refusals[0].reason for word in words), result.refusals[0].reason


def zipped(name: str, size: int, extra: dict[str, str] | None = None) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for other, text in (extra or {}).items():
            archive.writestr(other, text)
        with archive.open(name, "w", force_zip64=True) as handle:
            piece = b" " * (1 << 20)
            for _ in range(size >> 20):
                handle.write(piece)
    return out.getvalue()


def test_bombs_do_not_go_off() -> None:
    bomb = zipped("van.txt", 300 << 20)
    assert len(bomb) < 1_000_000
    refused(read("b.zip", bomb), "unpacks to more than")
    refused(read("b.gz", gzip.compress(b"\x00" * (260 << 20), 1)), "unpacks to more than")
    refused(read("b.docx", zipped("word/document.xml", 100 << 20)), "unpacks to too much")
    refused(read("b.xlsx", zipped("xl/worksheets/sheet1.xml", 300 << 20, {"xl/workbook.xml": ""})), "unpacks to too")


def test_a_bomb_costs_only_itself() -> None:
    result = read("b.zip", zipped("z.txt", 300 << 20, {"a.txt": WORDS}))
    assert [a.text for a in result.adverts] == [WORDS]
    assert len(result.refusals) == 1


def test_entities_are_not_followed() -> None:
    lol = "<!DOCTYPE d [<!ENTITY a 'ha'>" + "".join(
        f"<!ENTITY {b} '{f'&{a};' * 10}'>" for a, b in zip("abcdefgh", "bcdefghi", strict=True)
    )
    bomb = f"<?xml version='1.0'?>{lol}]><w:document xmlns:w='w'><w:p><w:t>&i;</w:t></w:p></w:document>"
    refused(read("e.docx", packed({"word/document.xml": bomb})), "could not be read")
    outside = (
        "<!DOCTYPE d [<!ENTITY x SYSTEM 'file:///etc/passwd'>]><w:document xmlns:w='w'><w:t>&x;</w:t></w:document>"
    )
    refused(read("x.docx", packed({"word/document.xml": outside})), "could not be read")
    refused(read("x.xlsx", packed({"xl/workbook.xml": outside})), "declares entities")
    page = f"<!DOCTYPE html [<!ENTITY x SYSTEM 'file:///etc/passwd'>]><html><body><p>{WORDS} &x;</p></body></html>"
    (advert,) = read("p.html", page.encode()).adverts
    assert "root:" not in advert.text and WORDS in advert.text


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("p.html", b"<html><body>" + b"<div>" * DEEP + WORDS.encode()),
        ("p.html", b"<html><body>" + b"<b><i>" * DEEP + WORDS.encode()),
        ("p.html", b"<html><body>" + b"<table><tr><td>" * DEEP + WORDS.encode()),
        ("p.html", b"<html><body><a href='https://x.invalid/1'>" * 20_000 + WORDS.encode()),
        ("t.json", b"[" * DEEP + b"]" * DEEP),
        ("t.jsonl", b'{"text": ' * DEEP + b"}" * DEEP),
        (
            "p.html",
            b'<html><script type="application/ld+json">' + b'{"@graph":[' * DEEP + b"</script><p>" + WORDS.encode(),
        ),
        ("d.docx", docx("<w:p>" * DEEP + "</w:p>" * DEEP)),
        ("d.docx", docx("<w:del>" * 5 + f"<w:t>{WORDS}</w:t>" + "</w:del>" * 5)),
    ],
    ids=["div", "b-i", "table", "links", "json", "jsonl", "json-ld", "docx", "docx-struck-out"],
)
def test_depth(name: str, data: bytes) -> None:
    result = read(name, data)
    assert result.adverts or result.refusals


def test_mails_inside_mails() -> None:
    message = mail(WORDS)
    for _ in range(60):
        outer = mail("see below")
        outer.add_attachment(message)
        message = outer
    result = read("m.eml", bytes(message))
    assert result.adverts and any("inside mails" in r.reason for r in result.refusals)
    parts = b"".join(b"--x\nContent-Type: multipart/mixed; boundary=x\n\n" for _ in range(20_000))
    read("m.eml", b"From: a@x.invalid\nMIME-Version: 1.0\nContent-Type: multipart/mixed; boundary=x\n\n" + parts)


@pytest.mark.parametrize("name", ["l.txt", "l.csv", "l.jsonl", "l.html", "l.eml"])
def test_a_single_line_of_100_megabytes(name: str) -> None:
    heads = {
        "l.csv": b"text\n", "l.jsonl": b'{"text": "', "l.html": b"<html><body><p>",
        "l.eml": b"From: a@x.invalid\nMIME-Version: 1.0\n\n",
    }  # fmt: skip
    result = read(name, heads.get(name, b"") + b"x y " * 25_000_000)
    assert result.adverts == () and result.refusals


def test_a_word_of_many_megabytes_inside_a_page() -> None:
    refused(read("p.html", b"<html><body><p>" + b"y" * (4 * MOST_CHARACTERS)), "too many for an advert")


TRAPS = [
    "a/" * 50_000, "<!--" * 50_000, "-" * 100_000, "From \n" * 20_000, "> " * 50_000, "=?" * 50_000, "£" * 100_000,
    "http://" * 20_000, "cookie " * 20_000, "Home > " * 20_000, "\u202e" * 50_000, "\ufeff" * 50_000, "&#x" * 50_000,
    "(" * 100_000, "1," * 50_000, "similar " * 20_000, "\u0301" * 100_000, '"' * 100_001, "{" * 50_000, "we " * 30_000,
]  # fmt: skip


@pytest.mark.parametrize("kind", ["t.txt", "p.html", "m.eml", "t.csv"])
def test_patterns_do_not_run_away(kind: str) -> None:
    for trap in TRAPS:
        result = read(kind, (HEADS[kind] + trap + "\n" + WORDS).encode())
        assert result.adverts or result.refusals
        assert not any("too long to read" in r.reason for r in result.refusals), trap[:10]


def test_bytes_of_every_kind() -> None:
    kinds = [bytes(range(256)) * 40, b"\x00" * 5000, b"\xff" * 5000, b"\x80van\xfe\xff" * 900, WORDS.encode("utf-7")]
    kinds += [b"van \x00 with noughts, belt done " * 20, "van".encode("utf-32"), b"\xef\xbb\xbf" * 400]
    for data in kinds:
        result = read("x.txt", data)
        for advert in result.adverts:
            assert not any(ord(c) < 32 and c not in "\n\t" for c in advert.text)


def test_marks_that_turn_the_writing_stay_and_do_no_more() -> None:
    (advert,) = read("r.txt", f"{WORDS} \u202ednoyeb si\u202c".encode()).adverts
    assert advert.text.startswith(WORDS)


def test_a_file_that_ends_the_reader_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    guard = Guard(wall_seconds=1.0)
    monkeypatch.setattr("pipeline.ingest.guard._ask", lambda child, source: child.wait() and None)
    source = SourceFile("x.txt", b"", "0")
    assert "took too long" in guard.read(source).refusals[0].reason
    guard.close()


def test_pipes_and_devices_are_not_opened(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.txt")
    (tmp_path / "loop").symlink_to(tmp_path)
    (tmp_path / "zero.txt").symlink_to("/dev/zero")
    (tmp_path / "van.txt").write_text(WORDS, encoding="utf-8")
    assert [file.name for file in gather([tmp_path])] == ["van.txt"]
