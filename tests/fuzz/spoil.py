"""What makes a file or a command line odd: bytes, words, values of tables, options."""

from __future__ import annotations

import json
import random
import re
import tomllib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import tomlkit

from fuzz.seeds import FEW

EVIL = "<b id=evil>"
NEVER = {"desk", "selfcheck"}
"""Commands that serve until stopped (`desk.py` asks), or read no file (`test_laboratory.py`)."""
NOT_VARIED = {"scheduler", "referee", "photo", "port"}
"""Options that need a cluster, 800 MB of library or another program."""
NUMBERS = [
    "0", "-0", "-1", "1e-320", "1e-9", "1e308", "1e400", "-1e400", "nan", "inf", "-inf", "+nan",
    "99999999999999999999", "0x7fffffffffffffff", "1_000", "1,5", "1.234,5", "1e", ".", "-", "00",
    "5-", "9-3", "<0", ">1", "<<5", "½", "٣", "1\u202f000", "9" * 400, "1" + "0" * 5000,
]  # fmt: skip
TEXTS = [
    "", " ", "\t", "\x00", "\x1b[31mred", "\x9b2J", "\u202eturned", "\ud7ff", "\U0001f9ea", "\\",
    '"', "'", "`", "%s%n", "{0}", "{{x}}", "${HOME}", "=HYPERLINK(1)", f"{EVIL}x</b>", "&lt;",
    "../../../x", "/", "//", "~", ".", "..", "mix.toml", "product.toml", "nowhere.toml", "-", "--",
    "--help", "1 gal", "5 %", "3 oz", "12 L/ha", "1e400 gal/acre", "nan L", "inf %", "-5 L/ha",
    "0 L/ha", "1e-300 mL/ha", "5 ppm", "as CaCO3", "210 mg/L as unobtainium", "60 F", "-500 C",
    "1e9 F", "2026-02-30", "9999-99-99", "1 day", "1e300 days", "calcium nitrate", "nitric acid",
    "sodium hypochlorite", "calcium", "never", "first", "x" * 300, "x" * 70_000, "a/" * 2000,
    "[" * 500, "(" * 500, "\u0301" * 200, "\u00df", "\u0130", "J-0412-2", "J-9999-99999999999999",
]  # fmt: skip
BYTES = [
    b"\x00", b"\xff", b"\xfe\xff", b"\xef\xbb\xbf", b"\r", b"\r\n", b"\x1b[2J", b"\xc2\x9b",
    "\u202e".encode(), "\u2028".encode(), b"\x85", b"[[", b"]]", b'"""', b"'''", b"#", b"=",
    b".a" * 30, b"{", b"}" * 9, b"%", b"nan", b"inf", b"1979-05-27T07:32:00Z", b"\\u0000",
    b"\\ud800", b"\\U00110000",
]  # fmt: skip
TOKEN = re.compile(rb"\w+|\s+|[^\w\s]")


def spoil_bytes(data: bytes, draw: random.Random, _: bytes) -> bytes:
    """Bytes flipped, cut, doubled, put in."""
    out = bytearray(data)
    for _turn in range(draw.choice((1, 1, 2, 4, 16))):
        at, size = draw.randrange(len(out) + 1), draw.choice((1, 2, 8, 64))
        match draw.randrange(6):
            case 0 if at < len(out):
                out[at] ^= 1 << draw.randrange(8)
            case 1:
                del out[at : at + size]
            case 2:
                out[at:at] = out[at : at + size] * draw.choice((1, 2, 50))
            case 3:
                out[at:at] = draw.choice(BYTES)
            case 4 if draw.random() < 0.3:
                del out[at:]
            case _:
                out[at : at + size] = draw.randbytes(size)
    return bytes(out)


def spoil_tokens(data: bytes, draw: random.Random, other: bytes) -> bytes:
    """Words and marks swapped, doubled, left out, taken from another file, made odd."""
    words = TOKEN.findall(data) or [b""]
    others = TOKEN.findall(other) or [b""]
    for _turn in range(draw.choice((1, 1, 2, 3, 8))):
        at, to = draw.randrange(len(words)), draw.randrange(len(words))
        match draw.randrange(6):
            case 0:
                words[at], words[to] = words[to], words[at]
            case 1:
                words[at : at + draw.choice((1, 3, 20))] = [b""]
            case 2:
                words[at:at] = words[to : to + draw.choice((1, 5, 60))]
            case 3:
                begin = draw.randrange(len(others))
                words[at:at] = others[begin : begin + draw.choice((1, 5, 60))]
            case 4:
                figures = [i for i, w in enumerate(words) if w.isdigit()] or [at]
                words[draw.choice(figures)] = draw.choice(NUMBERS).encode()
            case _:
                words[at] = draw.choice(TEXTS).encode()
    return b"".join(words)


def spoil_values(data: bytes, draw: random.Random, other: bytes) -> bytes:
    """A value of the tables made odd, moved, left out or of another kind, else tokens."""
    try:
        tables = _tables(data)
        another = list(_places(_tables(other)))
    except (ValueError, RecursionError):
        return spoil_tokens(data, draw, other)
    for _turn in range(draw.choice((1, 1, 1, 2, 4))):
        places = list(_places(tables))
        if not places:
            break
        holder, key = draw.choice(places)
        match draw.randrange(8):
            case 0:
                del holder[key]
            case 1 if another:
                there, name = draw.choice(another)
                holder[key] = there[name]
            case 2 if isinstance(holder, dict):
                holder[draw.choice((*TEXTS[:40], str(key) + "s", "add", "name"))] = holder[key]
            case 3:
                holder[key] = [holder[key]] * draw.choice((1, 2, 40))
            case 4:
                holder[key] = {str(draw.choice(TEXTS[:30])): holder[key]}
            case _:
                holder[key] = odd_value(draw, holder[key])
    try:
        if data.lstrip().startswith(b"{"):
            return json.dumps(tables).encode()
        return tomlkit.dumps(tables).encode()
    except (ValueError, TypeError, AttributeError):
        return spoil_tokens(data, draw, other)


def _tables(data: bytes) -> Any:
    text = data.decode()
    return json.loads(text) if text.lstrip().startswith("{") else tomllib.loads(text)


def _places(tables: Any) -> Iterator[tuple[Any, Any]]:
    """Every holder of a value with its key or place, however deep."""
    keys = list(tables) if isinstance(tables, dict) else range(len(tables))
    for key in keys:
        yield tables, key
        if isinstance(tables[key], dict | list):
            yield from _places(tables[key])


def odd_value(draw: random.Random, was: object) -> object:
    """Something that may stand in a value's place."""
    match draw.randrange(7):
        case 0:
            return draw.choice((True, False, [], {}, [[]], "", 0, -1))
        case 1:
            return draw.choice((1e-320, 1e-9, 1e308, 1e30, 2**63 - 1, -(2**62), 10**18, 0.1))
        case 2:
            return draw.choice((float("nan"), float("inf"), -float("inf")))
        case 3:
            return draw.choice(TEXTS)
        case 4:
            return draw.choice(NUMBERS)
        case 5 if isinstance(was, str):
            return re.sub(r"\d[\d.,]*", lambda _: draw.choice(NUMBERS), was, count=1)
        case _:
            if isinstance(was, int | float) and not isinstance(was, bool):
                return was * draw.choice((-1, 1e-9, 1e-3, 10, 1e3, 1e9))
            text = str(was)
            at = draw.randrange(len(text) + 1)
            return text[:at] + draw.choice(TEXTS) + text[at + draw.randrange(3) :]


SPOILERS: tuple[Callable[[bytes, random.Random, bytes], bytes], ...] = (
    spoil_bytes,
    spoil_tokens,
    spoil_values,
    spoil_values,
)


# ------------------------------------------------------------ options
@dataclass(frozen=True)
class Offered:
    """A command's options and arguments: (option or none, flag) by turns."""

    words: tuple[str, ...]
    options: tuple[tuple[str, bool], ...]
    arguments: int


def offered() -> list[Offered]:
    """Every command as typer knows it."""
    import typer

    from chem.cli.main import whole_app

    found: list[Offered] = []

    def walk(command: Any, words: tuple[str, ...]) -> None:
        if hasattr(command, "commands"):
            for name, below in command.commands.items():
                walk(below, (*words, name))
        elif words[0] not in NEVER:
            named = [p for p in command.params if p.param_type_name == "option"]
            options = tuple((p.opts[0], bool(p.is_flag)) for p in named if p.name not in NOT_VARIED)
            found.append(Offered(words, options, len(command.params) - len(named)))

    walk(typer.main.get_command(whole_app()), ())
    return found


USUAL: dict[str, tuple[str, ...]] = {
    "--add": ("urea", "product=3 fl oz/1000 sq ft", "iron-edta=1 L/ha", "calcium-nitrate"),
    "--rate": ("urea=1 L/ha", "iron=2 oz/acre"), "--carrier": ("2 gal/1000 sq ft", "400 L/ha"),
    "--sprayer": ("Boom",), "--water": ("soft.toml", "unknown", "water.toml"),
    "--tank": ("50 gal", "200 L"), "--area": ("2.6 acre", "1 ha"), "--temperature": ("50 F", "4 C"),
    "--coldest": ("40 F", "-3 C"), "--save": ("saved.toml",), "--for": ("15min", "4h", "24h"),
    "--read": ("6.2", "5-6"), "--html": ("page.html",), "--notebook": ("notebook.sqlite",),
    "--units": ("us", "metric", "both"), "--seed": ("1", "2"), "--in": (".", "jar", "tank"),
    "--with": ("citric acid", "potassium carbonate", "ammonia", "product.toml"),
    "--to": ("5", "7.5", "2026-12-31"), "--strength": ("50 %", "dry", "monohydrate"),
    "--svg": ("curve.svg",), "--keep": ("kept.toml",), "--size": ("500 mL", "1 pt"),
    "--jars": ("rates", "order"), "--ladder": ("citric acid", "0:6.8, 1 mL:6.1"),
    "--seen": ("haze", "flakes", "clear", "gel grit"), "--after": ("10min", "right away", "2h"),
    "--ph": ("6.5", "5-6"), "--poured": ("2", "1"), "--ph-by": ("strip", "meter"),
    "--ph-step": ("0.5",), "--lot": ("urea=B24",), "--sprayed": ("yes", "no"),
    "--when": ("2026-04-01",), "--used": ("50 gal",), "--left": ("4 gal",), "--sump": ("1 qt",),
    "--start": ("2026-11-04 07:30",), "--screens": ("clean", "grit"), "--paste": ("label.txt",),
    "--out": ("out.toml",), "--against": (".",), "--wanting": ("iron", "nitrate nitrogen"),
    "--use": ("urea,iron-edta",), "--csv": ("table.csv",), "--catch": ("22 fl oz, 22.5 fl oz",),
    "--time": ("30 s",), "--width": ("20 in",), "--speed": ("4 mph",), "--screen": ("50 mesh",),
    "--saturate": ("gypsum", "calcite"), "--kind": ("solid", "species"), "--schemas": ("schemas",),
    "--cap": ("N=4 lb/1000 sq ft",), "--from": ("2026-01-01",),
}  # fmt: skip
ARGUMENTS = (
    "mix.toml", "left.toml", "product.toml", "solution.toml", "export.json", "notebook.sqlite",
    "bare.toml", "pH", "SI gypsum", "gypsum", "calcium", "J-0412-2", "Wednesday",
)  # fmt: skip


def spoil_options(draw: random.Random, every: Sequence[Offered]) -> list[str]:
    """A command line of options in their usual form, one or two of them odd."""
    command = draw.choice(every)
    words = list(command.words)
    fitting = {"solution": "solution.toml", "label": "product.toml", "shelf": "product.toml",
               "edit": "mix.toml", "trace": "mix.toml", "rinse": "mix.toml"}  # fmt: skip
    for place in range(command.arguments):
        usual = fitting.get(words[0], "mix.toml") if place == 0 else "pH"
        if draw.random() < 0.9:
            words.append(usual if draw.random() < 0.7 else draw.choice(ARGUMENTS))
    if draw.random() < 0.05:
        words.append(draw.choice(TEXTS))
    drawn = draw.sample(command.options, min(len(command.options), draw.choice((1, 2, 3, 5))))
    for name, flag in drawn:
        if name == "--draws":
            words += [name, draw.choice(("0", "-1", "15", "17", "1e9", "x", "99999999999"))]
        elif flag:
            words.append(name)
        else:
            odd = draw.choice((TEXTS, NUMBERS)) if draw.random() < 0.5 else USUAL.get(name, TEXTS)
            value = draw.choice(list(odd))
            if draw.random() < 0.1:
                value += draw.choice(TEXTS)
            words += [name, value]
    if ("--draws", False) in command.options and "--draws" not in words:
        words += FEW
    if words[0] == "calibrate" and draw.random() < 0.7:
        words += ["--catch", "22 fl oz", "--time", "30 s", "--width", "20 in", "--speed", "4 mph"]
    return [_stays_here(word) for word in words]


def _stays_here(word: str) -> str:
    """A word of a command line as a system hands it over: no NUL, nothing far above the folder."""
    word = word.replace("\x00", "")
    return word.replace("../../../", "../") if not word.startswith(("/", "~")) else f".{word}"
