"""The "derived from" line: a list of source materials, parted and named."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

from chem.label.printed.vocabulary import any_of, is_one, table
from chem.reference import catalogue, ingredient, vague_sources

STARTS = re.compile(
    r"(?:^|(?<=\s))\(?(?:(?:all )?(?:primary )?(?:plant )?(?:nutrients?(?: sources?)? )|"
    r"fertili[sz]ers? |this product )?(?:is |are )?derived from\b"
    r"(?:\s*/\s*d[e\u00e9]riv[e\u00e9]e?s? (?:de|du|des)\b)?\s*[:;.=-]*\s*",
    re.IGNORECASE,
)
MAY_START = re.compile(
    rf"^(?:{any_of('heads_a_list')}\s*[:=]|{any_of('leads_a_list')}(?= [a-z]|\s*$|\W))\s*",
    re.IGNORECASE,
)
_OPEN = re.compile(r"(?:[,;:&/+-]|\b(?:and|or|plus|from|with))$|^$", re.IGNORECASE)
_AND = re.compile(r"\s+(?:and|plus|or|&)\s+|\s*/\s*|\s*\+\s*|\s*&\s*", re.IGNORECASE)


@dataclass(frozen=True)
class Entry:
    """One entry of the list, where it stands in the joined text, and what it was found to be.

    found: a source's key, several to choose from, "" for words that name nothing, None unknown.
    """

    text: str
    start: int
    end: int
    found: str | tuple[str, ...] | None
    notes: tuple[str, ...] = ()


def is_open(text: str) -> bool:
    """Whether a list that ends so must go on."""
    return _OPEN.search(text.strip()) is not None


def across(text: str, after: str) -> str:
    """The name that would go over the end of a line."""
    tail = re.split(r"[,;]|\band\b", text.lower())[-1]
    head = re.split(r"[,;.]|\band\b", after.lower())[0]
    return f"{tail} {head}"


def are_apart(text: str, after: str) -> bool:
    """Whether a line's end parts two names, so that a list needs no commas."""
    if is_open(text) or not re.search(r"\w", after):
        return False
    tail, head = resolves(text)[-1:], resolves(after)[:1]
    return all((*tail, *head)) and find_source(across(text, after)) is None


def resolves(text: str) -> list[bool]:
    """For each item of a text, whether it is a known name."""
    return [item.found is not None for item in items_of(text)]


def items_of(text: str) -> list[Entry]:
    """Part a list at commas, semicolons, full stops and `and`, and name every item."""
    out: list[Entry] = []
    for start, end in _chunks(text):
        whole = _item(text, start, end)
        if whole.found is not None:
            out.append(whole)
            continue
        out += [_item(text, a, b) for a, b in _parted(text, start, end)]
    named = [item for item in out if re.search(r"\w", item.text)]
    return [_as_vague(item) for item in _shared_heads(named)]


@cache
def find_source(name: str) -> str | tuple[str, ...] | None:
    """A source's key, the choices of a name used for several, or None."""
    known = catalogue()
    squeezed, several = _squeezed()
    for spelling in _spellings(name):
        if spelling in known.ambiguous:
            return known.ambiguous[spelling]
        if spelling in known.source_names:
            return known.source_names[spelling]
        short = _squeeze(spelling)
        if short in several:
            return several[short]
        if short in squeezed:
            return squeezed[short]
    turned = {key for form in _spellings(name) if (key := _turned().get(_in_any_order(form)))}
    return turned.pop() if len(turned) == 1 else None


def near_sources(name: str) -> tuple[str, ...]:
    """Sources with a name like the one given."""
    known = catalogue()
    return tuple(known.look_alikes(" ".join(name.lower().split()), known.source_names))


def _spellings(name: str) -> Iterator[str]:
    plain = " ".join(name.lower().strip(" .,;:*").split())
    forms = [plain, plain.replace("sulph", "sulf"), re.sub(r"\s*\([^()]*\)\s*", " ", plain).strip()]
    forms.append(re.sub(r"\s*\(.*\)$", "", plain))
    inside = re.fullmatch(r"(.+?)\s*\(([^()]+)\)", plain)
    if inside:
        forms += [f"{inside[1]} {inside[2]}", inside[2]]
    held = re.fullmatch(
        r"(?:o,? ?[op]-)?(edta|dtpa|hedta|eddha)[- ](?:chelated )?(.+?)(?: chelate)?", plain
    )
    if held:
        forms.append(f"{held[2]} {held[1]}")
    by = re.fullmatch(
        r"(?:chelated )?(.+?),? (?:chelated|complexed|chelate) ?(?:by|with|of|as)? (.+)", plain
    )
    if by:
        forms.append(f"{by[1]} {by[2]}")
    forms += [re.sub(r"^(?:chelated )?(.+?) chelate$", r"\1", form) for form in list(forms)]
    forms += [re.sub(r"^chelated ", "", form) for form in list(forms) if "dta" in form]
    forms += [
        f"{metal} {found[2]}"
        for form in list(forms)
        if (found := re.fullmatch(r"([a-z]{1,2})[- ](.+)", form))
        for metal, symbols in table("metals").items()
        if found[1] in symbols
    ]
    forms += [re.sub(r"^(?:chelated|complexed|stabili[sz]ed) (?:with|by) ", "", plain)]
    forms += [form.replace("sulph", "sulf") for form in list(forms)]
    forms += [
        re.sub(r"^(?:technical|soluble|liquid|water soluble|greenhouse grade) ", "", form)
        for form in list(forms)
    ]
    forms += [form[:-1] for form in list(forms) if re.search(r"[^s]s$", form)]
    yield from dict.fromkeys(" ".join(form.split()) for form in forms if form)


def _squeeze(name: str) -> str:
    return re.sub(r"[^a-z0-9]", "", name)


@cache
def _squeezed() -> tuple[dict[str, str], dict[str, tuple[str, ...]]]:
    """Names without spaces and hyphens, and formulas, where they mean one thing."""
    known = catalogue()
    one: dict[str, set[str]] = {}
    for name, key in known.source_names.items():
        one.setdefault(_squeeze(name), set()).add(key)
    for source in known.sources.values():
        if not source.mixture_of and not source.bound:
            one.setdefault(_squeeze(source.formula.lower()), set()).add(source.key)
    several = {_squeeze(name): choices for name, choices in known.ambiguous.items()}
    return {name: keys.pop() for name, keys in one.items() if len(keys) == 1}, several


def _in_any_order(name: str) -> tuple[str, ...]:
    """`zinc EDTA ammonium` and `sulfate of zinc`: words of a name, whose order says nothing."""
    words = re.split(r"[\s-]+", name)
    return tuple(sorted(word for word in words if word != "of"))


@cache
def _turned() -> dict[tuple[str, ...], str]:
    """Sources by the words of their names of two words or more, where these mean one thing."""
    found: dict[tuple[str, ...], set[str]] = {}
    for name, key in catalogue().source_names.items():
        found.setdefault(_in_any_order(name), set()).add(key)
    return {words: keys.pop() for words, keys in found.items() if len(words) > 1 == len(keys)}


def _chunks(text: str) -> Iterator[tuple[int, int]]:
    """Places between commas, semicolons, bullets and full stops outside brackets."""
    balanced = text.count("(") == text.count(")")
    depth, start = 0, 0
    for i, char in enumerate(text):
        depth += {"(": 1, ")": -1}.get(char, 0) if balanced else 0
        stop = char == "." and text[i + 1 : i + 2] in ("", " ")
        chemical = char == "," and re.search(r"\b[op]$", text[:i]) and text[i + 1 : i + 2] in "opOP"
        if depth <= 0 and not chemical and (char in ",;\u2022" or stop):
            yield start, i
            start = i + 1
    yield start, len(text)


def _parted(text: str, start: int, end: int) -> Iterator[tuple[int, int]]:
    """A chunk parted at `and`, unless two neighbours make one name (`mono- and di-...`)."""
    at = start
    for found in _AND.finditer(text, start, end):
        yield at, found.start()
        at = found.end()
    yield at, end


def _item(text: str, start: int, end: int) -> Entry:
    raw = text[start:end]
    lead = re.match(r"[\s*+.-]*(?:and\s+|plus\s+|&\s*)?", raw, re.IGNORECASE)
    start += lead.end() if lead else 0
    words = STARTS.sub("", " ".join(text[start:end].split())).strip(" .,;:*")
    if words.count("(") != words.count(")"):
        words = words.strip("()")
    if not re.search(r"\w", words) or is_one("no_source", words):
        return Entry(words, start, end, "")
    found = find_source(words)
    if found is None and ingredient(words) is not None and not _AND.search(words):
        found = words
    return Entry(words, start, end, found)


def _as_vague(item: Entry) -> Entry:
    """A name that may be several liquids is one that is known: each of them is tried."""
    if isinstance(item.found, str):
        return item
    vague = next((s for s in _spellings(item.text) if s in vague_sources()), None)
    return item if vague is None else replace(item, found=vague)


def _shared_heads(items: list[Entry]) -> list[Entry]:
    """`iron, zinc and manganese sulfates` -> each metal with the anion of the last."""
    out, metals = list(items), table("metals")
    for i, item in enumerate(out):
        if item.found is not None or item.text.lower() not in metals:
            continue
        for later in out[i + 1 :]:
            first, _, rest = later.text.partition(" ")
            if first.lower() in metals and rest:
                name = f"{item.text} {rest}".lower()
                note = (f"`{item.text}` is read as `{item.text} {rest}`",)
                out[i] = Entry(item.text, item.start, item.end, find_source(name), note)
                break
            if later.text.lower() not in metals:
                break
    return out
