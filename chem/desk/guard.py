"""Who may ask: this machine's own browser, with the key that the start printed.

Cross-site requests are told by `Sec-Fetch-Site` (W3C, Fetch Metadata Request Headers) and, where a
browser sends none, by `Origin` against `Host`; a foreign `Host` is refused (DNS rebinding).
"""

from __future__ import annotations

import asyncio
import hmac
from collections.abc import MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qsl, quote, urlencode

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

COOKIE = "jarsight_desk"
LARGEST_BODY = 1_000_000
LARGEST_PHOTO = 10_000_000
PHOTOS = "/photo"
BODY_SECONDS = 20.0
"""A body that takes longer is no person's."""
LONGEST_ADDRESS = 16_000
SAFE = {"GET", "HEAD"}
POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; "
    "img-src 'self' data:; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


class Guard:
    """Everything that must hold before a request reaches a page.

    key: of this start; hosts: what `Host` may say, such as `127.0.0.1:8765`.
    """

    def __init__(self, app: ASGIApp, key: str, hosts: frozenset[str]) -> None:
        self._app = app
        self._key = key
        self._hosts = hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, let in by the key, or pass on."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refused = self._refused(scope, headers)
        if refused is not None:
            await PlainTextResponse(refused[1], refused[0], HEADERS)(scope, receive, send)
            return
        query = parse_qsl(scope["query_string"].decode("latin-1"), keep_blank_values=True)
        given = dict(query).get("key")
        if given is not None and self._is_key(given):
            rest = urlencode([pair for pair in query if pair[0] != "key"])
            to = quote(scope["path"]) + (f"?{rest}" if rest else "")
            answer = RedirectResponse(to, 303, HEADERS)
            answer.set_cookie(COOKIE, self._key, httponly=True, samesite="strict", path="/")
            await answer(scope, receive, send)
            return
        if not self._is_key(_cookie(headers)):
            words = "The key is missing: open the address that `jarsight desk` printed.\n"
            await PlainTextResponse(words, 403, HEADERS)(scope, receive, send)
            return
        await self._pass_on(scope, receive, send)

    def _is_key(self, given: str) -> bool:
        return hmac.compare_digest(given.encode(), self._key.encode())

    def _refused(self, scope: Scope, headers: Headers) -> tuple[int, str] | None:
        """A status and its words, or None."""
        if len(headers.getlist("host")) != 1 or headers["host"].lower() not in self._hosts:
            return 400, "This desk answers to its own address only.\n"
        if len(scope["query_string"]) > LONGEST_ADDRESS:
            return 414, "The address is too long.\n"
        if scope["method"] not in {*SAFE, "POST"}:
            return 405, "GET or POST.\n"
        site = headers.get("sec-fetch-site")
        own = site in ("same-origin", "none")
        if scope["method"] == "POST":
            if site is None:
                own = headers.get("origin") == f"http://{headers['host']}"
            if not own or site == "none":
                return 403, "Only the desk's own pages may send anything.\n"
        elif site is not None and not own and headers.get("sec-fetch-mode") != "navigate":
            return 403, "Only the desk's own pages may read this.\n"
        largest = LARGEST_PHOTO if scope["path"] == PHOTOS else LARGEST_BODY
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > largest:
            return 413, f"Too large: at most {largest // 1_000_000} MB.\n"
        return None

    async def _pass_on(self, scope: Scope, receive: Receive, send: Send) -> None:
        largest = LARGEST_PHOTO if scope["path"] == PHOTOS else LARGEST_BODY
        body = b""
        started = False

        async def headed(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                named: list[tuple[bytes, bytes]] = list(message.get("headers", ()))
                have = {name.lower() for name, _ in named}
                ours = ((k.lower().encode(), v.encode()) for k, v in HEADERS.items())
                message["headers"] = [*named, *(pair for pair in ours if pair[0] not in have)]
            await send(message)

        if scope["method"] == "POST":
            try:
                async with asyncio.timeout(BODY_SECONDS):
                    more = True
                    while more:
                        message: MutableMapping[str, Any] = await receive()
                        if message["type"] == "http.disconnect":
                            return
                        body += message.get("body", b"")
                        more = message.get("more_body", False)
                        if len(body) > largest:
                            words = f"Too large: at most {largest // 1_000_000} MB.\n"
                            await PlainTextResponse(words, 413, HEADERS)(scope, receive, send)
                            return
            except TimeoutError:
                await PlainTextResponse("Too slow.\n", 408, HEADERS)(scope, receive, send)
                return
        given = False

        async def whole() -> Message:
            nonlocal given
            if given or scope["method"] != "POST":
                return await receive()
            given = True
            return {"type": "http.request", "body": body, "more_body": False}

        await self._app(scope, whole, headed)


def _cookie(headers: Headers) -> str:
    jar: SimpleCookie = SimpleCookie()
    try:
        jar.load(headers.get("cookie", ""))
    except CookieError:
        return ""
    return jar[COOKIE].value if COOKIE in jar else ""
