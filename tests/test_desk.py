"""The desk: who may ask, what stays inside the shed, what is written when, and that its numbers are
those of the rooms below.

What an attack may try is from published rules: DNS rebinding and cross-site requests (W3C, Fetch
Metadata Request Headers; RFC 6454, The Web Origin Concept), framing and script (W3C, Content
Security Policy Level 3), path traversal (CWE-22).
"""

from __future__ import annotations

import re
import shutil
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from chem.desk import build
from chem.desk.draft import Draft, figure_of
from chem.desk.guard import COOKIE, LARGEST_BODY, Guard
from chem.desk.keep import NO_VERSION, mix_text, version_of
from chem.desk.shed import Shed
from chem.desk.worker import Busy, Worker
from chem.errors import InputProblem
from chem.forecast import Study, forecast
from chem.tank import read_mix

EXAMPLES = Path(__file__).parent.parent / "examples"
HOST, KEY = "127.0.0.1:8765", "the-key-of-this-start"
OWN = {"origin": f"http://{HOST}", "sec-fetch-site": "same-origin"}


def filled(folder: Path) -> Path:
    (folder / "mixes").mkdir()
    for name in ("curdles", "stays-clear", "hazes-overnight"):
        shutil.copy(EXAMPLES / f"{name}.toml", folder / "mixes")
    return folder


@pytest.fixture(scope="module")
def shed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return filled(tmp_path_factory.mktemp("shed"))


@pytest.fixture(scope="module")
def guard(shed: Path) -> Iterator[Guard]:
    guarded, desk = build(shed, KEY, frozenset({HOST}), draws=64)
    yield guarded
    desk.close()


def client_of(guard: Guard, *, let_in: bool = True) -> TestClient:
    client = TestClient(guard, base_url=f"http://{HOST}", follow_redirects=False)
    if let_in:
        client.cookies.set(COOKIE, KEY)
    return client


@pytest.fixture
def client(guard: Guard) -> TestClient:
    return client_of(guard)


# Who may ask


def test_the_key_opens_once_and_leaves_the_address(guard: Guard) -> None:
    client = client_of(guard, let_in=False)
    assert client.get("/").status_code == 403
    assert client.get("/?key=another").status_code == 403
    let_in = client.get(f"/mix?mix=mixes/curdles.toml&key={KEY}")
    assert let_in.status_code == 303
    assert KEY not in let_in.headers["location"] and "mixes" in unescape(let_in.headers["location"])
    cookie = let_in.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie
    assert client.get("/").status_code == 200


@pytest.mark.parametrize("host", ["attacker.example", "127.0.0.1", "127.0.0.1:1", "localhost.evil"])
def test_another_host_is_refused(client: TestClient, host: str) -> None:
    assert client.get("/", headers={"host": host}).status_code == 400


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        (OWN, 422),
        ({"origin": f"http://{HOST}"}, 422),
        ({"origin": "http://attacker.example"}, 403),
        ({"origin": "null"}, 403),
        ({}, 403),
        ({"sec-fetch-site": "cross-site", "origin": f"http://{HOST}"}, 403),
        ({"sec-fetch-site": "same-site"}, 403),
        ({"sec-fetch-site": "none"}, 403),
    ],
)
def test_only_its_own_pages_send(client: TestClient, headers: dict[str, str], status: int) -> None:
    """422: let in, and the mix of no product refused by the room below."""
    assert client.post("/save?name=x&empty=1", headers=headers).status_code == status


def test_other_sites_may_link_but_not_read(client: TestClient) -> None:
    read = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors"}
    assert client.get("/move?mix=mixes/curdles.toml", headers=read).status_code == 403
    link = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"}
    assert client.get("/", headers=link).status_code == 200


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_are_refused(client: TestClient, method: str) -> None:
    assert client.request(method, "/").status_code == 405


def test_nothing_frames_it_and_no_script_but_its_own(client: TestClient) -> None:
    for path in ("/", "/nothing", "/static/desk.js"):
        headers = client.get(path).headers
        policy = headers["content-security-policy"]
        assert "frame-ancestors 'none'" in policy and "default-src 'none'" in policy
        assert "unsafe-inline" not in policy
        assert headers["x-frame-options"] == "DENY"
        assert headers["cache-control"] == "no-store"


def test_bodies_are_bounded(client: TestClient) -> None:
    large = "x" * (LARGEST_BODY + 1)
    assert client.post("/label", data={"text": large}, headers=OWN).status_code == 413

    def parts() -> Iterator[bytes]:  # no length is told
        for _ in range(12):
            yield b"x" * (LARGEST_BODY // 10)

    assert client.post("/label", content=parts(), headers=OWN).status_code == 413
    assert client.get("/?" + "a" * 20_000).status_code == 414


def test_a_body_that_never_ends_is_let_go(guard: Guard, monkeypatch: pytest.MonkeyPatch) -> None:
    import asyncio

    monkeypatch.setattr("chem.desk.guard.BODY_SECONDS", 0.05)
    sent: list[int] = []

    async def never() -> dict[str, object]:
        await asyncio.sleep(3600)
        return {}

    async def send(message: dict[str, object]) -> None:
        if message["type"] == "http.response.start":
            sent.append(message["status"])  # type: ignore[arg-type]

    headers = {"host": HOST, "cookie": f"{COOKIE}={KEY}", **OWN}
    scope = {
        "type": "http", "method": "POST", "path": "/label", "query_string": b"",
        "headers": [(k.encode(), v.encode()) for k, v in headers.items()],
    }  # fmt: skip
    asyncio.run(guard(scope, never, send))  # type: ignore[arg-type]
    assert sent == [408]


@pytest.mark.parametrize(
    "file",
    [
        "../outside.toml",
        "mixes/../../outside.toml",
        "/etc/passwd",
        "mixes/../../../../etc/hostname",
        "..\\outside.toml",
        "mixes/curdles.toml\x00.toml",
        "link.toml",
        "mixes",
        ".",
    ],
)
def test_no_address_leaves_the_shed(client: TestClient, shed: Path, file: str) -> None:
    outside = shed.parent / "outside.toml"
    outside.write_text('name = "secret of another folder"\n', encoding="utf-8")
    link = shed / "link.toml"
    if not link.is_symlink():
        link.symlink_to(outside)
    jug = {"p": file, "r": "1 fl oz/1000 sq ft", "carrier": "2 gal/1000 sq ft"}
    answers = [
        client.get("/mix", params={"mix": file}),
        client.get("/product", params={"file": file}),
        client.post("/save", params={"mix": file}, headers=OWN),
        client.get("/mix", params=jug),
    ]
    for answer in answers:
        assert "secret of another folder" not in answer.text and "root:" not in answer.text
    assert all(a.status_code == 422 for a in answers[:3])
    assert outside.read_text(encoding="utf-8") == 'name = "secret of another folder"\n'


class _Scripts(HTMLParser):
    """Scripts, handlers and addresses that a page holds."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "script" and given.get("src") != "/static/desk.js":
            self.found.append("script")
        if tag in ("iframe", "object", "embed", "base"):
            self.found.append(tag)
        self.found += [name for name in given if name.startswith("on")]
        for name in ("href", "src", "action"):
            value = given.get(name) or ""
            if ":" in value.split("?")[0] and value != "data:,":
                self.found.append(value)


def scripts_in(page: str) -> list[str]:
    parser = _Scripts()
    parser.feed(page)
    return parser.found


def test_a_name_is_never_script(tmp_path: Path) -> None:
    evil = "<script>alert(1)</script><img src=x onerror=alert(2)>\"'><b>"
    product = (Path("data/demo/products/kelp-extract.toml")).read_text(encoding="utf-8")
    assert 'name = "' in product
    text = re.sub(r'name = ".*"', f"name = '''{evil}'''", product, count=1)
    (tmp_path / "evil.toml").write_text(text, encoding="utf-8")
    (tmp_path / "mix.toml").write_text(
        f"name = '''{evil}'''\ncarrier = \"2 gal/1000 sq ft\"\nwater = \"soft.toml\"\n"
        '[[add]]\nproduct = "evil.toml"\nrate = "1 fl oz/1000 sq ft"\n'
        f"[adjuvant]\nname = '''{evil}'''\nph_at_most = 5.0\n",
        encoding="utf-8",
    )
    guarded, desk = build(tmp_path, KEY, frozenset({HOST}), draws=16)
    client = client_of(guarded)
    try:
        pages = ["/", "/mix?mix=mix.toml", "/jar?mix=mix.toml", "/product?file=evil.toml"]
        pages += [f"/mix?mix=mix.toml&name={evil}", "/mix?mix=<script>x</script>"]
        for page in pages:
            answer = client.get(page)
            assert scripts_in(answer.text) == [], page
            assert "<script>alert" not in answer.text
        moved = client.get("/move?mix=mix.toml").json()
        assert scripts_in(moved["strip"] + moved["stack"]) == []
        read = client.post(
            "/label", data={"name": evil, "text": f"{evil}\nCalcium 9 %"}, headers=OWN
        )
        assert scripts_in(read.text) == []
    finally:
        desk.close()


def test_a_thousand_at_once_are_answered_or_told_to_come_again(client: TestClient) -> None:
    def ask(i: int) -> int:
        return client.get(f"/move?mix=mixes/curdles.toml&moving=1&w=w{i % 40}").status_code

    with ThreadPoolExecutor(40) as pool:
        told = list(pool.map(ask, range(1000)))
    assert set(told) <= {200, 503}
    assert told.count(200) > 0
    assert client.get("/").status_code == 200


# One thread owns the Study


def test_moves_go_newest_first_and_one_waits_per_window() -> None:
    worker = Worker(Study(16))
    hold, order = threading.Event(), []
    first = worker.ask(lambda _: hold.wait(10))
    time.sleep(0.05)
    rest = worker.ask(lambda _: order.append("rest"))
    older = worker.ask(lambda _: order.append("older"), "a", moving=True)
    other = worker.ask(lambda _: order.append("other"), "b", moving=True)
    newer = worker.ask(lambda _: order.append("newer"), "a", moving=True)
    assert isinstance(older.exception(timeout=1), Busy)
    hold.set()
    for answer in (first, rest, other, newer):
        answer.result(timeout=10)
    assert order == ["newer", "other", "rest"]
    worker.close()
    assert isinstance(worker.ask(lambda _: 1).exception(timeout=1), Busy)


def test_a_fault_of_one_question_does_not_end_the_thread() -> None:
    worker = Worker(Study(16))

    def fault(_: Study) -> None:
        raise ZeroDivisionError

    assert isinstance(worker.ask(fault).exception(timeout=5), ZeroDivisionError)
    assert worker.ask(lambda study: study.count).result(timeout=5) == 16
    worker.close()


def test_a_fault_of_ours_is_said_and_shows_no_path(
    guard: Guard, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("chem.desk.app.forecast_of", lambda *_: 1 / 0)
    quiet = TestClient(guard, base_url=f"http://{HOST}", raise_server_exceptions=False)
    quiet.cookies.set(COOKIE, KEY)
    answer = quiet.get("/mix?mix=mixes/curdles.toml")
    assert answer.status_code == 500 and "a fault of ours" in answer.text
    assert "Traceback" not in answer.text and "chem/" not in answer.text


# The mix


def address(page: str, door: str = "forecast") -> str:
    found = re.search(rf'href="/{door}\?([^"]+)"', page)
    assert found is not None
    return unescape(found[1])


def test_the_page_says_what_forecast_says(client: TestClient) -> None:
    """The same draws of the same file: `forecast --draws 64`."""
    page = client.get("/mix?mix=mixes/hazes-overnight.toml").text
    whole = forecast(read_mix(EXAMPLES / "hazes-overnight.toml"), count=64)
    assert f"likely {whole.ph.p05:.1f} to {whole.ph.p95:.1f}" in page
    assert whole.answer == "clear" and "Stays clear for 4 hours" in page
    moved = client.get(f"/move?{address(page)}&moving=1").json()
    assert f"likely {whole.ph.p05:.1f} to {whole.ph.p95:.1f}" in moved["stack"]
    assert len(moved["amounts"]) == len(whole.mix.additions)


def test_the_address_holds_the_whole_mix(shed: Path) -> None:
    from urllib.parse import parse_qsl

    place = Shed(shed)
    draft = Draft.of([("mix", "mixes/curdles.toml"), ("carrier", "3 gal/1000 sq ft")], place)
    again = Draft.of(parse_qsl(draft.query(), keep_blank_values=True), place)
    assert again == draft
    assert draft.mix(place).carrier_L_per_m2 == pytest.approx(3 * 3.785411784 / 92.90304)
    emptied = draft.without(0).without(0)
    assert Draft.of(parse_qsl(emptied.query(), keep_blank_values=True), place).jugs == ()


def test_buttons_move_add_and_take_out(client: TestClient) -> None:
    page = client.get("/mix?mix=mixes/curdles.toml").text
    start = address(page)

    def names(query: str) -> list[str]:
        shown = client.get(f"/mix?{query}").text
        return re.findall(r'name="p" value="([^"]*)"', shown)

    def press(query: str, button: str) -> str:
        led = client.get(f"/mix?{query}&{button}")
        assert led.status_code == 303
        return led.headers["location"].partition("?")[2]

    first, second = names(start)
    assert names(press(start, "down=0")) == [second, first]
    assert names(press(start, "up=1")) == [second, first]
    assert names(press(start, "out=0")) == [second]
    assert names(press(start, "add=1&jug=kelp-extract.toml")) == [
        first,
        second,
        "kelp-extract.toml",
    ]
    assert names(press(start, "up=0")) == [first, second]


def test_undo_goes_back_fifty_steps(client: TestClient) -> None:
    window = "undo-window"
    for k in range(60):
        client.get(
            f"/move?mix=mixes/stays-clear.toml&w={window}&carrier={2 + k / 10:g} gal/1000 sq ft"
        )
    place = f"/mix?mix=mixes/stays-clear.toml&w={window}&undo=1"
    seen = []
    for _ in range(60):
        led = unescape(client.get(place).headers["location"])
        seen.append(re.search(r"carrier=([0-9.]+)", led)[1])  # type: ignore[index]
    assert seen[0] == "7.8" and seen[49] == "2.9" and seen[-1] == "2.9"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("4 fl oz/1000 sq ft", (4.0, "fl oz/1000 sq ft")),
        ("0.25 % v/v", (0.25, "% v/v")),
        ("400 L/ha", (400.0, "L/ha")),
        ("3-6 fl oz/1000 sq ft", None),
        ("unknown", None),
        ("", None),
    ],
)
def test_a_slider_needs_one_figure(text: str, expected: tuple[float, str] | None) -> None:
    found = figure_of(text)
    if expected is None and found is not None:
        assert found[1][0] == "-", "a range is no figure"
    else:
        assert found == expected


@pytest.mark.parametrize("door", ["forecast", "why", "fix", "pour", "jar"])
def test_each_door_gives_its_sheet(client: TestClient, door: str) -> None:
    answer = client.get(f"/{door}?mix=mixes/curdles.toml")
    assert answer.status_code == 200
    assert "Back to the mix" in answer.text and scripts_in(answer.text) == []


def test_ph_and_diagnose_ask_first(client: TestClient) -> None:
    for door, asked, said in (
        ("ph", "to=5&with=citric acid", "citric acid"),
        ("diagnose", "seen=flakes&after=15", "flakes"),
    ):
        asking = client.get(f"/{door}?mix=mixes/stays-clear.toml").text
        assert "<form" in asking
        told = client.get(f"/{door}?mix=mixes/stays-clear.toml&{asked}")
        assert told.status_code == 200 and said in told.text


def test_a_problem_is_told_in_the_command_lines_words(client: TestClient) -> None:
    page = client.get("/mix?mix=mixes/curdles.toml&carrier=2 buckets")
    assert page.status_code == 200
    with pytest.raises(InputProblem) as told:
        from chem.units import read_carrier

        read_carrier("2 buckets", "mixes/curdles.toml, carrier")
    assert told.value.problems[0].wrong in unescape(page.text)


# Files


def test_saving_keeps_comments_and_writes_only_what_changed(tmp_path: Path) -> None:
    place = Shed(filled(tmp_path))
    path = tmp_path / "mixes" / "curdles.toml"
    before = path.read_text(encoding="utf-8")
    draft = Draft.of([("mix", "mixes/curdles.toml")], place)
    assert mix_text(draft, before, place) == before
    changed = Draft.of([("mix", "mixes/curdles.toml"), ("carrier", "3 gal/1000 sq ft")], place)
    after = mix_text(changed, before, place)
    assert after == before.replace("2 gal/1000 sq ft", "3 gal/1000 sq ft")
    assert read_mix(path).name == draft.texts["name"]


def test_save_refuses_a_file_changed_elsewhere(tmp_path: Path) -> None:
    guarded, desk = build(filled(tmp_path), KEY, frozenset({HOST}), draws=16)
    client, path = client_of(guarded), tmp_path / "mixes" / "stays-clear.toml"
    try:
        ours = version_of(path)
        path.write_text(path.read_text(encoding="utf-8") + "# theirs\n", encoding="utf-8")
        asked = "/save?mix=mixes/stays-clear.toml&carrier=3 gal/1000 sq ft"
        told = client.post(asked, data={"version": ours}, headers=OWN)
        assert told.status_code == 422 and "changed elsewhere" in told.text
        assert path.read_text(encoding="utf-8").endswith("# theirs\n")
        saved = client.post(asked, data={"version": version_of(path)}, headers=OWN)
        assert saved.status_code == 303
        text = path.read_text(encoding="utf-8")
        assert "# theirs" in text and 'carrier = "3 gal/1000 sq ft"' in text
        read_mix(path)
    finally:
        desk.close()


LABELS = {
    "Calcium liquor": (
        "Nitrate nitrogen 9 %\nCalcium (Ca) 11 %\nDerived from: calcium nitrate\n"
        "Weight per gallon 12.1 lb"
    ),
    "Potash feed": (
        "Available phosphate (P2O5) 5 %\nSoluble potash (K2O) 7 %\n"
        "Derived from: monopotassium phosphate\nSpecific gravity 1.1"
    ),
}


def test_from_an_empty_folder_to_a_forecast_of_pasted_labels(tmp_path: Path) -> None:
    """By visible fields alone: nothing is on disk before Save is pressed."""
    guarded, desk = build(tmp_path, KEY, frozenset({HOST}), draws=16)
    client = client_of(guarded)
    try:
        assert "Start a shed here" in client.get("/").text
        for k, (name, label) in enumerate(LABELS.items()):
            typed = {"name": name, "text": f"GUARANTEED ANALYSIS\n{label}"}
            page = client.post("/label", data=typed, headers=OWN)
            assert len(list(tmp_path.iterdir())) == k
            found = re.search(r'<textarea id="toml" name="toml">(.*?)</textarea>', page.text, re.S)
            assert found is not None, page.text
            form = {"name": name, "toml": unescape(found[1]).lstrip("\n")}
            kept = client.post("/product", data=form, headers=OWN)
            assert kept.status_code == 303, kept.text
        files = ["calcium-liquor.toml", "potash-feed.toml"]
        assert sorted(p.name for p in tmp_path.iterdir()) == files
        asked = "empty=1&name=First&carrier=2 gal/1000 sq ft"
        asked += "".join(f"&p={file}&r=4 fl oz/1000 sq ft" for file in files)
        page = client.get(f"/mix?{asked}")
        assert "pH of the full tank" in page.text
        saved = client.post(f"/save?{asked}", data={"version": NO_VERSION}, headers=OWN)
        assert saved.status_code == 303
        assert read_mix(tmp_path / "first.toml").name == "First"
        again = client.post(f"/save?{asked}", data={"version": NO_VERSION}, headers=OWN)
        assert again.status_code == 422 and "lies there already" in again.text
    finally:
        desk.close()


def test_what_the_jar_showed_is_kept_and_changes_the_forecast(tmp_path: Path) -> None:
    """A look recorded here is one of the command line's notebook, and is told above the answer."""
    (filled(tmp_path) / "shed.toml").write_text('water = "unknown"\n', encoding="utf-8")
    guarded, desk = build(tmp_path, KEY, frozenset({HOST}), draws=16)
    client = client_of(guarded)
    mix = "mix=mixes/hazes-overnight.toml"
    try:
        asking = client.get(f"/saw?{mix}").text
        assert scripts_in(asking) == [] and 'value="flakes"' in asking
        look = {"seen": "flakes", "after": "15 min", "ph": "3.5", "by": "strip", "in": "jar"}
        assert client.post(f"/saw?{mix}", data=look).status_code == 403
        assert client.post(f"/saw?{mix}", data=look, headers=OWN).status_code == 303
        (entry,) = desk.records.book.entries()
        assert [one.word for one in entry.seen] == ["flakes"] and entry.ph[0].value == 3.5
        assert "You tried" in client.get(f"/mix?{mix}").text
        for door in ("forecast", "why", "fix", "pour", "jar"):
            assert "From your notebook" in client.get(f"/{door}?{mix}").text, door
        bad = {"site": "Practice pitches", "area": "two goals"}
        assert client.post(f"/sprayed?{mix}", data=bad, headers=OWN).status_code == 422
        good = {"site": "Practice pitches", "area": "2.6 acre", "screens": "clean"}
        assert client.post(f"/sprayed?{mix}", data=good, headers=OWN).status_code == 303
        assert len(desk.records.book.entries()) == 2
        for page in ("/notebook?words=flakes", "/wall", "/season"):
            shown = client.get(page)
            assert shown.status_code == 200 and scripts_in(shown.text) == [], page
        assert "Practice pitches" in client.get("/season").text
        rinsed = "/rinse?before=mixes/curdles.toml&after=mixes/stays-clear.toml"
        assert client.get(rinsed).status_code == 200
        assert client.get("/rinse?before=../x.toml&after=mixes/curdles.toml").status_code == 422
    finally:
        desk.close()


def test_what_the_shed_sets_once_is_taken(tmp_path: Path) -> None:
    (filled(tmp_path) / "shed.toml").write_text(
        'water = "unknown"\nsprayers = ["boom.toml"]\n', encoding="utf-8"
    )
    (tmp_path / "boom.toml").write_text(
        'name = "Boom, invented"\ncarrier = "2 gal/1000 sq ft"\n', encoding="utf-8"
    )
    draft = Draft.of([("p", "kelp-extract.toml"), ("r", "1 fl oz/1000 sq ft")], Shed(tmp_path))
    mix = draft.mix(Shed(tmp_path))
    assert mix.carrier_L_per_m2 == pytest.approx(2 * 3.785411784 / 92.90304)
    assert any("From your shed" in note for note in mix.notes)
