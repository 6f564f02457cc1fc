"""The text of product, water and mix files: from answers, or as blank forms with comments.

Answers are kept by key, as typed and checked: `name`, `guarantee.calcium`, `chelated.iron.agent`,
`also.1.name`, `add.2.rate`. In a blank form `#key = ...` without a space is a line to be put to
use by deleting its `#`; `# words` is prose.
"""

from __future__ import annotations

import json
import os
import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from itertools import count, takewhile
from pathlib import Path

from chem.errors import InputProblem, Problem

MAX_SLUG = 60
NITROGEN = (
    "total nitrogen",
    "ammoniacal nitrogen",
    "nitrate nitrogen",
    "water insoluble nitrogen",
    "urea nitrogen",
    "other water soluble nitrogen",
)
LINES = (
    *NITROGEN,
    "available phosphate",
    "soluble potash",
    "calcium",
    "magnesium",
    "sulfur",
    "boron",
    "chlorine",
    "cobalt",
    "copper",
    "iron",
    "manganese",
    "molybdenum",
    "nickel",
    "silicon",
    "sodium",
    "zinc",
)
"""The guaranteed analysis in the order of a US label (AAPFCO uniform label, value from memory)."""
CHELATED = ("calcium", "magnesium", "cobalt", "copper", "iron", "manganese", "nickel", "zinc")
IONS = {
    "Ca": "calcium",
    "Mg": "magnesium",
    "Na": "sodium",
    "K": "potassium",
    "NH4": "ammonium",
    "HCO3": "bicarbonate",
    "SO4": "sulfate",
    "Cl": "chloride",
    "NO3": "nitrate",
    "PO4": "phosphate",
    "Fe": "iron",
    "Mn": "manganese",
    "B": "boron",
    "Zn": "zinc",
    "Cu": "copper",
    "Si": "silicon",
}
"""The ions of a water report, cations before anions before traces (common practice, no source)."""
ION_EXAMPLES = {"Ca": "68 mg/L", "NO3": "2 mg/L as N", "Si": "12 mg/L as SiO2"}

_BARE = re.compile(r"(?:0|[1-9][0-9]{0,8})(?:\.[0-9]{1,6})?")


def quoted(text: str) -> str:
    """A TOML basic string; JSON escapes all that TOML asks for, except the delete character."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def figure(text: str) -> str:
    """A plain number bare, anything else (`<0.1`, `5-6`, `2 %`) as a string."""
    return text if _BARE.fullmatch(text) else quoted(text)


def file_name(name: str) -> str:
    """`Iron & "Mn", 5 %` -> `iron-mn-5.toml`. Raises: InputProblem where no letter is left."""
    plain_text(name)
    parted = unicodedata.normalize("NFKD", name.removesuffix(".toml")).casefold()
    letters = "".join(c for c in parted if not unicodedata.combining(c))
    words = re.findall(r"[^\W_]+", letters)
    slug = "-".join(words)[:MAX_SLUG].strip("-")
    if not slug:
        raise InputProblem(
            Problem(f"`{name}`", "no letter or number to name a file by", "the name on the label")
        )
    return f"{slug}.toml"


def plain_text(text: str) -> str:
    """The text itself. Raises: InputProblem where it is not text that a file can hold."""
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        raise InputProblem(
            Problem(ascii(text), "some of its letters can't be read", "plain UTF-8 text")
        ) from None
    return text


@cache
def _other_terms(line: str) -> tuple[str, ...]:
    """`calcium` -> (`CaO`,): the other terms in which labels guarantee the same element."""
    from chem.reference import catalogue

    return tuple(g.key for g in catalogue().guarantees.values() if g.same_as == line)


def guarantee_terms(line: str, text: str) -> tuple[str, str]:
    """Line and figure to write: `calcium`, `14 CaO` -> (`CaO`, `14`)."""
    for term in _other_terms(line):
        found = re.fullmatch(rf"(.*[0-9%])\s*(?:as\s+)?{term}", text)
        if found:
            return term, found[1]
    return line, text


def product_text(answers: Mapping[str, str]) -> str:
    """A product file from answers."""
    head = _pairs(answers, ("name", "form", "basis", "density", "specific_gravity"))
    head += _pairs(answers, ("net_weight", "net_volume"))
    weighed = "net_weight" in answers and "net_volume" in answers
    known = weighed or "density" in answers or "specific_gravity" in answers
    if not known and answers.get("form") != "dry":
        head.append('density = "unknown"')
    head += _pairs(answers, ("ph",), figure) + _pairs(answers, ("ph_at",))
    if "sources" in answers:
        head.append(f"sources = {_array(answers['sources'])}")
    head += _pairs(answers, ("usual_rate", "rate_range", "price"))
    guarantee, chelated = [], []
    for line in LINES:
        if f"guarantee.{line}" in answers:
            term, text = guarantee_terms(line, answers[f"guarantee.{line}"])
            guarantee.append(f"{quoted(term)} = {figure(text)}")
        if f"chelated.{line}" in answers:
            percent = figure(answers[f"chelated.{line}"])
            agent = answers.get(f"chelated.{line}.agent")
            entry = f"{{ percent = {percent}, agent = {quoted(agent)} }}" if agent else percent
            chelated.append(f"{quoted(line)} = {entry}")
    also = [
        f"{quoted(answers[f'also.{n}.name'])} = {figure(answers[f'also.{n}.percent'])}"
        for n in takewhile(lambda n: f"also.{n}.percent" in answers, count(1))
    ]
    says = _pairs(answers, ("says.pour",))
    if "says.never_with" in answers:
        says.append(f"never_with = {_array(answers['says.never_with'])}")
    says += _pairs(answers, ("says.carrier_at_least",))
    return _tables(head, {"guarantee": guarantee, "chelated": chelated, "also": also, "says": says})


def water_text(answers: Mapping[str, str]) -> str:
    """A water file from answers."""
    head = _pairs(answers, ("name",)) + _pairs(answers, ("ph",), figure)
    head += _pairs(answers, ("alkalinity", "hardness"))
    return _tables(head, {"ions": _pairs(answers, [f"ions.{ion}" for ion in IONS])})


def mix_text(answers: Mapping[str, str]) -> str:
    """A mix file from answers."""
    head = _pairs(answers, ("name", "water", "carrier", "tank", "temperature", "coldest"))
    text = _tables(head, {})
    for n in takewhile(lambda n: f"add.{n}.product" in answers, count(1)):
        added = _pairs(answers, (f"add.{n}.product", f"add.{n}.rate"))
        text += "\n[[add]]\n" + "\n".join(added) + "\n"
    adjuvant = _pairs(answers, ("adjuvant.name", "adjuvant.rate"))
    adjuvant += _pairs(answers, ("adjuvant.ph_at_most", "adjuvant.ph_at_least"), figure)
    return text + ("\n[adjuvant]\n" + "\n".join(adjuvant) + "\n" if adjuvant else "")


def _pairs(
    answers: Mapping[str, str], keys: Iterable[str], write: Callable[[str], str] = quoted
) -> list[str]:
    return [f"{k.rpartition('.')[2]} = {write(answers[k])}" for k in keys if k in answers]


def _array(joined: str) -> str:
    return "[" + ", ".join(quoted(word.strip()) for word in joined.split(",")) + "]"


def _tables(head: list[str], tables: Mapping[str, list[str]]) -> str:
    blocks = ["\n".join(head)]
    blocks += ["\n".join([f"[{name}]", *lines]) for name, lines in tables.items() if lines]
    return "\n\n".join(blocks) + "\n"


def there_already(path: Path, what: str) -> InputProblem:
    """The problem to raise before anything of the user's is written over."""
    return InputProblem(
        Problem(
            f"`{path}`",
            f"there is a {what} of that name already",
            "another name, or `--force` to write over it",
        )
    )


def cannot_write(path: Path, why: str) -> InputProblem:
    """The problem to raise where a folder takes no file."""
    return InputProblem(
        Problem(
            f"`{path}`",
            f"it can't be written ({why})",
            "a folder that you may write to, with `--in DIR`",
        )
    )


def place(path: Path, text: str, read: Callable[[Path], object], *, force: bool) -> None:
    """Write a file whole or not at all, after `read` has read it back.

    Raises:
        InputProblem: what `read` finds wrong, a file in the way, a folder that can't be written.
    """
    partial = path.with_name(f".{path.stem}-{os.getpid()}.toml")
    try:
        partial.write_text(text, encoding="utf-8", newline="\n")
        read(partial)
        if path.exists() and not force:
            raise there_already(path, "file")
        os.replace(partial, path)
    except InputProblem as problem:
        raise InputProblem(
            [
                Problem(p.read.replace(partial.name, path.name), p.wrong, p.instead)
                for p in problem.problems
            ]
        ) from None
    except OSError as error:
        raise cannot_write(path, error.strerror or str(error)) from None
    finally:
        partial.unlink(missing_ok=True)


_HOW = """\
# Lines that begin with # and no space are optional:
# delete the # to use one, and put your own value there.
# Units are read as printed. A decimal point, no comma.
"""

_EXAMPLE_PERCENT = {
    "total nitrogen": "8.5",
    "nitrate nitrogen": "6.0",
    "urea nitrogen": "1.0",
    "calcium": "9.0",
    "iron": "2.0",
}


def _blank_product(name: str) -> str:
    lines = "\n".join(f'#"{line}" = {_EXAMPLE_PERCENT.get(line, "0.5")}' for line in LINES)
    return f"""\
# A product, as its label prints it.
{_HOW}
# REQUIRED: the name on the label
name = {quoted(name)}

# solution, suspension, emulsion, pesticide or dry
#form = "solution"

# REQUIRED unless dry: such as "11.2 lb/gal", "1.34 kg/L",
# or "unknown": then a wide range is tried
density = ""
# used where density is left "":
#specific_gravity = 1.34
#net_weight = "22.4 lb"
#net_volume = "2 gal"

# from the safety data sheet; of the product neat,
# or of its "1 %" or "10 %" dilution
#ph = 5.5
#ph_at = "neat"

# REQUIRED: the "derived from" line, such as
# ["calcium nitrate", "urea"]; [] if the label has none
sources = [""]

# what goes on, and the range the label allows
#usual_rate = "4 fl oz/1000 sq ft"
#rate_range = "3-6 fl oz/1000 sq ft"
#price = "$20 per gal"
#care = ["keep from freezing"]
#lot = "B24"
# what no key holds; kind: composition, rule, rate,
# reading or other
#unread = [{{ line = 12, text = "printed", kind = "rate" }}]

# the percent below is by weight; "w/v" where the label
# says by volume
#basis = "w/w"

# The guaranteed analysis, percent. In place of a line an
# EU label may print "CaO", "MgO", "SO3", "Na2O", "SiO2",
# "P" or "K".
[guarantee]
{lines}

# The part of a metal that is chelated, and the agent if
# the label names it
[chelated]
#"iron" = {{ percent = 2.0, agent = "EDTA" }}

# Other ingredients the label declares, percent
[also]
#"citric acid" = 6.0

# The label's own rules. pour is "first" or "last".
[says]
#pour = "last"
#never_with = ["sulfur"]
#carrier_at_least = "1 gal/1000 sq ft"
#carrier_at_most = "5 gal/1000 sq ft"

# What the maker answered or you measured
[known]
#ph = 5.6
#density = "11.3 lb/gal"
"""


def _blank_water(name: str) -> str:
    ions = "\n".join(
        f'#{ion} = "{ION_EXAMPLES.get(ion, "2 mg/L")}"  # {word}' for ion, word in IONS.items()
    )
    return f"""\
# A water, as its report or a test strip gives it.
{_HOW}# The more is filled in, the less has to be guessed.

# REQUIRED: what you call it
name = {quoted(name)}

#ph = 7.9
# mg/L needs its basis; meq/L and ranges are read too
#alkalinity = "210 mg/L as CaCO3"
#hardness = "120-250 mg/L as CaCO3"

# mg/L, mmol/L or meq/L; "as N" or "as SiO2" where the
# report says so; "<0.5 mg/L" where nothing was found
[ions]
{ions}
"""


def _blank_mix(name: str) -> str:
    return f"""\
# A mix: what goes into the tank, in the order poured.
{_HOW}# Files are looked for beside this one, then on the demo
# shelf: "../products/iron.toml", "urea-liquor.toml".

# REQUIRED: what you call it
name = {quoted(name)}

# a water file, or "unknown"
water = "unknown"

# REQUIRED: spray volume, products included, such as
# "2 gal/1000 sq ft", "40 gal/acre" or "400 L/ha"
carrier = ""
# "water first" if the products come on top of it
#fill = "to mark"

# how full, products included
#tank = "50 gal"
#temperature = "60 F"
# where it stands overnight
#coldest = "40 F"

# REQUIRED: a product file and its rate, such as
# "4 fl oz/1000 sq ft" or "1 qt/100 gal". One such block
# for each product; "" as rate = the label's usual rate.
[[add]]
product = ""
rate = ""

# An adjuvant of which only the pH window is judged
#[adjuvant]
#name = "spreader"
#rate = "0.25 % v/v"
#ph_at_most = 8.0
#ph_at_least = 4.0
"""


_BLANKS = {"product": _blank_product, "water": _blank_water, "mix": _blank_mix}


def blank(kind: str, name: str) -> str:
    """A blank form (`product`, `water` or `mix`) that holds every key, with comments."""
    return _BLANKS[kind](plain_text(name))
