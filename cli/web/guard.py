"""Who may, and how: hosts, cookies, forms, sizes and headers, before any page is asked for.

An ASGI layer around the application. Whose token a cookie holds is looked up by `who`; where nobody
has to be known (the server listens on this machine only), a cookie only ties forms to a browser.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections.abc import Callable, Collection
from urllib.parse import parse_qs, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.types import ASGIApp, Message, Receive, Scope, Send

COOKIE = "stillflow"
FIELD = "token"
"""The hidden field of every form; scripts send it as the header `HEADER`."""
HEADER = "x-stillflow-token"
MOST_BYTES = 12_000_000
"""Of what may be sent up, a photo with its form; of all else `MOST_FORM`."""
MOST_FORM = 1_000_000
A_YEAR = 365 * 24 * 3600

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
    "connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",  # with none, a browser hides the origin of our own forms
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "geolocation=(), microphone=(), payment=(), usb=()",
    "x-frame-options": "DENY",
}

OPEN = ("/pair", "/worker.js", "/manifest.json", "/offline")
"""Paths that a phone nobody knows yet may ask for; they show nothing of any visit."""


def form_token(cookie: str) -> str:
    """What every form of a browser with this cookie carries, which no other site can know."""
    return hmac.new(cookie.encode(), b"form", hashlib.sha256).hexdigest()


class Refused(Exception):  # noqa: N818 - it is what happened
    """A request that gets no page: status and one line."""

    def __init__(self, status: int, what: str) -> None:
        super().__init__(what)
        self.status, self.what = status, what


class Guard:
    """The layer.

    Args:
        app: the application; it finds `person` (a name, empty where nobody has to be known),
            `cookie` and `token` in the scope's state.
        hosts: names the server answers to, without port. A page of another name is not ours.
        who: the name behind a cookie, None for nobody; None where nobody has to be known.
    """

    def __init__(
        self, app: ASGIApp, hosts: Collection[str], who: Callable[[str], str | None] | None
    ) -> None:
        self._app = app
        self._hosts = frozenset(hosts)
        self._who = who

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        cookie = cookie_parser(headers.get("cookie", "")).get(COOKIE, "")
        fresh = ""
        path: str = scope["path"]
        still = path.startswith("/static/") or path in OPEN[1:]

        async def answer(message: Message) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(raw=message["headers"])
                for name, value in HEADERS.items():
                    out.setdefault(name, value)
                out.setdefault("cache-control", "no-cache" if still else "no-store")
                if fresh and not still:
                    out.append("set-cookie", cookie_words(fresh, scope["scheme"] == "https"))
                message = {**message, "headers": out.raw}
            await send(message)

        try:
            self._host(headers)
            person: str | None = ""
            if self._who is not None:
                person = await run_in_threadpool(self._who, cookie) if cookie else None
            if len(cookie) < 20:
                fresh = cookie = secrets.token_urlsafe(32)
            scope.setdefault("state", {})
            scope["state"].update(person=person, cookie=cookie, token=form_token(cookie))
            known = person is not None or path in OPEN or path.startswith("/static/")
            if not known:
                await _unknown(scope, headers, answer)
                return
            if scope["method"] not in ("GET", "HEAD"):
                most = MOST_BYTES if path.endswith("/photo") else MOST_FORM
                receive = await _guarded(scope, receive, headers, cookie, most)
            await self._app(scope, receive, answer)
        except Refused as refused:
            await _plain(refused.status, refused.what, answer)

    def _host(self, headers: Headers) -> None:
        name = urlsplit(f"//{headers.get('host', '')}").hostname or ""
        if name not in self._hosts:
            raise Refused(421, "This address is not one that stillflow answers to.")


def cookie_words(token: str, secure: bool) -> str:
    """The cookie as a header: not for scripts, not for other sites."""
    end = "; Secure" if secure else ""
    return f"{COOKIE}={token}; Path=/; Max-Age={A_YEAR}; HttpOnly; SameSite=Lax{end}"


async def _guarded(
    scope: Scope, receive: Receive, headers: Headers, cookie: str, most: int
) -> Receive:
    """The body, read to its bound, once origin and token have been seen to be ours.

    Raises:
        Refused: another site's form, a form without its token, or more bytes than there may be.
    """
    origin = headers.get("origin")
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none") or (
        origin is not None and urlsplit(origin).netloc != headers.get("host")
    ):
        raise Refused(403, "This form is of another site.")
    body = bytearray()
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise Refused(400, "The form did not come to its end.")
        body += message.get("body", b"")
        if len(body) > most:
            raise Refused(413, f"This is more than the {most // 1_000_000} MB that may be sent.")
        if not message.get("more_body"):
            break
    token = headers.get(HEADER, "")
    if not token and headers.get("content-type", "").startswith(
        "application/x-www-form-urlencoded"
    ):
        token = parse_qs(body.decode("latin-1")).get(FIELD, [""])[0]
    if not token and headers.get("content-type", "").startswith("multipart/form-data"):
        # The token stands first in such a form, so that no file has to be read to find it.
        head = bytes(body[:2000]).decode("latin-1")
        _, mark, rest = head.partition(f'name="{FIELD}"\r\n\r\n')
        token = rest.partition("\r\n")[0] if mark else ""
    if not hmac.compare_digest(token.encode(), form_token(cookie).encode()):
        raise Refused(
            403, "This form is too old or not ours; go back, reload the page, send again."
        )
    told = False

    async def again() -> Message:
        nonlocal told
        if told:
            return await receive()
        told = True
        return {"type": "http.request", "body": bytes(body), "more_body": False}

    return again


async def _unknown(scope: Scope, headers: Headers, send: Send) -> None:
    """Show a phone that is not known to the door; a script is told by the status.

    What the browser keeps of earlier pages is thrown away, so that none is seen any more.
    """
    page = scope["method"] == "GET" and headers.get("sec-fetch-mode", "navigate") == "navigate"
    more = [(b"clear-site-data", b'"cache"')]
    if page:
        more.append((b"location", b"/pair"))
    await _plain(303 if page else 401, "This phone is not paired.", send, more)


async def _plain(
    status: int, words: str, send: Send, more: Collection[tuple[bytes, bytes]] = ()
) -> None:
    kind = (b"content-type", b"text/plain; charset=utf-8")
    await send({"type": "http.response.start", "status": status, "headers": [kind, *more]})
    await send({"type": "http.response.body", "body": f"{words}\n".encode()})
