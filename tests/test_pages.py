"""Pages: well-formed, escaped, small, in DESIGN's order, made of the sheets' own sentences."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pytest

from chem.advice.jar import jar_of
from chem.advice.why import why
from chem.forecast import TIMES_S, Forecast, Study, forecast
from chem.sheets import Block, Sheet, as_html, as_text
from chem.sheets.forecast import forecast_sheet
from chem.sheets.page.drawing import TEXTURES, Drawing
from chem.sheets.page.forecast import forecast_page
from chem.sheets.page.pictures import chance_picture, limit_picture, origins_picture
from chem.sheets.page.pouring import code, marks, pouring_text
from chem.sheets.rules import two_figures
from chem.sheets.tank import load_title
from chem.sheets.why import plain, why_sheet
from chem.tank import TankLine, read_mix

ROOT = Path(__file__).parent.parent
EXAMPLES = ROOT / "examples"
MADE = datetime(2026, 4, 12, 7, 10)
SVG = re.compile(r"<svg.*?</svg>", re.S)
EVIL = '<script>alert("x")</script> & "liquor" <b>'
VOID = {"meta", "br", "input", "link", "img", "hr"}


class Nested(HTMLParser):
    """Told off where a tag is closed that is not open; keeps the text and every attribute."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(k, v or "") for k, v in attrs]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(k, v or "") for k, v in attrs]

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open[-1] == tag, (self.open, tag)
        self.open.pop()

    def handle_data(self, data: str) -> None:
        if not {"style", "script"} & set(self.open):
            self.text.append(data)


def parsed(page: str) -> Nested:
    found = Nested()
    found.feed(page)
    found.close()
    assert not found.open
    return found


@pytest.fixture(scope="module")
def found() -> dict[str, Forecast]:
    names = ("five-products", "curdles", "hazes-overnight", "smells-of-ammonia")
    return {n: forecast(read_mix(EXAMPLES / f"{n}.toml"), count=64) for n in names}


def page_of(result: Forecast, **more: str) -> str:
    return forecast_page(result, jar_of(result), made=MADE, **more)  # type: ignore[arg-type]


def test_a_page_is_well_formed_small_and_asks_for_nothing(found: dict[str, Forecast]) -> None:
    for result in found.values():
        page = page_of(result)
        inside = parsed(page)
        assert len(page.encode()) < 120_000
        assert (
            "://" not in page and "@import" not in page and "url(" not in page.replace("url(#", "")
        )
        assert not {k for k, _ in inside.attributes} & {"src", "href", "style", "onclick"}
        assert not {"link", "img", "iframe"} & set(inside.tags)
        ids = [v for k, v in inside.attributes if k == "id"]
        assert len(ids) == len(set(ids))
        assert inside.tags.count("h1") == 1 and inside.tags.count("main") == 1
        policy = next(v for k, v in inside.attributes if v.startswith("default-src"))
        assert policy.startswith("default-src 'none'") and "unsafe" not in policy


def test_a_page_is_in_the_order_of_phone_and_print(found: dict[str, Forecast]) -> None:
    page = page_of(found["curdles"], number="J-0412-2")
    order = [
        "12 Apr 2026, 07:10", "data ", "J-0412-2", "Calcium on top", "Will curdle within 4 hours",
        "A rule is broken", "Do this next", "Pour in this order", "poured at",
        "pH of the full tank",
        "read at the last pour", "Chance against time", "If it goes wrong", "The jar at the same",
        "Taken for granted", "Nutrients", "Always", "jar test at the same ratio decides",
    ]  # fmt: skip
    body = page[page.index("<main>") :]
    places = [body.index(words) for words in order]
    assert places == sorted(places)


def test_every_sentence_of_the_sheet_is_on_the_page(found: dict[str, Forecast]) -> None:
    for result in found.values():
        said = " ".join(" ".join(parsed(page_of(result)).text).split())
        sheet = forecast_sheet(result)
        for words in sheet.answer:
            assert words in said
        for block in sheet.blocks:
            for words in (*block.paragraphs, *block.items):
                assert " ".join(words.split()) in said, words


def added(result: Forecast) -> list[TankLine]:
    """What is poured besides water."""
    return [line for line in result.loads[0].lines if line.kind != "water"]


@pytest.mark.parametrize("units", ["us", "metric", "both"])
def test_names_are_told_never_run(units: str, found: dict[str, Forecast]) -> None:
    result = found["five-products"]
    mix = result.mix
    evil = replace(
        mix,
        name=EVIL,
        additions=tuple(
            replace(a, product=replace(a.product, name=f"{EVIL} {i}"))
            for i, a in enumerate(mix.additions)
        ),
    )
    told = replace(
        result,
        mix=evil,
        loads=tuple(
            replace(o, lines=tuple(replace(line, product=EVIL) for line in o.lines))
            for o in result.loads
        ),
        notes=(EVIL,),
        solids=tuple(replace(s, name=EVIL) for s in result.solids),
    )
    page = forecast_page(told, jar_of(told), units, made=MADE, number=EVIL)  # type: ignore[arg-type]
    inside = parsed(page)
    assert inside.tags.count("script") == 1 and "b" in inside.tags and EVIL not in page
    assert any(EVIL in text for text in inside.text)
    sheet = Sheet(EVIL, [EVIL], [Block(EVIL, [EVIL], [EVIL], [(EVIL, EVIL), (EVIL, EVIL)])])
    assert "script" not in parsed(as_html(sheet)).tags


def test_a_trace_of_a_nutrient_is_told_without_a_power_of_ten() -> None:
    assert two_figures(1.5e-5) == "0.000015" and two_figures(9.96e-5) == "0.000100"
    assert two_figures(0.00045) == "0.00045" and two_figures(0.0) == "0.0"


def test_one_ink_one_paper() -> None:
    """No colour but a warmth of the paper: what is told is told by words, weight and texture."""
    style = (ROOT / "chem" / "sheets" / "page" / "page.css").read_text(encoding="utf-8")
    inks = re.findall(r"#[0-9a-f]{3,6}\b", style)
    assert len(inks) > 10
    for ink in inks:
        digits = ink[1:] if len(ink) == 7 else "".join(2 * d for d in ink[1:])
        rgb = [int(digits[i : i + 2], 16) for i in (0, 2, 4)]
        assert max(rgb) - min(rgb) <= 24, ink
    assert not re.search(r"\b(red|green|yellow|orange|blue|rgb|hsl)\b", style)


def test_a_metric_page_holds_no_us_measure(found: dict[str, Forecast]) -> None:
    for result in found.values():
        page = forecast_page(result, jar_of(result), "metric", made=MADE)
        said = " ".join(parsed(page).text)
        assert not re.search(r"\b(fl oz|tsp|oz wt|gal|sq ft|acre|lb)\b|\d F\b", said), said


def drawings(found: dict[str, Forecast]) -> Iterator[Drawing]:
    for result in found.values():
        yield chance_picture(result)
        limit = limit_picture(result)
        assert limit is not None
        yield limit


def test_pictures_are_small_and_told_in_words(found: dict[str, Forecast]) -> None:
    for drawing in drawings(found):
        root = ElementTree.fromstring(drawing.alone())
        space = "{http://www.w3.org/2000/svg}"
        assert len((root.findtext(f"{space}desc") or "").split()) > 8
        assert root.findtext(f"{space}title") and root.attrib["role"] == "img"
        assert len(drawing.figure().encode()) < 5_000
        for shape in root.iter():
            for key in ("fill", "stroke"):
                ink = shape.attrib.get(key, "none")
                assert ink in ("none", "currentColor", "var(--sheet,#fff)") or ink.startswith(
                    "url(#"
                )
    assert len(TEXTURES) >= 5


def test_the_picture_tells_the_very_chances_of_the_answer(found: dict[str, Forecast]) -> None:
    for result in found.values():
        course = {t: (shows, blocks) for t, shows, blocks in result.course}
        for name, t in TIMES_S.items():
            assert course[t] == (result.probability[name], result.clogs[name])
        shows, blocks = [p for _, p, _ in result.course], [p for _, _, p in result.course]
        assert shows == sorted(shows) and blocks == sorted(blocks)


def test_only_salts_within_a_thousandth_of_their_limit_are_drawn(
    found: dict[str, Forecast],
) -> None:
    result = found["five-products"]
    far = replace(
        result,
        solids=tuple(
            replace(s, si=replace(s.si, median=-90.0, p05=-95.0, p95=-80.0)) for s in result.solids
        ),
    )
    assert limit_picture(far) is None
    assert "How near its limit" not in page_of(far)


def test_where_ions_come_from_is_drawn_and_told() -> None:
    result = why(read_mix(EXAMPLES / "curdles.toml"), count=32)
    drawn = origins_picture(result, plain)
    assert drawn is not None
    for ion in result.solids[0].ions:
        assert plain(ion.component) in drawn.what
    assert "Where each ion comes from" in as_html(why_sheet(result))
    assert "Where each ion comes from".upper() not in as_text(why_sheet(result))


def test_the_code_holds_the_list_as_plain_text(found: dict[str, Forecast]) -> None:
    result = found["five-products"]
    text = pouring_text(result, "us", "J-0412-2")
    assert text.startswith("J-0412-2 ") and "://" not in text
    for line in result.loads[0].lines:
        assert line.kind == "water" or line.product[:32] in text
    assert "125 fl oz" in text
    drawn = code(text, "code")
    assert 2_000 < len(drawn) < 30_000


def test_a_mix_that_must_never_be_poured_gets_no_list_no_code_no_jar() -> None:
    study = Study(32)
    mix = read_mix(EXAMPLES / "curdles.toml")
    result = replace(forecast(mix, study=study), refused="sulfur_in_acid")
    page = forecast_page(result, jar_of(result), made=MADE)
    assert "poured at" not in page and "QR code" not in page and "The jar at" not in page
    assert "<script" not in page
    assert "Never in one tank: toxic gas" in page


def test_amounts_stand_in_the_page_as_numbers(found: dict[str, Forecast]) -> None:
    result = found["five-products"]
    values = [float(v) for k, v in parsed(page_of(result)).attributes if k == "data-amount"]
    poured = [line.amount for line in result.loads[0].lines if line.amount is not None]
    assert values == pytest.approx([amount / 1000.0 for amount in poured], rel=1e-8)
    assert len(values) == len(result.mix.additions) + 3  # the adjuvant, water first and last


def test_every_load_has_its_column_and_stands_in_the_code() -> None:
    mix = replace(read_mix(EXAMPLES / "stays-clear.toml"), area_m2=2.5 * 4046.8564224)
    result = forecast(mix, count=16)
    assert len(result.loads) == 2
    page = page_of(result)
    assert "the full tank" in page or "each of" in page
    assert (
        "the last" in page and page.count('class="blank more"') == len(marks(result.loads[0])) + 1
    )
    text = pouring_text(result, "us")
    for load in result.loads:
        assert load_title(load, "us") in text
