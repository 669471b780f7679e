"""Mails and mailboxes as Python's own `email` and `mailbox` write them."""

import mailbox
from datetime import date
from email.message import EmailMessage
from pathlib import Path

import pytest
from saved import WORDS, docx, mail, packed, read, texts

LONG = (
    "Curlew van in fair order, "
    + "the sills were welded in 2019 and the belt done at 90k, " * 3
    + "£2,450, naïve café."
)


@pytest.mark.parametrize("transfer", ["7bit", "quoted-printable", "base64", "8bit"])
@pytest.mark.parametrize("charset", ["utf-8", "iso-8859-1", "cp1252"])
def test_every_encoding_gives_the_same_words(transfer: str, charset: str) -> None:
    message = EmailMessage()
    message["From"], message["Subject"] = "a@x.invalid", "A van"
    words = LONG.encode("ascii", "ignore").decode() if transfer == "7bit" else LONG
    message.set_content(words, charset="us-ascii" if transfer == "7bit" else charset, cte=transfer)
    assert texts("m.eml", bytes(message)) == [words]


def test_soft_line_ends_are_joined() -> None:
    body = "The belt was done at \r\n90k by a good man.\r\n\r\n-- \r\nMalcolm\r\n"
    head = b"From: a@x.invalid\r\nSubject: van\r\nContent-Type: text/plain; format=flowed\r\n\r\n"
    (text,) = texts("m.eml", head + body.encode())
    assert text.startswith("The belt was done at 90k by a good man.\n")


def test_words_win_over_a_page_that_says_the_same_and_give_way_to_one_that_says_more() -> None:
    message = mail(LONG)
    message.add_alternative(f"<html><body><p>{LONG}</p></body></html>", subtype="html")
    assert texts("m.eml", bytes(message)) == [LONG]
    stub = mail("Your mail program cannot show this. Look at it in a browser.")
    stub.add_alternative(f"<html><style>{'p{margin:0}' * 200}</style><body><p>{LONG}</p></body></html>", subtype="html")
    assert texts("m.eml", bytes(stub)) == [LONG]


def test_a_mail_passed_on_has_the_day_and_subject_of_the_first() -> None:
    body = (
        "look at this one\n\n---------- Forwarded message ---------\nFrom: Seller <s@x.invalid>\n"
        f"Date: Sat, 3 Oct 2026 at 09:12\nSubject: Old van for sale\nTo: me\n\n{WORDS}\n"
    )
    (advert,) = read("m.eml", bytes(mail(body, "Fwd: Old van"))).adverts
    assert (advert.saved_on, advert.title) == (date(2026, 10, 3), "Old van for sale")


def test_an_attached_mail_and_attached_files_are_read() -> None:
    outer = mail("two more for you")
    outer.add_attachment(mail(WORDS, "Inner"))
    document = docx(f"<w:p><w:r><w:t>{WORDS}</w:t></w:r></w:p>")
    outer.add_attachment(document, maintype="application", subtype="octet-stream", filename="../../van.docx")
    outer.add_attachment(b"\xff\xd8\xff\xe0 picture", maintype="image", subtype="jpeg", filename="van.jpg")
    result = read("m.eml", bytes(outer))
    assert [a.text for a in result.adverts][1:] == [WORDS, WORDS]
    assert [a.source for a in result.adverts] == ["m.eml", "m.eml#1.eml", "m.eml#.._.._van.docx"]
    assert result.refusals == (), "a picture beside an advert is not worth a word"


def test_a_mailbox_gives_each_mail_and_ids_that_last(tmp_path: Path) -> None:
    path = tmp_path / "vans.mbox"
    box = mailbox.mbox(path)
    box.add(mail("First van.\nFrom the first owner: £900, belt done, runs well, some rust."))
    box.add(mail("Second van, £1,200, naïve seller, sills welded.", day="Sun, 11 Oct 2026 10:00:00 +0100"))
    box.flush()
    first = read("vans.mbox", path.read_bytes())
    assert [a.text.split("\n")[0][:6] for a in first.adverts] == ["First ", "Second"]
    assert "From the first owner" in first.adverts[0].text and ">From" not in first.adverts[0].text
    assert [a.saved_on for a in first.adverts] == [date(2026, 10, 10), date(2026, 10, 11)]
    box.add(mail("Third van, £50."))
    box.remove(0)
    box.flush()
    box.close()
    later = read("vans.mbox", path.read_bytes())
    assert later.adverts[0].advert_id == first.adverts[1].advert_id
    assert len({a.advert_id for a in (*first.adverts, *later.adverts)}) == 3
    assert len(read("no ending", path.read_bytes()).adverts) == 2, "known by its content"


def test_an_alert_page_with_several_adverts_is_cut_into_boxes() -> None:
    card = (
        '<table><tr><td><a href="https://ads.invalid/v/{n}"><h3>Van number {n}</h3></a><p>£{n},400, belt done, sills '
        "welded, test till spring, good runner, ring after six</p></td></tr></table>"
    )
    page = "<html><body><p>New adverts for you</p>" + "".join(card.format(n=n) for n in (1, 2, 3)) + "</body></html>"
    message = mail("New adverts.")
    message.add_alternative(page, subtype="html")
    result = read("alert.eml", bytes(message))
    assert [a.advert_id for a in result.adverts] == [f"https://ads.invalid/v/{n}" for n in (1, 2, 3)]
    assert all(f"£{n},400" in a.text and a.text.count("£") == 1 for n, a in enumerate(result.adverts, 1))
    assert {a.saved_on for a in result.adverts} == {date(2026, 10, 10)}
    assert [a.advert_id for a in read("p.html", page.encode()).adverts] == [a.advert_id for a in result.adverts]


def test_a_mailbox_in_an_archive() -> None:
    box = b"From a Sat Oct 10 09:00:00 2026\n" + bytes(mail(WORDS)) + b"\n"
    (advert,) = read("a.zip", packed({"Mail/vans.mbox": box})).adverts
    assert advert.text == WORDS and advert.source.startswith("a.zip#Mail/vans.mbox#")


@pytest.mark.parametrize(
    "head",
    [
        b"Content-Type: text/plain; charset=idna\n",
        b'Content-Type: text/plain; charset="unicode_escape"\n',
        b"Content-Type: multipart/mixed; boundary=\n",
        b"Content-Transfer-Encoding: base64\n",
        b"Content-Transfer-Encoding: uuencode\n",
        b"Date: Fri, 99 Zzz 99999 99:99:99 +9999999\n",
        b"Subject: =?utf-8?b?////?= =?x?q?=00?=\n",
        b"Subject: " + b"=?" * 5000 + b"\n",
        b"Content-Disposition: attachment; filename*=utf-8''%FF%00..%2f..%2fetc\n",
        b"Content-Type: text/html; charset*0=u; charset*1=tf-8\n",
    ],
)
def test_hostile_heads_are_read_or_refused(head: bytes) -> None:
    result = read("m.eml", b"From: a@x.invalid\nMIME-Version: 1.0\n" + head + b"\n" + WORDS.encode())
    assert result.adverts or result.refusals
