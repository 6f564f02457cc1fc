"""What the desk's doors do beyond showing a sheet: each change one press and one back, leftovers,
acids, several waters, numbered sheets, labels read back, photographs, sprayers, the notebook.

Its numbers are held to the rooms below, which have outside checks of their own.
"""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from urllib.parse import parse_qsl

import pytest
from starlette.testclient import TestClient
from test_desk import HOST, KEY, LABELS, OWN, client_of, filled, scripts_in

from chem.desk import build
from chem.desk.app import Desk
from chem.desk.draft import Draft, shares_of
from chem.desk.guard import LARGEST_PHOTO
from chem.desk.keep import NO_VERSION
from chem.desk.shed import Shed
from chem.desk.takes import changed_to, takes_of
from chem.forecast import Study, forecast
from chem.tank import read_mix

EXAMPLES = Path(__file__).parent.parent / "examples"
MIX = "mix=mixes/stays-clear.toml"


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[TestClient, Desk, Path]]:
    folder = filled(tmp_path_factory.mktemp("shed"))
    for name in ("water-decides", "acid-poured-last"):
        shutil.copy(EXAMPLES / f"{name}.toml", folder / "mixes")
    guarded, desk = build(folder, KEY, frozenset({HOST}), draws=16)
    yield client_of(guarded), desk, folder
    desk.close()


def own(folder: Path) -> Path:
    """A shed with a notebook of its own."""
    (filled(folder) / "shed.toml").write_text('water = "unknown"\n', encoding="utf-8")
    return folder


def draft_of(query: str, shed: Shed) -> Draft:
    return Draft.of(parse_qsl(query, keep_blank_values=True), shed)


def figures(query: str) -> list[str]:
    pairs = parse_qsl(query, keep_blank_values=True)
    return [value for key, value in pairs if key in ("p", "r", "a", "water", "carrier")]


def led(client: TestClient, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 303, answer.text
    return unescape(answer.headers["location"]).partition("?")[2]


# Fix: one press, one back


@pytest.mark.parametrize("mix", ["curdles", "water-decides", "acid-poured-last"])
def test_every_change_of_the_sheet_is_one_press(
    served: tuple[TestClient, Desk, Path], mix: str
) -> None:
    """Each press leads to the very tank that `fix` found: rates, order, water, what is new."""
    from chem.desk.takes import fixes_of

    _, desk, _ = served
    asked = draft_of(f"mix=mixes/{mix}.toml", desk.shed)
    result = fixes_of(asked.mix(desk.shed), asked, desk.shed, Study(32))
    assert result.fixes
    takes = iter(takes_of(result, asked, desk.shed))
    for found in result.fixes:
        for tank in found.mixes:
            _, address = next(takes)
            taken = draft_of(address, desk.shed).mix(desk.shed)
            names = [a.product.name for a in tank.additions]
            assert [a.product.name for a in taken.additions] == names
            for mine, theirs in zip(taken.additions, tank.additions, strict=True):
                assert mine.rate.value == pytest.approx(theirs.rate.value, rel=2e-3)
            assert taken.carrier_L_per_m2 == pytest.approx(tank.carrier_L_per_m2, rel=2e-3)
            if found.lever == "water":
                own, rain = taken.water.parts
                assert own[1] == pytest.approx(found.factor, abs=0.01)
                assert "rain" in rain[0].name.lower()
    assert next(takes, None) is None


def test_a_change_is_taken_back_by_one_undo(served: tuple[TestClient, Desk, Path]) -> None:
    client, _, _ = served
    start = "mix=mixes/curdles.toml&w=takes"
    before = client.get(f"/mix?{start}").text
    page = client.get(f"/fix?{start}").text
    taken = [unescape(a) for a in re.findall(r'<a class="button" href="/mix\?([^"]+)"', page)][1:]
    assert taken
    for address in taken:
        client.get(f"/mix?{address}")
        back = led(client, f"/mix?{address}&undo=1")
        now = figures(back)
        first = re.search(r'href="/forecast\?([^"]+)"', before)
        assert first is not None and now == figures(unescape(first[1]))


def test_an_acid_is_poured_kept_and_read_by_the_command_line(tmp_path: Path) -> None:
    """Nothing is written until Save; then the acid has a product file of its own."""
    (filled(tmp_path) / "products").mkdir()
    shed = Shed(tmp_path)
    guarded, desk = build(tmp_path, KEY, frozenset({HOST}), draws=16)
    client = client_of(guarded)
    try:
        asked = f"/ph?{MIX}&to=4.5&with=citric acid"
        page = client.get(asked).text
        found = re.search(r'<a class="button strong" href="/mix\?([^"]+)"', page)
        assert found is not None and 'id="titration-title"' in page
        address = unescape(found[1])
        dosed = draft_of(address, shed).mix(shed)
        names = [a.product.name for a in dosed.additions]
        assert any("itric acid" in name for name in names)
        assert list((tmp_path / "products").iterdir()) == []
        lower = forecast(dosed, count=16).ph.median
        assert lower == pytest.approx(4.5, abs=0.15)
        version = re.search(r'name="version" value="(\w+)"', client.get(f"/mix?{address}").text)
        assert version is not None
        saved = client.post(f"/save?{address}", data={"version": version[1]}, headers=OWN)
        assert saved.status_code == 303
        kept = read_mix(tmp_path / "mixes" / "stays-clear.toml")
        assert [a.product.name for a in kept.additions] == names
        assert [f.name for f in (tmp_path / "products").iterdir()]
        assert forecast(kept, count=16).ph.median == pytest.approx(lower, abs=1e-6)
    finally:
        desk.close()


# What else a mix may hold


def test_what_is_left_of_an_earlier_tank_is_poured(served: tuple[TestClient, Desk, Path]) -> None:
    client, desk, folder = served
    text = (EXAMPLES / "stays-clear.toml").read_text(encoding="utf-8")
    row = '\n[[add]]\nleftover = "hazes-overnight.toml"\namount = "8 gal"\nage = "1 day"\n'
    (folder / "mixes" / "topped.toml").write_text(text + row, encoding="utf-8")
    draft = draft_of("mix=mixes/topped.toml", desk.shed)
    assert draft_of(draft.query(), desk.shed) == draft
    mine, theirs = draft.mix(desk.shed), read_mix(folder / "mixes" / "topped.toml")
    assert mine.leftovers[0].share == theirs.leftovers[0].share > 0.0
    assert forecast(mine, count=16).ph == forecast(theirs, count=16).ph
    page = client.get("/mix?mix=mixes/topped.toml")
    assert page.status_code == 200 and "Left of " in page.text
    added = led(client, f"/mix?{MIX}&jug=left:mixes/hazes-overnight.toml&add=1")
    assert "wrong-jug[" in (shown := client.get(f"/mix?{added}").text)
    assert re.search(r'data-wrong="jug\[\d\]\.amount">[^<]*how much is left', shown)


def test_several_waters_stay_several(served: tuple[TestClient, Desk, Path]) -> None:
    _, desk, folder = served
    text = (EXAMPLES / "stays-clear.toml").read_text(encoding="utf-8")
    blend = 'water = [{file = "soft.toml", share = "60 %"}, {file = "saline.toml", share = "rest"}]'
    path = folder / "mixes" / "blend.toml"
    path.write_text(re.sub(r'water = ".*"', blend, text), encoding="utf-8")
    draft = draft_of("mix=mixes/blend.toml", desk.shed)
    assert shares_of(draft.texts["water"]) == [("soft.toml", "60 %"), ("saline.toml", "rest")]
    assert draft.mix(desk.shed).water == read_mix(path).water
    changed = changed_to(draft.mix(desk.shed), draft, draft.mix(desk.shed), {})
    assert changed == draft


def test_a_problem_stands_beside_its_field(served: tuple[TestClient, Desk, Path]) -> None:
    client, _, _ = served
    page = client.get(f"/mix?{MIX}&carrier=2 buckets&tank=9 wells").text
    for key, word in (("carrier", "2 buckets"), ("tank", "9 wells")):
        beside = re.search(rf'data-wrong="{key}">([^<]+)</p>', page)
        assert beside is not None and beside[1].strip(), key
        assert word in unescape(page)
    moved = client.get(f"/move?{MIX}&carrier=2 buckets").json()
    assert set(moved["wrong"]) == {"carrier"}


# Numbered sheets


@pytest.mark.parametrize("door", ["jar", "pour"])
def test_a_sheet_is_numbered_and_recorded_by_its_number(tmp_path: Path, door: str) -> None:
    guarded, desk = build(own(tmp_path), KEY, frozenset({HOST}), draws=16)
    client = client_of(guarded)
    try:
        asking = client.get(f"/{door}?{MIX}").text
        assert "Give it a number" in asking and not desk.records.book.exists
        led_to = client.post(f"/number?{MIX}&door={door}", headers=OWN).headers["location"]
        number = dict(parse_qsl(led_to.partition("?")[2]))["number"]
        assert re.fullmatch(r"J-\d{4}-\d+", number)
        sheet = client.get(led_to).text
        assert number in sheet and "Give it a number" not in sheet
        # The file changes afterwards: the number still means what was printed.
        path = tmp_path / "mixes" / "stays-clear.toml"
        path.write_text(path.read_text(encoding="utf-8").replace("gal/1000", "L/100"))
        today = client.get("/").text
        assert number in today and "15 min look" in today
        form = {"seen": "clear", "after": "15 min", "lot-0": "B24"}
        assert client.post(f"/saw?number={number}", data=form, headers=OWN).status_code == 303
        (entry,) = desk.records.book.entries()
        assert entry.number == number and entry.mix.lots[0] == "B24"
        assert entry.mix.carrier == desk.records.book.mix_of(number).mix.carrier
        assert "4 h look" in client.get("/").text
        late = {"seen": "clear", "after": "1 day"}
        assert client.post(f"/saw?number={number}", data=late, headers=OWN).status_code == 303
        assert "await a result" not in client.get("/").text
        assert client.get("/saw?number=J-0101-99").status_code == 422
    finally:
        desk.close()


# Labels


def test_what_was_understood_stands_beside_each_line(
    served: tuple[TestClient, Desk, Path],
) -> None:
    client, _, _ = served
    text = f"GUARANTEED ANALYSIS\n{LABELS['Calcium liquor']}\nMoondust 4 %"
    page = client.post("/label", data={"name": "Calcium liquor", "text": text}, headers=OWN).text
    rows = dict(re.findall(r"<tr[^>]*><td>([^<]*)</td><td>([^<]*)</td></tr>", unescape(page)))
    assert "9" in rows["Nitrate nitrogen 9 %"] and "calcium nitrate" in str(rows)
    assert rows["Moondust 4 %"].startswith("?") and "Questions" in page
    blank = client.post("/label", data={"name": "", "text": text}, headers=OWN)
    assert blank.status_code == 422 and "left blank" in blank.text and "Moondust" in blank.text


def test_nothing_typed_is_lost_where_a_file_is_refused(
    served: tuple[TestClient, Desk, Path],
) -> None:
    client, _, folder = served
    form = {"name": "Odd one", "text": "as printed", "toml": 'name = "Odd one"\nguarantee = 3\n'}
    told = client.post("/product", data=form, headers=OWN)
    assert told.status_code == 422 and "guarantee = 3" in told.text and "as printed" in told.text
    assert not (folder / "odd-one.toml").exists()
    water = {"name": "Well", "ph": "wet", "hardness": "250 mg/L as CaCO3", "ions.Ca": "68 mg/L"}
    told = client.post("/water", data=water, headers=OWN)
    assert told.status_code == 422 and "68 mg/L" in told.text
    assert re.search(r'data-wrong="ph">[^<]+</p>', told.text)
    assert client.post("/water", data={**water, "ph": "7.9"}, headers=OWN).status_code == 303
    again = client.post("/water", data={**water, "ph": "7.9"}, headers=OWN)
    assert again.status_code == 422 and "lies there already" in again.text


def test_a_report_fills_the_fields(served: tuple[TestClient, Desk, Path]) -> None:
    client, _, _ = served
    text = "pH 7.8\nCalcium 68 mg/L\nColour 5 Hazen"
    page = client.post("/report", data={"report": text}, headers=OWN).text
    assert 'name="ph" value="7.8"' in page and 'name="ions.Ca" value="68 mg/L"' in page
    assert "Colour 5 Hazen" in page


def test_a_photograph_is_bounded_and_its_reader_may_be_missing(
    served: tuple[TestClient, Desk, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    client, _, _ = served
    sent = {"photo": ("label.png", b"x" * (LARGEST_PHOTO + 10), "image/png")}
    told = client.post("/photo", data={"name": "A"}, files=sent, headers=OWN)
    assert told.status_code == 413 and "10 MB" in told.text
    fits = {"photo": ("label.png", b"x" * 2_000_000, "image/png")}
    monkeypatch.setattr("shutil.which", lambda _: None)
    told = client.post("/photo", data={"name": "A"}, files=fits, headers=OWN)
    assert told.status_code == 422 and "not on this machine" in told.text
    assert "not on this machine" in client.get("/label").text


def test_a_photograph_is_read_like_a_pasted_text(
    served: tuple[TestClient, Desk, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    client, _, _ = served
    text = f"GUARANTEED ANALYSIS\n{LABELS['Potash feed']}"
    monkeypatch.setattr("shutil.which", lambda _: "/usr/bin/tesseract")
    seen: list[bytes] = []

    def read(path: Path) -> tuple[str, list[str]]:
        seen.append(path.read_bytes())
        return text, ["line 3: is `7` right? It was not read surely."]

    monkeypatch.setattr("chem.label.photo.read_photo", read)
    sent = {"photo": ("label.png", b"picture", "image/png")}
    page = client.post("/photo", data={"name": "Potash feed"}, files=sent, headers=OWN).text
    assert seen == [b"picture"]
    assert "not read surely" in page and "monopotassium phosphate" in page


# Sprayers


def test_a_catch_by_speed_is_kept_as_a_sprayer(tmp_path: Path) -> None:
    """gal/min per nozzle = gal/acre x mph x in / 5940 (extension sprayer calibration guides)."""
    guarded, desk = build(filled(tmp_path), KEY, frozenset({HOST}), draws=16)
    client = client_of(guarded)
    try:
        form = {"catch": "0.4 gal", "time": "1 min", "width": "20 in", "speed": "4 mph"}
        page = client.get("/calibrate", params=form).text
        expected = 0.4 * 5940 / (4 * 20)
        figures = [float(f) for f in re.findall(r"<td[^>]*>([0-9.]+)</td>", page)]
        assert any(f == pytest.approx(expected, rel=0.01) for f in figures)
        wrong = client.get("/calibrate", params={**form, "speed": "quick"})
        assert wrong.status_code == 422 and re.search(r'data-wrong="speed">[^<]+', wrong.text)
        kept = client.post("/sprayer", data={**form, "name": "Boom", "tank": "50 gal"}, headers=OWN)
        assert kept.status_code == 303
        from chem.tank import read_sprayer

        sprayer = read_sprayer(tmp_path / "boom.toml")
        assert sprayer.carrier_L_per_m2 * 1e4 / 9.353958 == pytest.approx(expected, rel=1e-3)
        assert "Boom" in client.get("/").text
    finally:
        desk.close()


def test_a_shed_is_started_and_taken_from(tmp_path: Path) -> None:
    guarded, desk = build(filled(tmp_path), KEY, frozenset({HOST}), draws=16)
    client = client_of(guarded)
    try:
        catch = {"catch": "2 gal", "area": "1000 sq ft", "name": "Boom", "tank": "50 gal"}
        assert client.post("/sprayer", data=catch, headers=OWN).status_code == 303
        assert "Set once for every mix" in client.get("/").text
        told = {"water": "soft.toml", "sprayer": "boom.toml", "temperature": "warm"}
        assert client.post("/shed", data=told, headers=OWN).status_code == 422
        assert not (tmp_path / "shed.toml").exists()
        told["temperature"] = "60 F"
        assert client.post("/shed", data=told, headers=OWN).status_code == 303
        assert client.post("/shed", data=told, headers=OWN).status_code == 422
        assert "Set once for every mix" not in client.get("/").text
        new = draft_of("p=urea-liquor.toml&r=4 fl oz/1000 sq ft", desk.shed).mix(desk.shed)
        assert new.water.name == "Soft town water, invented"
        assert new.carrier_L_per_m2 == pytest.approx(2 * 3.785411784 / 92.90304, rel=1e-3)
        assert desk.records.book.path.parent == tmp_path
        path = tmp_path / "shed.toml"
        path.write_text(path.read_text(encoding="utf-8") + 'units = "metric"\n', encoding="utf-8")
        page = client.get(f"/mix?{MIX}").text
        assert " fl oz (" not in page and " L" in page
    finally:
        desk.close()


# The notebook, and pages of their own


def test_the_notebook_says_what_would_teach_most_and_exports(tmp_path: Path) -> None:
    guarded, desk = build(own(tmp_path), KEY, frozenset({HOST}), draws=16)
    client = client_of(guarded)
    try:
        assert client.get("/export").status_code == 422
        assert "first jar teaches most" in client.get("/notebook").text
        look = {"seen": "clear", "after": "1 h"}
        assert client.post(f"/saw?{MIX}", data=look, headers=OWN).status_code == 303
        page = client.get("/notebook").text
        assert "first jar teaches most" not in page and "1 entry." in page
        assert "Nothing is kept that fits" in client.get("/notebook?words=gel").text
        told = client.get("/export")
        assert len(json.loads(told.text)["entries"]) == 1
        assert "attachment" in told.headers["content-disposition"]
        assert client.get("/score").status_code == 200
    finally:
        desk.close()


def test_the_page_to_send_runs_under_its_own_policy(
    served: tuple[TestClient, Desk, Path],
) -> None:
    client, _, _ = served
    page = client.get(f"/page?{MIX}")
    policy = page.headers["content-security-policy"]
    assert "'sha256-" in policy and "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy and "<script>" in page.text and "src=" not in page.text


def test_why_and_ph_are_drawn(served: tuple[TestClient, Desk, Path]) -> None:
    client, _, _ = served
    why = client.get("/why?mix=mixes/curdles.toml").text
    assert 'id="origins-title"' in why and scripts_in(why) == []


def test_while_a_hand_moves_the_answer_is_that_of_the_first_draws() -> None:
    """Each tank starts from the one before, and comes out as if it had not."""
    from chem.tank import with_carrier

    mix = read_mix(EXAMPLES / "five-products.toml")
    study = Study(256)
    for factor in (1.0, 1.3, 0.9):
        tried = with_carrier(mix, factor)
        moved = forecast(tried, study=study.moving(64))
        alone = forecast(tried, study=study.few(64))
        assert moved.ph.median == pytest.approx(alone.ph.median, abs=1e-6)
        for time, chance in alone.probability.items():
            assert moved.probability[time] == pytest.approx(chance, abs=1e-3)
            assert moved.clogs[time] == pytest.approx(alone.clogs[time], abs=1e-3)
    rest, fresh = forecast(tried, study=study), forecast(tried, count=256)
    assert rest.probability == pytest.approx(fresh.probability, abs=1e-3)
    assert rest.ph.as_dict() == pytest.approx(fresh.ph.as_dict(), abs=1e-3)


def test_a_new_mix_with_an_acid_is_saved(tmp_path: Path) -> None:
    guarded, desk = build(tmp_path, KEY, frozenset({HOST}), draws=16)
    client = client_of(guarded)
    try:
        asked = (
            "empty=1&name=First&carrier=2 gal/1000 sq ft&p=urea-liquor.toml&r=4 fl oz/1000 sq ft"
            "&a=citric acid&r=0.5 g/L"
        )
        saved = client.post(f"/save?{asked}", data={"version": NO_VERSION}, headers=OWN)
        assert saved.status_code == 303, saved.text
        assert len(read_mix(tmp_path / "first.toml").additions) == 2
    finally:
        desk.close()


def test_a_jug_to_buy_is_held_against_what_is_owned(tmp_path: Path) -> None:
    """Beside each one owned: as much of a nutrient, its cost, the mixes it stands in for."""
    (tmp_path / "products").mkdir()
    demo = Path("data/demo/products")
    for name in ("iron-citric", "iron-edta", "urea-liquor"):
        shutil.copy(demo / f"{name}.toml", tmp_path / "products")
    guarded, desk = build(filled(tmp_path), KEY, frozenset({HOST}), draws=16)
    client = client_of(guarded)
    try:
        asked = "carrier=2 gal/1000 sq ft&water=soft.toml&jug=products/iron-edta.toml"
        page = client.get(f"/shelf?{asked}").text
        assert "In place of what you own" in page and "as much Fe" in page
        assert "seller" in page.lower() and scripts_in(page) == []
    finally:
        desk.close()


# What an attack may try at the doors above


@pytest.mark.parametrize("file", ["../outside.toml", "/etc/passwd", "mixes/../../outside.toml"])
def test_no_door_leads_out_of_the_shed(served: tuple[TestClient, Desk, Path], file: str) -> None:
    client, _, folder = served
    secret = 'name = "secret of another folder"\ncarrier = "2 gal/1000 sq ft"\n'
    (folder.parent / "outside.toml").write_text(secret, encoding="utf-8")
    jug = {"p": "urea-liquor.toml", "r": "4 fl oz/1000 sq ft", "carrier": "2 gal/1000 sq ft"}
    asked = [
        ("/mix", {"l": file, "r": "4 gal", "tank": "50 gal", "carrier": "2 gal/1000 sq ft"}),
        ("/mix", {**jug, "water": file}),
        ("/mix", {**jug, "water": f"soft.toml = 50 %; {file} = rest"}),
        ("/why", {**jug, "water": file}),
        ("/fix", {"mix": file}),
        ("/page", {"mix": file}),
        ("/ph", {**jug, "to": "5", "with": file}),
        ("/shelf", {"carrier": "2 gal/1000 sq ft", "water": file}),
        ("/shelf", {"carrier": "2 gal/1000 sq ft", "water": "unknown", "jug": file}),
        ("/rinse", {"before": file, "after": "mixes/curdles.toml"}),
        ("/saw", {"mix": file}),
        ("/jar", {"mix": file}),
    ]
    for path, given in asked:
        told = client.get(path, params=given)
        assert told.status_code in (200, 422), path
        assert "secret of another folder" not in told.text and "root:" not in told.text, path
        assert "pH of the full tank" not in told.text, path


def test_no_name_that_is_entered_is_script(tmp_path: Path) -> None:
    evil = "<script>alert(1)</script><img src=x onerror=alert(2)>\"'><b>"
    guarded, desk = build(own(tmp_path), KEY, frozenset({HOST}), draws=16)
    client = client_of(guarded)
    try:
        water = {"name": evil, "ph": "7.9", "sampled": "2001-01-01"}
        kept = client.post("/water", data=water, headers=OWN)
        catch = {"catch": "0.4 gal", "area": "1000 sq ft", "name": f"Boom {evil}"}
        made = client.post("/sprayer", data=catch, headers=OWN)
        assert kept.status_code == made.status_code == 303
        look = {"seen": "clear", "after": "1 h", "note": evil, "lot-0": evil}
        assert client.post(f"/saw?{MIX}", data=look, headers=OWN).status_code == 303
        spray = {"site": evil, "who": evil, "area": evil}
        refused = client.post(f"/sprayed?{MIX}", data=spray, headers=OWN)
        told = [refused, client.post("/report", data={"report": f"pH {evil}"}, headers=OWN)]
        told.append(client.post("/product", data={"name": evil, "toml": evil}, headers=OWN))
        paths = ["/", "/calibrate", "/notebook", "/wall", "/season", f"/mix?{MIX}", f"/saw?{MIX}"]
        paths += [f"/calibrate?catch={evil}", f"/ph?{MIX}&to={evil}&with={evil}"]
        paths += [f"/jar?number={evil}", f"/shelf?carrier={evil}", f"/rinse?sump={evil}"]
        for answer in [*told, *(client.get(path) for path in paths)]:
            assert answer.status_code in (200, 422), answer.url
            assert scripts_in(answer.text) == [], answer.url
        export = client.get("/export")
        assert export.headers["content-type"].startswith("application/json")
    finally:
        desk.close()


def test_a_page_is_light(served: tuple[TestClient, Desk, Path]) -> None:
    """Under 150 kB with style and script, every door of a mix."""
    client, _, _ = served
    beside = sum(len(client.get(f"/static/desk.{kind}").content) for kind in ("css", "js"))
    for door in ("mix", "forecast", "why", "fix", "pour", "jar", "ph", "saw"):
        whole = len(client.get(f"/{door}?mix=mixes/curdles.toml").content) + beside
        assert whole < 150_000, door
