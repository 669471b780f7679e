"""Attacks on the desk: foreign names, rebinding, cross-site forms, guessed tokens. All are turned away.

What a browser sends is after the Fetch Metadata draft (W3C, Sec-Fetch-Site) and RFC 6454 (Origin).
"""

import pytest
from desk_running import Running

from pipeline.desk.guard import Keys
from pipeline.desk.serve import serve
from pipeline.errors import UsageError


@pytest.mark.parametrize(
    "host",
    ["evil.example", "localhost:{port}", "127.0.0.1", "127.0.0.1:1", "evil.example:{port}", "[::1]:{port}", ""],
)
def test_a_name_that_is_rebound_to_this_computer_is_turned_away(opened: Running, host: str) -> None:
    host = host.format(port=opened.port)
    for path in ("/", "/buyer", f"/?{opened.address.split('?')[1]}"):
        got = opened.ask("GET", path, Host=host, Cookie=opened.cookie)
        assert got.status in (400, 421) and "viewworthy" not in got.text


def test_two_hosts_and_none_are_turned_away(opened: Running) -> None:
    assert opened.ask("GET", "/", Cookie=opened.cookie).status in (400, 421)
    got = opened.ask("GET", "/", Host=opened.here, host="evil.example", Cookie=opened.cookie)
    assert got.status in (400, 421)


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://evil.example", "Sec_Fetch_Site": "cross-site"},
        {"Origin": "null", "Sec_Fetch_Site": "cross-site"},
        {"Origin": "http://127.0.0.1:1", "Sec_Fetch_Site": "same-site"},
        {"Origin": "http://{here}", "Sec_Fetch_Site": "cross-site"},
        {"Origin": "https://{here}"},
        {},
    ],
)
def test_a_form_of_another_site_writes_nothing(opened: Running, headers: dict[str, str]) -> None:
    before = sorted(opened.folder.glob("inbox/*"))
    toml = (opened.folder / "buyer.toml").read_bytes()
    own = {name: value.format(here=opened.here) for name, value in headers.items()}
    for path, body in (("/add", "text=gotcha"), ("/buyer", "home=Hull"), ("/vehicle/1/note", "fate=sold")):
        got = opened.ask(
            "POST", path, body, Host=opened.here, Cookie=opened.cookie,
            Content_Type="application/x-www-form-urlencoded", **own,
        )  # fmt: skip
        assert got.status == 403
    assert sorted(opened.folder.glob("inbox/*")) == before and (opened.folder / "buyer.toml").read_bytes() == toml


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_another_site_may_not_look_in(opened: Running, site: str) -> None:
    assert opened.get("/", Sec_Fetch_Site=site).status == 403
    assert opened.get("/buyer", Sec_Fetch_Site=site).status == 403


@pytest.mark.parametrize("token", ["", "x", "A" * 43, "%ff%fe", "right&token=right"])
def test_a_guessed_token_opens_nothing(opened: Running, token: str) -> None:
    got = opened.ask("GET", f"/?token={token}", Host=opened.here)
    assert got.status == 403 and "set-cookie" not in got.headers


@pytest.mark.parametrize("cookie", ["", "viewworthy_desk_{port}=guess", "{cookie}x", "{cookie}; {cookie}"])
def test_without_the_cookie_nothing_is_shown_or_done(opened: Running, cookie: str) -> None:
    cookie = cookie.format(port=opened.port, cookie=opened.cookie)
    for path in ("/", "/add", "/buyer", "/desk.css", "/vehicle/1", "/work/1", "/report/ranking.html", "/nowhere"):
        got = opened.ask("GET", path, Host=opened.here, Cookie=cookie)
        assert got.status == 403 and "Marrick" not in got.text
    got = opened.ask("POST", "/add", "text=x", Host=opened.here, Cookie=cookie, Origin=f"http://{opened.here}")
    assert got.status == 403


def test_the_token_is_not_the_cookie_and_the_cookie_is_strict(opened: Running) -> None:
    token = opened.address.split("token=")[1]
    got = opened.ask("GET", f"/?token={token}", Host=opened.here)
    cookie = got.headers["set-cookie"].lower()
    assert "samesite=strict" in cookie and "httponly" in cookie and token.lower() not in cookie
    assert opened.ask("GET", "/", Host=opened.here, Cookie=f"viewworthy_desk_{opened.port}={token}").status == 403


def test_every_answer_has_a_strict_policy_and_no_cors(opened: Running) -> None:
    for got in (opened.get("/buyer"), opened.get("/nowhere"), opened.ask("GET", "/", Host="evil.example")):
        policy = got.headers["content-security-policy"]
        assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy and "script" not in policy
        assert got.headers["x-content-type-options"] == "nosniff" and got.headers["cache-control"] == "no-store"
        assert not any(name.startswith("access-control") for name in got.headers)
    asked = opened.ask("OPTIONS", "/add", Host=opened.here, Cookie=opened.cookie, Origin="https://evil.example")
    assert asked.status == 403 and not any(name.startswith("access-control") for name in asked.headers)


def test_too_much_is_refused_before_it_is_read(opened: Running) -> None:
    got = opened.ask(
        "POST", "/add", Host=opened.here, Cookie=opened.cookie, Origin=f"http://{opened.here}",
        Content_Length="900000000",
    )  # fmt: skip
    assert got.status == 413
    for length in ("-1", "many"):
        got = opened.ask(
            "POST", "/add", Host=opened.here, Cookie=opened.cookie, Origin=f"http://{opened.here}",
            Content_Length=length,
        )  # fmt: skip
        assert got.status in (400, 413)


def test_it_listens_on_this_computer_alone_and_says_so_when_it_cannot(opened: Running) -> None:
    assert opened.address.startswith("http://127.0.0.1:")
    for port in (opened.port, 70_000):
        with pytest.raises(UsageError, match="--port"):
            serve(opened.folder, port, lambda address: None)


def test_the_address_is_new_at_every_start(opened: Running) -> None:
    first, second = Keys(), Keys()
    assert len({first.token, first.session, second.token, second.session}) == 4
    assert min(len(first.token), len(first.session)) >= 43, "256 bits"
