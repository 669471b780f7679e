"""Documents, archives, copied text: what is the advert stays, and what a file is shows its content, not its name."""

import gzip
import io
import zipfile
from pathlib import Path

import pytest
from saved import WORDS, docx, packed, read, texts

from pipeline.paths import data_folder


def test_a_word_processors_paragraphs_tables_and_breaks() -> None:
    body = (
        "<w:p><w:r><w:t>Old van</w:t></w:r></w:p>"
        '<w:p><w:r><w:t xml:space="preserve">belt </w:t></w:r><w:r><w:t>done</w:t><w:br/><w:t>at 90k</w:t></w:r></w:p>'
        "<w:tbl><w:tr><w:tc><w:p><w:r><w:t>Price</w:t></w:r></w:p></w:tc>"
        "<w:tc><w:p><w:r><w:t>£900</w:t></w:r></w:p></w:tc></w:tr></w:tbl>"
        "<w:p><w:del><w:r><w:t>struck out</w:t></w:r></w:del></w:p>"
    )
    assert texts("flyer.docx", docx(body)) == ["Old van\nbelt done\nat 90k\nPrice\n£900"]
    assert texts("flyer", docx(body)) == texts("flyer.docx", docx(body))
    assert "holds no text" in read("e.docx", docx("<w:p/>")).refusals[0].reason


def test_an_archive_of_everything_that_people_save() -> None:
    demo = data_folder("data_demo") / "inbox"
    names = ["01-settle-estuary.txt", "byway-bolton-2001.html", "chester-1997-reply.eml", "york-flood-1995.pdf",
             "small-ads-north.jsonl", "stockport-head-gasket-done.mhtml"]  # fmt: skip
    files: dict[str, str | bytes] = {f"saved/{name}": (demo / name).read_bytes() for name in names}
    files |= {"__MACOSX/x": "x", "saved/.DS_Store": "x", "saved/p.html": "<html>x", "saved/p_files/a.html": "<html>£1"}
    result = read("all.zip", packed(files))
    alone = [a for name in names for a in read(name, (demo / name).read_bytes()).adverts]
    by_text = {a.text for a in result.adverts}
    assert {a.text for a in alone} <= by_text
    assert not any(text == "£1" for text in by_text)


def test_a_gzip_and_archives_inside_one_another() -> None:
    inner = packed({"van.txt": WORDS})
    assert texts("van.txt.gz", gzip.compress(WORDS.encode())) == [WORDS]
    assert texts("two.zip", packed({"in.zip": inner})) == [WORDS]
    deep = inner
    for _ in range(4):
        deep = packed({"in.zip": deep})
    result = read("deep.zip", deep)
    assert result.adverts == () and "inside archives" in result.refusals[0].reason


def test_names_in_an_archive_lead_nowhere(tmp_path: Path) -> None:
    hostile = ["../../../etc/passwd", "/etc/shadow", "..\\..\\boot.ini", "C:\\x.txt", "a/./../b.txt", "x\x1b[2J.txt"]
    result = read("z.zip", packed({name: f"{WORDS} {n}" for n, name in enumerate(hostile)}))
    assert len(result.adverts) == len(hostile)
    for advert in result.adverts:
        inside = advert.source.partition("#")[2]
        assert not inside.startswith("/") and ".." not in inside.split("/") and inside.isprintable()


def test_a_locked_or_damaged_part_is_refused_and_the_rest_read() -> None:
    data = bytearray(packed({"a.txt": WORDS, "b.txt": WORDS + " second " * 50}))
    at = data.rindex(b"b.txt", 0, data.index(b"PK\x01\x02")) + 8
    data[at : at + 4] = b"\xff\xff\xff\xff"
    result = read("z.zip", bytes(data))
    assert [a.text for a in result.adverts] == [WORDS]
    assert "damaged part" in result.refusals[0].reason
    entry = zipfile.ZipInfo("c.txt")
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr(entry, WORDS)
    locked = bytearray(out.getvalue())
    for sign, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        locked[locked.index(sign) + offset] |= 1
    assert "locked with a password" in read("z.zip", bytes(locked)).refusals[0].reason


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("van.txt", f"<!doctype html><html><body><nav>Home</nav><p>{WORDS}</p></body></html>".encode()),
        ("van", f"<?xml version='1.0'?><!-- c --><html><body><p>{WORDS}</p></body></html>".encode()),
        ("van.html", WORDS.encode()),
        ("van.pdf", WORDS.encode()),
        ("van.docx", WORDS.encode()),
        ("van.txt", b"From: a@x.invalid\nSubject: s\nMIME-Version: 1.0\n\n" + WORDS.encode()),
        ("van.csv", b'\xef\xbb\xbftext\n"' + WORDS.encode() + b'"\n'),
        ("van.txt", ('{"text": "' + WORDS + '"}').encode()),
        ("van.txt", WORDS.encode("utf-16")),
        ("van.txt", WORDS.encode("utf-16-le")),
        ("van.txt", b"\x00" * 0 + WORDS.encode("cp1252")),
    ],
)
def test_a_file_is_what_it_holds(name: str, data: bytes) -> None:
    assert texts(name, data) == [WORDS]


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"\xff\xd8\xff\xe0\x00\x10JFIF", "a picture"),
        (b"\x89PNG\r\n\x1a\n", "a picture"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 100, "an old office file"),
        (b"Rar!\x1a\x07\x00", "an archive of another kind"),
        (b"\x00\x00\x00\x18ftypmp42", "a sound or film"),
        (b"{\\rtf1 van}", "rich text"),
        (b"\x00\x01\x02\x03" * 50, "binary data"),
        (b"", "holds no text"),
        (b" \r\n\t ", "holds no text"),
    ],
)
def test_what_is_not_read_is_named_and_says_what_to_do(data: bytes, says: str) -> None:
    (refusal,) = read("x.txt", data).refusals
    assert (says in refusal.reason and ".txt" in refusal.reason) or "Paste" in refusal.reason


COPIED = f"""Skip to content
Menu
Log in | Place an advert | Help
Home > Vans > Campers > Curlew
We use cookies to keep you signed in. Accept all
Accept all
Curlew day van, £4,850
{WORDS}
Share
Report this ad
Similar vehicles
Fenwright Curlew 1999, £7,995
69,000 miles, Stafford
You may also like
Fenwright Curlew 2001, £8,250
© 2026 The adverts company. All rights reserved
Privacy policy
"""


def test_rubble_of_a_copied_page_is_dropped() -> None:
    assert texts("c.txt", COPIED.encode()) == [f"Curlew day van, £4,850\n{WORDS}"]


def test_where_little_would_be_left_everything_is_kept() -> None:
    few = "Similar vehicles go for more\nMenu\nHome\nShare"
    assert texts("c.txt", few.encode()) == [few]
    words = "Curlew van\nSimilar vehicles\n" + "\n".join(f"short line {n} of the only advert" for n in range(40))
    assert "short line 39" in texts("c.txt", words.encode())[0]


def test_a_sentence_about_similar_ones_is_no_heading() -> None:
    own = f"{WORDS}\nSimilar vans go for more.\nMore from the first owner: two keys.\nRelated work: belt, pump, hoses."
    assert texts("c.txt", own.encode()) == [own]


def test_prose_after_a_strip_is_the_advert_again() -> None:
    text = f"Curlew van\nRecently viewed\nBedford 1988 £900\n{WORDS}\nring after six"
    assert texts("c.txt", text.encode()) == [f"Curlew van\n{WORDS}\nring after six"]
