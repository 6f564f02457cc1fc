"""Every reader of what people write takes any text or any tables: read, or refused in words."""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable, Iterator
from datetime import date
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chem import units
from chem.cli.kinds import FORMS
from chem.errors import InputProblem
from chem.files import SolutionForm, answers_of, raw_of, rewritten, validate
from chem.forecast import read_after, read_seen
from chem.label.paste import read_paste
from chem.notebook.season import read_cap
from chem.notebook.written import read_ladder, read_looks_written, read_moment, read_reading
from chem.notebook.written import read_when as read_day
from chem.tank.report import read_report

PIECES = [
    *("0", "7", "12.5", "1,5", "<", "-", " to ", "e9", "1e400", "nan", "inf", "%", " ", ":", ","),
    *("gal", "fl oz", "/1000 sq ft", "L/ha", "mg/L", "as CaCO3", "ppm", "F", "C", "lb/gal", "pH"),
    *(
        "$",
        "per ",
        "mesh",
        "mph",
        "day",
        "N=",
        "haze",
        "right away",
        "2026-04-12",
        "T07:30",
        "\x1b",
    ),
]
TEXT = st.text(max_size=24) | st.lists(st.sampled_from(PIECES), max_size=9).map("".join)
READERS: dict[str, Callable[[str], object]] = {
    "seen": lambda text: read_seen(text, "seen"),
    "after": lambda text: read_after(text, "after"),
    "looks": lambda text: read_looks_written([text], [text]),
    "reading": lambda text: read_reading(text, after=text, step=text, temperature=text),
    "ladder": lambda text: read_ladder(text, agent=text, jar=text, by=None, after=None),
    "moment": lambda text: read_moment(text, "start"),
    "day": read_day,
    "cap": read_cap,
    "report": lambda text: read_report(text).unread and None,
    "label": lambda text: read_paste(text, "Any, invented").toml and None,
}
for _name, _read in inspect.getmembers(units, inspect.isfunction):
    if _name.startswith("read_"):
        _more = {"ion": "NO3"} if "ion" in inspect.signature(_read).parameters else {}
        READERS[_name] = lambda text, read=_read, more=_more: read(text, "here", **more)


def numbers(found: object) -> Iterator[float]:
    """Every number in what a reader gave."""
    if isinstance(found, bool | str | None):
        return
    if isinstance(found, int | float):
        yield float(found)
    elif isinstance(found, tuple | list):
        for one in found:
            yield from numbers(one)
    elif hasattr(found, "__dataclass_fields__"):
        for name in found.__dataclass_fields__:
            yield from numbers(getattr(found, name))


@pytest.mark.parametrize("name", READERS)
@settings(max_examples=64, deadline=None)
@given(text=TEXT)
def test_any_text_is_read_as_finite_numbers_or_refused(name: str, text: str) -> None:
    try:
        found = READERS[name](text)
    except InputProblem as problem:
        assert all(p.wrong and p.instead for p in problem.problems)
        return
    assert all(math.isfinite(number) for number in numbers(found)), found


LEAF = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), TEXT, st.just(date(2026, 4, 12))
).filter(lambda v: v is not None)
VALUE = st.recursive(
    LEAF, lambda v: st.lists(v, max_size=3) | st.dictionaries(TEXT, v, max_size=3), max_leaves=6
)


@pytest.mark.parametrize("form", [*FORMS.values(), SolutionForm], ids=lambda f: f.__name__)
@settings(max_examples=20, deadline=None)
@given(data=st.data())
def test_any_tables_are_a_form_or_refused_by_key(form: Any, data: st.DataObject) -> None:
    keys = st.sampled_from(list(form.model_fields))
    raw = data.draw(st.dictionaries(keys, VALUE, max_size=5))
    try:
        validate(form, raw, "any.toml")
    except InputProblem as problem:
        assert all(p.read.startswith("any.toml, ") and p.wrong for p in problem.problems)
        return
    if form is not SolutionForm:
        assert rewritten(raw_of(form, answers_of(form, raw), raw)) is not None
