"""Who may speak to the desk: this computer's browser, from the desk's own pages, with the token of this start.

The checks follow the Fetch Metadata and Origin advice of the OWASP CSRF Prevention Cheat Sheet; the exact Host check
is what stops DNS rebinding, for a page of another name keeps that name in `Host` wherever the name points to.
"""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass, field
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_BYTES = 64_000_000  # of one request: some hundred saved pages
SAFE = ("GET", "HEAD")
POLICY = (
    "default-src 'none'; style-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'; img-src 'self'"
)
ALWAYS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
NO_ENTRY = (
    "This is the viewworthy desk of somebody else, or its address is old. "
    "Use the address that 'viewworthy desk' printed when it was started.\n"
)


@dataclass
class Keys:
    """The token of the printed address and the secret of the cookie that it is exchanged for, new at every start."""

    token: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    session: str = field(default_factory=lambda: secrets.token_urlsafe(32))


class TooLarge(Exception):
    """The body of a request is longer than MOST_BYTES."""


class Guard:
    """Refuses every request that is not the desk's own, and puts the protecting headers on every answer."""

    def __init__(self, app: ASGIApp, keys: Keys, most_bytes: int = MOST_BYTES) -> None:
        self.app, self.keys, self.most_bytes = app, keys, most_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # a WebSocket is left unanswered, which refuses it

        async def protected(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in ALWAYS.items():
                    headers[name] = value
                headers.setdefault("Content-Security-Policy", POLICY)
            await send(message)

        answer = self._refusal(scope) or self._entry(scope)
        if answer is not None:
            await answer(scope, receive, protected)
            return
        read = 0

        async def counted() -> Message:
            nonlocal read
            message = await receive()
            read += len(message.get("body", b""))
            if read > self.most_bytes:
                raise TooLarge
            return message

        await self.app(scope, counted, protected)

    def _refusal(self, scope: Scope) -> Response | None:
        """The answer to what is not the desk's own, None when nothing is wrong."""
        headers = Headers(scope=scope)
        here = authority(scope)
        if headers.getlist("host") != [here]:
            return PlainTextResponse("This address is not the desk's.\n", 421)
        site = headers.get("sec-fetch-site")
        if scope["method"] in SAFE:
            # "none": typed in or opened from the terminal. "same-site" is another port of this computer.
            if site not in (None, "none", "same-origin"):
                return PlainTextResponse("Another site may not look in here.\n", 403)
        else:
            if headers.getlist("origin") != [f"http://{here}"] or site not in (None, "same-origin"):
                return PlainTextResponse("Another site may not write here.\n", 403)
            length = headers.get("content-length", "0")
            if not length.isdecimal() or int(length) > self.most_bytes:
                return PlainTextResponse("That is too much at once. Drop fewer files.\n", 413)
        return None

    def _entry(self, scope: Scope) -> Response | None:
        """The exchange of the token for the cookie; a refusal of what has neither; None for who has the cookie."""
        headers = Headers(scope=scope)
        name = cookie_name(scope)
        given = parse_qs(scope["query_string"].decode("latin-1")).get("token", [])
        if scope["path"] == "/" and scope["method"] == "GET" and given:
            if len(given) == 1 and _same(given[0], self.keys.token):
                answer = RedirectResponse("/", 303)
                answer.set_cookie(name, self.keys.session, path="/", httponly=True, samesite="strict")
                return answer
            return PlainTextResponse(NO_ENTRY, 403)
        cookies = [part.strip() for value in headers.getlist("cookie") for part in value.split(";")]
        held = [part.partition("=")[2] for part in cookies if part.partition("=")[0] == name]
        if len(held) == 1 and _same(held[0], self.keys.session):
            return None
        return PlainTextResponse(NO_ENTRY, 403)


def authority(scope: Scope) -> str:
    """Host and port of the socket that the request came in by, not what the request says of itself."""
    host, port = scope["server"]
    return f"{host}:{port}"


def cookie_name(scope: Scope) -> str:
    """Cookies are shared by the ports of a host: each port has its own."""
    return f"viewworthy_desk_{scope['server'][1]}"


def _same(given: str, right: str) -> bool:
    return hmac.compare_digest(given.encode("utf-8", "surrogateescape"), right.encode())
