"""What the percentages on a label are percentages of."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

from chem.label.printed.derived import find_source
from chem.label.printed.lines import bare
from chem.label.printed.quantities import BASIS, Refused
from chem.label.printed.vocabulary import any_of, is_one, table, without
from chem.label.product import NITROGEN_FORMS
from chem.label.resolving import resolve_guarantee
from chem.reference import Guarantee, catalogue

AGENT_NAMES = frozenset(("EDTA", "DTPA", "HEDTA", "EDDHA"))
_HELD = re.compile(
    r"[,(]?\s*\b(?:fully )?(?:chelated|complexed)\s+(?:(?:by|with)\s+(?P<by>.+?)|"
    r"(?P<agent>edta|dtpa|hedta|eddha))\s*\)?$|"
    r",?\s*\(?\bas (?:an? )?(?P<with>[\w,-]+ )?chelate(?: (?:of|with|by) (?P<of>[^()]+))?\)?$|"
    r"\b(?P<in>edta|dtpa|hedta|eddha)[- ]chelated\b|"
    r"\((?:as )?(?:[a-z]{2}-)?(?P<held>(?:o,[op]-)?(?:edta|dtpa|hedta|eddha))\)|"
    r"(?:\bas (?:an? )?(?:[a-z]{2}-)?|(?<=\) ))(?P<as>(?:o,[op]-)?(?:edta|dtpa|hedta|eddha))$|"
    r"\(?\b(?:in )?(?:chelated|chelate|complexed)(?: form)?\b\)?",
    re.IGNORECASE,
)
_SOLUBLE = re.compile(
    r",?\s*\(?\b(?:(?:in )?water[- ]soluble|"
    r"(?:soluble(?: only)? in (?:the )?)?neutral (?:ammonium citrate)(?: and(?: in)?(?: water)?)?|"
    r"soluble in (?:2 ?% )?citric acid|(?:2 ?% )?citric acid soluble|"
    r"soluble(?: only)? in (?:cold )?water|in (?:cold )?water|soluble(?: in)?)\b\s*\)?",
    re.IGNORECASE,
)
_IN_WATER = re.compile(r"water[- ]soluble|soluble(?: only)? in (?:cold )?water", re.IGNORECASE)
_AS = re.compile(r"\b(?:expressed |calculated )?as ([A-Za-z0-9]{1,5})$", re.IGNORECASE)
_EXTRA = re.compile(
    rf"^(?:{any_of('leads')}\s*)+|^[dl]'|"
    r"\b(?:total|min\.?|minimum|content|guaranteed|by weight|expressed|calculated|w/w|m/m)$|"
    r"^total\b",
    re.IGNORECASE,
)
_FROM = re.compile(r"\s*\(?\b(?:derived )?from\b.*$", re.IGNORECASE)
_SLOW = re.compile(
    r"(?:slowly available|slow[- ]release|controlled[- ]release)(?: water soluble)? nitrogen", re.I
)
_NITROGEN = {
    "nitrate": "nitrate nitrogen",
    "ammonium": "ammoniacal nitrogen",
    "ammonia": "ammoniacal nitrogen",
    "urea": "urea nitrogen",
}
_NITROGEN_AS = re.compile(
    rf"n(?:itrogen)?(?: \(n\))?(?: as)? \(?(?:as )?({'|'.join(_NITROGEN)})\)?", re.IGNORECASE
)
NO_LINE = "no line of a guaranteed analysis has this name"
LONGEST_NEAR = 60
"""Letters of a name for which others like it are looked for; no source."""

LONGEST_NAME = 160
"""Letters of a nutrient's name in two languages, at most (common practice, no source)."""
OXIDES = frozenset(("CaO", "MgO", "Na2O", "SO3", "P2O5", "K2O"))
"""Oxides that labels give nutrients in."""

METALS = frozenset(("Ca", "Mg", "Fe", "Mn", "Zn", "Cu", "Co", "Ni"))
"""What chelating agents hold."""

_EDGE = " ,;:=/*+<>#'\"!-._"


@dataclass(frozen=True)
class Named:
    """What a percentage is of: a guarantee line, or another ingredient by its source's key.

    name: in the file's terms; chelated, soluble: only that part of it; agent: as stated.
    """

    name: str
    also: bool = False
    chelated: bool = False
    soluble: bool = False
    agent: str | None = None
    notes: tuple[str, ...] = ()

    @property
    def element_line(self) -> str:
        """The line that guarantees the same element in US terms."""
        line = None if self.also else catalogue().guarantees.get(self.name)
        return (line.same_as or line.key) if line else self.name

    @property
    def is_metal(self) -> bool:
        """Whether a chelating agent can hold it."""
        line = None if self.also else catalogue().guarantees.get(self.name)
        return line is not None and line.element in METALS


def agents_in(text: str) -> list[str]:
    """Chelating agents named in a text, in the file's terms."""
    rest, out = text.lower(), []
    for agent, parts in table("agents").items():
        pattern = "|".join(map(re.escape, parts))
        if re.search(pattern, rest):
            out.append(agent)
            rest = re.sub(rf"[\w,-]*(?:{pattern})[\w-]*", " ", rest)
    return out


def stripped(piece: str) -> str:
    """Without the marks around a name and brackets that have lost their partner."""
    words = bare(piece).strip(_EDGE)
    words = re.sub(r"\s(?:and|or|plus|with|of which|including|&)$", "", words, flags=re.I)
    while words.count("(") != words.count(")"):
        opened = words.count("(") > words.count(")")
        at = words.rfind("(") if opened else words.find(")")
        words = (words[:at] + " " + words[at + 1 :]).strip(_EDGE)
        words = " ".join(words.split())
    if words.startswith("(") and words.endswith(")") and ")" not in words[:-1]:
        words = words[1:-1].strip(_EDGE)
    words = re.sub(r"\(\s*[*%]?\s*\)", " ", words).replace("*", " ")
    return " ".join(words.split()).strip(_EDGE)


def is_filler(piece: str) -> bool:
    """Whether a piece of a line names nothing: marks and words such as `soluble in water`."""
    words = stripped(piece)
    words = _SOLUBLE.sub(" ", words)
    words = without("filler", re.sub(BASIS, " ", words, flags=re.IGNORECASE))
    return not re.search(r"\w", words)


@cache
def recognise(piece: str) -> Named | Refused:
    """A printed name -> the guarantee line or ingredient, with what its words add."""
    words = stripped(piece)
    if not words:
        return Refused(piece, "there is no name beside the figure")
    words = re.sub(r"\((?:expressed|calculated) as (\w+)\)", r"(\1)", words)
    words = re.sub(r"\s*\(([^()]*)\)", lambda m: "" if is_filler(m[1]) else m[0], words) or words
    agent, chelated = None, False
    form = _NITROGEN_AS.fullmatch(words)
    if form:
        return Named(_NITROGEN[form[1].lower()])
    plain = _line_of(words)
    soluble = _IN_WATER.search(words) is not None
    if plain is None:
        rest, agent, chelated = _without_agent(words)
        rest = _FROM.sub("", rest).strip(_EDGE)
        if chelated and is_filler(rest):
            return Named("", chelated=True, agent=agent)
        plain = _line_of(rest)
        if plain is None and _SLOW.search(rest):
            plain = Named("other water soluble nitrogen")
        plain = plain or _said_twice(words) or _as_source(rest) or _in_brackets(rest)
        if plain is None and not chelated and not _has_formula(words):
            source = _source(rest)
            if source is not None:
                return source
        if plain is None:
            return Refused(words, NO_LINE)
    if isinstance(plain, Refused):
        return plain
    symbol = re.search(r"\(([A-Z][a-z]?)\)\s+as\b", words)
    meant = resolve_guarantee(symbol[1]) if symbol else None
    if (
        meant
        and isinstance(plain, Named)
        and catalogue().guarantees[plain.name].element != (meant.element)
    ):
        return Refused(words, f"`{meant.key}` and `{plain.name}` on one line")
    if chelated and not plain.is_metal:
        return Refused(words, f"`{plain.name}` can't be chelated: of which metal is the figure?")
    if plain.name in (*NITROGEN_FORMS, "total nitrogen"):
        soluble = False
    chelated = chelated or plain.chelated
    return replace(plain, chelated=chelated, soluble=soluble and not chelated, agent=agent)


def _said_twice(words: str) -> Named | None:
    """A name in two languages, `Potash (K2O) / Potasse (K2O)`: what all that is known says."""
    if len(words) > LONGEST_NAME:
        return None
    parts = re.split(r"\s+/\s+", words)
    known = [n for n in map(recognise, parts) if isinstance(n, Named)] if parts[1:] else []
    if len({n.name for n in known}) == 1:
        return known[0]
    if parts[1:]:
        return None
    for gap in re.finditer(r"\s", words):
        one, other = _line_of(words[: gap.start()]), _line_of(words[gap.end() :])
        if isinstance(one, Named) and isinstance(other, Named):
            return one if one.name == other.name else None
    return None


def _has_formula(words: str) -> bool:
    """Whether a nutrient's formula stands in brackets: its name is then misprinted, no source."""
    return any(resolve_guarantee(inner) for inner in re.findall(r"\(([^()]*)\)", words))


def _as_source(words: str) -> Named | None:
    """`Calcium (Ca) as nitrate and calcium chloride`: the nutrient, where each may supply it."""
    name, _, held = words.rpartition(" as ")
    named = _line_of(name) if name else None
    if not isinstance(named, Named):
        return None
    notes = []
    for part in filter(None, (p.strip() for p in re.split(r"[,/()+]|\band\b", held.lower()))):
        source = find_source(part)
        supplied = catalogue().sources[source].supplies if isinstance(source, str) else ()
        if named.element_line in supplied:
            notes.append(f"from {source}")
        elif not (
            part in table("metals")
            or is_one("counter_ions", part)
            or is_filler(part)
            or isinstance(source, tuple)
        ):
            return None
    return replace(named, notes=(*named.notes, *notes))


def _in_brackets(words: str) -> Named | None:
    """`Boron ethanolamine (B)`: the nutrient in brackets, which the named source supplies."""
    found = re.fullmatch(r"(.+?)\s*\(([A-Z][a-z]?)\)", words)
    line = resolve_guarantee(found[2]) if found else None
    key = find_source(found[1]) if found and line else None
    source = catalogue().sources[key] if isinstance(key, str) else None
    if source is None or line is None or line.key not in source.supplies:
        return None
    return Named(line.key, chelated=bool(source.bound), notes=(f"from {source.key}",))


def _without_agent(words: str) -> tuple[str, str | None, bool]:
    stated, held = "", False
    while found := _HELD.search(words):  # `Chelated iron (EDTA)` says it twice
        held, stated = True, stated or next((t for t in found.groups() if t), "")
        words = stripped(" ".join((words[: found.start()] + " " + words[found.end() :]).split()))
    agents = agents_in(stated) if held else []
    return words, agents[0] if len(agents) == 1 else None, held


def _line_of(words: str) -> Named | Refused | None:
    """The guarantee line of a name without chelating agent."""
    for candidate in _candidates(words):
        line = resolve_guarantee(candidate)
        if line is not None and not re.fullmatch(r"[a-z]", candidate):  # `n`: what is left of Zn
            return Named(line.key)
    inside = re.fullmatch(r"(?P<name>[^()]*?)\s*\((?P<in>[^()]*)\)\s*(?P<more>[^()]*)", words)
    found_as = _AS.search(words)
    if inside:
        return _expressed(f"{inside['name']} {inside['more']}", inside["in"], words)
    if found_as:
        return _expressed(words[: found_as.start()], found_as[1], words)
    first, _, rest = words.partition(" ")
    for symbol, name in ((first, rest), (words.rpartition(" ")[2], words.rpartition(" ")[0])):
        if name and re.fullmatch(r"[A-Za-z0-9]{1,4}", symbol) and resolve_guarantee(symbol):
            named = _line_of(name)
            if isinstance(named, Named):
                both = _expressed(name, symbol, words)
                return both if isinstance(both, Named) else None
    return None


def _expressed(name: str, formula: str, words: str) -> Named | Refused | None:
    """A name with the formula it is expressed as: `Magnesium (MgO)`."""
    outer = next((x for c in _candidates(stripped(name)) if (x := resolve_guarantee(c))), None)
    inner = next((x for c in _candidates(stripped(formula)) if (x := resolve_guarantee(c))), None)
    if inner and "O" not in inner.expressed_as and re.search(r"\boxide\b", name, re.IGNORECASE):
        return Refused(words, f"an oxide, or {inner.key}?")
    if inner and outer and outer.key in OXIDES and outer.same_as == inner.key:
        return Refused(words, f"{outer.key}, or {inner.key}?", _pair(outer, inner))
    if outer is None:
        return Named(inner.key) if inner and is_filler(name) else None
    if inner is None or inner is outer or outer.key in NITROGEN_FORMS:
        return Named(outer.key) if inner or is_filler(formula) else None
    if inner.element != outer.element:
        return Refused(words, f"`{outer.key}` and `{inner.key}` on one line", _pair(outer, inner))
    note = f"`{words}` is read as {inner.key}, as its formula says"
    return Named(inner.key, notes=(note,))


def _pair(*lines: Guarantee) -> tuple[str, ...]:
    return tuple(line.key for line in lines)


def _candidates(words: str) -> Iterator[str]:
    """A name, then the same without the words that only qualify it."""
    seen = []
    trimmed = words
    for _ in range(3):
        seen.append(trimmed)
        seen.append(_SOLUBLE.sub(" ", trimmed))
        shorter = _EXTRA.sub(" ", trimmed).strip(_EDGE)
        if shorter == trimmed:
            break
        trimmed = shorter
    for candidate in list(seen):
        seen.append(_EXTRA.sub(" ", " ".join(candidate.split())).strip(_EDGE))
    for candidate in dict.fromkeys(" ".join(c.split()).strip(_EDGE) for c in seen):
        if candidate:
            yield candidate
            yield re.sub(r"(?<=[a-z]{4})s\b", "", candidate)
            if re.fullmatch(r"(?:ammoniacal|nitric|ureic)(?: n)?", candidate, re.IGNORECASE):
                yield candidate.split()[0] + " nitrogen"
            if "sulph" in candidate.lower():
                yield candidate.lower().replace("sulph", "sulf")


def _source(words: str) -> Named | Refused | None:
    for candidate in _candidates(words):
        found = find_source(candidate)
        if isinstance(found, str):
            if catalogue().sources[found].bound:
                return Refused(
                    words,
                    "percent of the metal or of the chelate?",
                    ("a line for the metal, and its chelated part",),
                )
            if catalogue().sources[found].formula in OXIDES:
                return Refused(words, "percent of the oxide that is meant, or of this source?")
            return Named(found, also=True)
        if isinstance(found, tuple):
            return Refused(words, "this name is used for more than one compound", found)
    return None


def near_names(words: str) -> tuple[str, ...]:
    """Nutrients and sources with names like the one given."""
    plain, known = " ".join(stripped(words).lower().split()), catalogue()
    if len(plain) > LONGEST_NEAR:
        return ()
    near = known.look_alikes(plain, known.guarantee_names)[:2]
    return tuple(near + known.look_alikes(plain, known.source_names)[:2])
