"""Requests to the desk: every address and form that its own pages offer, one or two fields odd.

No fault of ours (status 500), nothing that a page of ours would run for a file, no nan in an
answer, no file written by a question, none outside the shed.
"""

from __future__ import annotations

import random
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlsplit

from fuzz.run import MOST_CPU_S, NO_NUMBER, Ran
from fuzz.spoil import EVIL, NUMBERS, TEXTS

HOST, KEY = "127.0.0.1:8765", "key"
OWN = {"origin": f"http://{HOST}", "sec-fetch-site": "same-origin"}
PAGES = ("/", "/mix?mix=mix.toml", "/mix?empty=1", "/label", "/water", "/shelf", "/calibrate",
         "/season", "/notebook", "/wall", "/score", "/rinse")  # fmt: skip
ANSWERS = {200, 303, 307, 400, 403, 404, 405, 413, 414, 422, 503}
Pairs = list[tuple[str, str]]
Asked = tuple[str, str, Pairs, Pairs]
"""Method, path, the address's fields, the body's fields."""


class _Offered(HTMLParser):
    """Links and forms of a page, with what their fields hold."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[Asked] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        at = {name: value or "" for name, value in attrs}
        if tag == "a" and at.get("href", "").startswith("/"):
            self._keep("GET", at["href"])
        elif tag == "form":
            self._keep(at.get("method", "get").upper(), at.get("action", "/"))
        elif tag in ("input", "button", "select", "textarea") and at.get("name") and self.found:
            pair = (at["name"], at.get("value") or at.get("placeholder", ""))
            method, _, query, body = self.found[-1]
            (query if method == "GET" else body).append(pair)

    def _keep(self, method: str, address: str) -> None:
        parts = urlsplit(address)
        if not parts.path.startswith("/static"):
            pairs = parse_qsl(parts.query, keep_blank_values=True)
            self.found.append((method, parts.path, pairs, []))


@contextmanager
def desk_here() -> Iterator[Any]:
    """A browser let in to the desk of the folder in which this process stands."""
    from starlette.testclient import TestClient

    from chem.desk import build
    from chem.desk.guard import COOKIE

    guard, desk = build(Path(), KEY, frozenset({HOST}), draws=16)
    try:
        client = TestClient(guard, base_url=f"http://{HOST}", follow_redirects=False)
        client.cookies.set(COOKIE, KEY)
        yield client
    finally:
        desk.close()


def requests_here() -> list[Asked]:
    """What the desk's pages offer in this folder, each kind once, in a fixed order."""
    found: dict[tuple[str, str, tuple[str, ...]], Asked] = {}
    with desk_here() as client:
        for page in PAGES:
            page_of = _Offered()
            page_of.feed(client.get(page).text)
            for asked in page_of.found:
                method, path, query, body = asked
                query = [(k, "w" if k == "w" else v) for k, v in query]
                key = method, path, tuple(k for k, _ in (*query, *body))
                found.setdefault(key, (method, path, query, body))
    return [found[key] for key in sorted(found)]


def spoil_request(draw: random.Random, every: list[Asked]) -> Asked:
    """One of the requests with a field or two left out, doubled, renamed, borrowed, made odd."""
    method, path, query, body = draw.choice(every)
    query, body = list(query), list(body)
    for _turn in range(draw.choice((1, 1, 2, 3, 6))):
        pairs = body if body and (not query or draw.random() < 0.7) else query
        if not pairs:
            pairs.append((draw.choice(("mix", "r", "add", "w", "seen")), draw.choice(TEXTS)))
            continue
        at = draw.randrange(len(pairs))
        name, value = pairs[at]
        match draw.randrange(8):
            case 0:
                del pairs[at]
            case 1:
                pairs[at:at] = [pairs[at]] * draw.choice((1, 3, 60))
            case 2:
                pairs[at] = (draw.choice(TEXTS)[:300], value)
            case 3:
                other = draw.choice(every)
                pairs.extend(draw.sample([*other[2], *other[3]], min(2, len(other[2]))))
            case 4:
                pairs[at] = (name, re.sub(r"\d[\d.,]*", draw.choice(NUMBERS)[:400], value, count=1))
            case _:
                pairs[at] = (name, draw.choice(draw.choice((TEXTS, NUMBERS))))
    if draw.random() < 0.05:
        path += draw.choice(("/", "/..", "/x", "%00", "/mix.toml"))
    return method, path, _short(query), _short(body)


def _short(pairs: Pairs) -> Pairs:
    """As a browser sends it: no lone surrogates, no address of megabytes."""
    most = 15_000 // (1 + len(pairs))
    clean = [[t.encode("utf-8", "replace").decode()[:most] for t in pair] for pair in pairs]
    return [(k, v) for k, v in clean]


def ask_here(asked: Asked, spoilt: dict[str, bytes]) -> tuple[Ran, list[str]]:
    """What the desk answers in this folder where files were spoilt while it ran, and the promises
    that it broke."""
    method, path, query, body = asked
    began, told, status, text = time.process_time(), "", 0, ""
    before: dict[Path, bytes] = {}
    try:
        with desk_here() as client:
            for name, data in spoilt.items():
                Path(name).write_bytes(data)
            before = _files()
            sent = {"data": _form(body), "headers": OWN} if method == "POST" else {}
            answer = client.request(method, path, params=query, **sent)
            status, text = answer.status_code, answer.text
    except Exception:
        import traceback

        told = traceback.format_exc()
    ran = Ran(0 if status == 200 else 2, text, told, time.process_time() - began, 0)
    found = [] if status in ANSWERS else [f"status {status}"]
    if ran.cpu_s > MOST_CPU_S:
        found.append(f"{ran.cpu_s:.0f} s of CPU")
    if EVIL in text and "text/html" in answer.headers.get("content-type", ""):
        found.append("a file's mark-up stands in the page")
    sent_words = " ".join(word for pair in (*query, *body) for word in pair)
    if status == 200 and not NO_NUMBER.search(sent_words) and (no := NO_NUMBER.search(_seen(text))):
        found.append(f"{no[0]!r} in an answer")
    after = _files()
    changed = {p for p in before | after if before.get(p) != after.get(p)}
    if method == "GET":
        changed = {p for p in changed if "notebook.sqlite" not in p.name}
        found += [f"a question wrote {p.name}" for p in sorted(changed)]
    else:
        shed = Path.cwd()
        found += [f"{p} was written outside" for p in sorted(changed) if shed not in p.parents]
    return ran, found


def _form(body: Pairs) -> dict[str, list[str]]:
    form: dict[str, list[str]] = {}
    for name, value in body:
        form.setdefault(name, []).append(value)
    return form


def _seen(text: str) -> str:
    return re.sub(r"<[^>]*>|data:[\w/;,+=-]*", " ", text)


def _files() -> dict[Path, bytes]:
    """All that lies in the shed and two folders above it."""
    return {p: p.read_bytes() for p in Path.cwd().parent.parent.rglob("*") if p.is_file()}
