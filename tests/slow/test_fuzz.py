"""Ten thousand damaged files, made from the demo's and from documents, sheets, mailboxes and archives: no traceback, no
hang, memory bounded, the other files unharmed, and what comes out of them can be stored, read and printed."""

import gzip
import hashlib
import io
import random
import resource
import sys
import time
from datetime import date
from pathlib import Path

import openpyxl
import pytest

from pipeline.ingest import gather, read_source
from pipeline.ingest.limits import MEMORY, MOST_CHARACTERS
from pipeline.paths import data_folder
from pipeline.store import open_store
from pipeline.types import Advert, SourceFile

sys.path.insert(0, str(Path(__file__).parents[1] / "ingest"))
from saved import WORDS, docx, mail, packed

pytestmark = pytest.mark.slow
FILES = 10_500
MOST_SECONDS = 480
LONGEST = 65.0  # wall seconds a file on a busy machine; the system ends the reader after five of processor time
TOKENS = [
    b"<", b">", b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b"<!--", b"]]>", b'"', b"'", b"\r\n\r\n", b"--", b"=\n",
    b"\x1b[2J", b"From ", b"Content-Type: multipart/mixed; boundary=x\n", b"Content-Transfer-Encoding: base64\n",
    b"%PDF-", b"PK\x03\x04", b"\xed\xa0\x80", b"&#xD800;", b"\\ud800", b"<script>", b"<table>" * 50, b"{" * 50,
    b"[" * 50, b"99999999999999999999", b"-1", b"NaN", b"Infinity", b"\xe2\x80\xae", b"charset=utf-7", b"charset=hz",
    b"/Length 99999999", b"endobj", b"=1+1",
]  # fmt: skip


def seeds() -> list[SourceFile]:
    demo = data_folder("data_demo") / "inbox"
    found = [file for file in gather([demo]) if isinstance(file, SourceFile)]
    book = openpyxl.Workbook()
    book.active.append(["id", "text", "price", "saved_on"])
    book.active.append(["1", WORDS, 900, date(2026, 10, 1)])
    sheet = io.BytesIO()
    book.save(sheet)
    box = b"".join(b"From a Sat Oct 10 09:00:00 2026\n" + bytes(mail(f"{WORDS} {n}")) + b"\n" for n in range(4))
    outer = mail("see inside")
    outer.add_attachment(mail(WORDS))
    outer.add_attachment(docx(f"<w:p><w:t>{WORDS}</w:t></w:p>"), maintype="a", subtype="b", filename="v.docx")
    made = {
        "v.docx": docx(f"<w:p><w:r><w:t>{WORDS}</w:t></w:r></w:p>" * 4),
        "v.xlsx": sheet.getvalue(),
        "v.mbox": box,
        "v.zip": packed({"a.txt": WORDS, "b.html": f"<html><body><p>{WORDS}", "c.zip": packed({"d.txt": WORDS})}),
        "v.gz": gzip.compress(WORDS.encode()),
        "o.eml": bytes(outer),
    }
    return found + [SourceFile(name, data, "") for name, data in made.items() for _ in range(4)]


def damaged(rng: random.Random, source: SourceFile, others: list[SourceFile]) -> SourceFile:
    data = bytearray(source.data)
    for _ in range(rng.choice([1, 1, 2, 4, 16])):
        at, kind = rng.randrange(len(data) + 1), rng.randrange(7)
        if kind == 0 and data:
            data[min(at, len(data) - 1)] = rng.randrange(256)
        elif kind == 1:
            data[at:at] = rng.choice(TOKENS)
        elif kind == 2:
            del data[at : at + rng.randrange(1, 400)]
        elif kind == 3:
            data[at:at] = data[at : at + rng.randrange(1, 400)] * rng.choice([1, 3, 30])
        elif kind == 4:
            other = rng.choice(others).data
            begin = rng.randrange(len(other) + 1)
            data[at:at] = other[begin : begin + rng.randrange(1, 2000)]
        elif kind == 5:
            data = data[: max(at, 1)]
        else:
            for n in range(at, min(at + 8, len(data))):
                data[n] ^= 1 << rng.randrange(8)
    name = rng.choice([source.name, source.name, rng.choice(others).name, "x"])
    return SourceFile(name, bytes(data), hashlib.sha256(data).hexdigest())


def test_damaged_files(tmp_path: Path) -> None:
    rng, good = random.Random(20261130), seeds()
    whole = SourceFile("whole.txt", WORDS.encode(), "0")
    kept: list[Advert] = []
    slowest, began, read, refused = 0.0, time.monotonic(), 0, 0
    for n in range(FILES):
        file = damaged(rng, rng.choice(good), good)
        start = time.monotonic()
        got = read_source(file)
        slowest = max(slowest, time.monotonic() - start)
        assert got.adverts or got.refusals, file.name
        for advert in got.adverts:
            assert advert.text.strip() and len(advert.text) <= MOST_CHARACTERS
            advert.text.encode("utf-8")
            assert not any(c < " " and c not in "\n\t" for c in advert.text), "a control character"
        assert all(refusal.reason.strip().endswith(".") and "\n" not in refusal.reason for refusal in got.refusals)
        read, refused = read + bool(got.adverts), refused + bool(got.refusals)
        kept += got.adverts if n % 10 == 0 else ()
        if n % 500 == 0:
            assert [a.text for a in read_source(whole).adverts] == [WORDS]
    took = time.monotonic() - began
    print(f"{FILES} files in {took:.0f} s, slowest {slowest:.1f} s; {read} gave adverts, {refused} a refusal")
    assert slowest < LONGEST and took < MOST_SECONDS
    assert resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024 < MEMORY
    with open_store(tmp_path) as store:
        store.keep_adverts(kept, date(2026, 10, 1))
        texts = {snapshot.advert.text for snapshot in store.snapshots()}
    assert {advert.text for advert in kept} == texts
