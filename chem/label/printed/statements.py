"""One statement of a label: what its percentages, grade and words say, before it is kept."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

from chem.label.printed.declared import AGENT_NAMES, Named, is_filler, recognise, stripped
from chem.label.printed.grade import graded
from chem.label.printed.lines import bare, doubtful_figure
from chem.label.printed.nitrogen import FORM_BEHIND, are_parts, as_form, with_percents
from chem.label.printed.quantities import NUMBER, QUANTITY, Quantity, Refused, basis_of, quantities
from chem.label.printed.records import Fact, fact
from chem.label.printed.stated import read_stated
from chem.label.printed.vocabulary import says
from chem.label.printed.words import chore, heading, is_idle
from chem.label.product import NITROGEN_FORMS
from chem.reference import ingredient

IN_WATER = re.compile(r"water[- ]soluble|soluble in water", re.IGNORECASE)
_AGENT_BEHIND = re.compile(
    r"\s*\((?:as |chelated (?:by|with) )?(?:(edta|dtpa|hedta|eddha)|chelated)\)", re.IGNORECASE
)
MIXED_UP = "which figure belongs to which name?"
UNREAD = "no rule reads this line"
NAMELESS = "a figure without a name"


@dataclass(frozen=True)
class Around:
    """What stands around a statement.

    dots_hide_points: the label prints figures such as `.05`; last: the line before it; waiting:
    names stand without their figures; analysed: the analysis has begun; dry: the product
    is weighed out, so that a bare ounce is a weight;
    percents: a heading says that figures are percent.
    """

    dots_hide_points: bool
    last: Named | None = None
    waiting: bool = False
    analysed: bool = False
    dry: bool = False
    percents: bool = False


@dataclass
class Outcome:
    """What one statement gives, before anything is done with it."""

    entries: list[tuple[Named, Quantity]] = field(default_factory=list)
    facts: list[Fact] = field(default_factory=list)
    grade: tuple[tuple[str, float], ...] = ()
    names: list[Named] = field(default_factory=list)
    values: list[Quantity] = field(default_factory=list)
    left: list[Refused] = field(default_factory=list)
    ignored: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    guessed: bool = False

    @property
    def productive(self) -> bool:
        """Whether it gives anything for the file."""
        return bool(self.entries or self.facts or self.grade)


def read_statement(text: str, cells: tuple[str, ...], around: Around) -> Outcome:
    """Read one statement; `cells` are the columns it was printed in."""
    out = Outcome()
    head = heading(text)
    if head is not None:
        basis = basis_of(head[0])
        if basis in ("w/w", "w/v"):
            out.facts.append(fact("basis", basis, f"percentages are {basis}"))
        out.ignored.append("a heading")
        text, cells = head[1], ()
        if not re.search(r"\w", text):
            return out
    text = with_percents(text)
    doubt = doubtful_figure(text)
    if doubt is not None:
        out.left.append(Refused(bare(text), *doubt))
        return out
    stated = read_stated(bare(text), around.dry)
    if stated is not None:
        out.facts += stated.facts
        out.left += stated.left
        out.ignored += stated.ignored
        out.problems += stated.problems
        return out
    text, out.grade = graded(text)
    if not re.search(r"\w", text):
        return out
    found = _once(text, list(quantities(text, around.dots_hide_points)))
    if _is_turned_round(text, found) or _is_mixed_up(cells):
        out.left.append(Refused(bare(text), MIXED_UP))
    elif found:
        _declared(text, found, around, out)
    elif not out.grade:
        _words(text, cells, around, out)
    elif re.search(r"[0-9]", text):
        out.left.append(Refused(bare(text), "figures beside the grade"))
    else:
        out.ignored.append("a title beside the grade")
    return out


def _declared(
    text: str, found: list[tuple[int, int, Quantity | Refused]], around: Around, out: Outcome
) -> None:
    """Match every percentage with the name before it, or else the one after it."""
    ends = [0, *(end for _, end, _ in found)]
    starts = [*(start for start, _, _ in found), len(text)]
    gaps: list[str | None] = [text[a:b] for a, b in zip(ends, starts, strict=True)]
    both = None if len(found) != 2 or not is_filler(gaps[0] or "") else _of_both(found, gaps)
    if both is not None:
        out.entries += [
            (both, quantity) for _, _, quantity in found if isinstance(quantity, Quantity)
        ]
        return
    found = _all_on_one_basis(found)
    last = around.last
    tail = recognise(re.split(r"[,;]", gaps[-1] or "")[0])
    behind_all = len(found) > 1 and isinstance(tail, Named) and tail.name and not tail.also
    if (
        behind_all
        and not is_filler(gaps[0] or "")
        and isinstance(recognise(gaps[0] or ""), Refused)
    ):
        out.ignored.append(f"`{bare(gaps[0] or '').strip()}`: words before the figures")
        gaps[0] = None
    named_first = not is_filler(gaps[0] or "")
    add_up = are_parts([q for _, _, q in found])
    follows: dict[int, str] = {}
    for g in range(1, len(found)):
        parted = _parted(gaps[g] or "")
        if parted is not None:
            follows[g - 1], gaps[g] = parted
    for i, (_, _, quantity) in enumerate(found):
        beside_it = i > 0 and named_first and "(" not in (gaps[i] or "")
        twin = i > 0 and named_first and _twin(found[i - 1][2], quantity)
        places: tuple[int, ...] = (i,) if beside_it and twin else (i, i + 1)
        if twin and text[: found[i][0]].rstrip()[-1:] == "(" and ")" in text[found[i][1] - 1 :][:2]:
            places = ()
        at = next((g for g in places if gaps[g] and not is_filler(gaps[g] or "")), None)
        beside = f"{gaps[i] or ''} {gaps[i + 1] or ''}"
        if i in follows and at != i:
            at, words = i, follows.pop(i)
        else:
            words = "" if at is None else gaps[at] or ""
            if at is not None:
                gaps[at] = None
        if isinstance(quantity, Refused) and is_idle(bare(words).strip(" ,;.:")):
            out.ignored.append("nothing that a product file holds")
            continue
        if isinstance(quantity, Refused):
            why = f"{quantity.why} ({quantity.text})"
            out.left.append(Refused(stripped(words) or quantity.text, why, quantity.near))
            continue
        if at is None:
            before = out.entries[-1] if out.entries else None
            if before and _twin(before[1], quantity):
                out.entries.append((before[0], quantity))
            elif out.entries or (IN_WATER.search(beside) and not around.waiting):
                if last is None or last.also or not IN_WATER.search(beside):
                    out.left.append(Refused(bare(text), NAMELESS))
                else:
                    out.entries.append((Named(last.name, soluble=True), quantity))
            else:
                out.values.append(quantity)
            continue
        inside = _of_nitrogen(out.entries) and add_up
        of_nitrogen = last is not None and last.name.endswith("nitrogen")
        named = recognise(as_form(words, inside) if of_nitrogen else words)
        if isinstance(named, Refused) and isinstance(
            own := recognise(_behind_heading(words)), Named
        ):
            named = own if own.name and not own.also else named
        behind = FORM_BEHIND.match(text, found[i][1])
        if behind and isinstance(named, Named) and named.name == "total nitrogen":
            named = recognise(f"nitrogen as {behind[1].lower()}")
            follows.pop(i, None)
            gaps[i + 1] = (gaps[i + 1] or "").replace(behind[0], "")
        held = _AGENT_BEHIND.match(text, found[i][1])
        if held and isinstance(named, Named) and named.is_metal and not named.chelated:
            named = replace(named, chelated=True, agent=held[1] and held[1].upper())
            follows.pop(i, None)
            gaps[i + 1] = (gaps[i + 1] or "").replace(held[0], "")
        if isinstance(named, Named) and not named.name:
            if last is None or last.also or not last.is_metal:
                named = Refused(bare(words), "chelated, but of which metal?")
            else:
                named = Named(last.name, chelated=True, agent=named.agent)
        if isinstance(named, Named) and named.name == "urea" and i and _of_nitrogen(out.entries):
            why = "percent of urea, or of nitrogen as urea?"
            out.left.append(Refused(bare(words), why, ("urea nitrogen", "urea")))
        elif isinstance(named, Named) and named.name in AGENT_NAMES:
            why = "percent of the agent, or of a metal that it holds?"
            out.left.append(Refused(f"{bare(words)} {quantity.text}", why))
        elif isinstance(named, Named):
            out.entries.append((named, _on_its_basis(named, quantity, out.entries)))
            last = named
        elif is_idle(bare(words).strip(" ,;.")):
            out.ignored.append("nothing that a product file holds")
        elif (other := ingredient(stripped(words))) is not None:
            name = stripped(words)
            meaning = f"ingredient `{name}` {quantity.text} %: {other.key}"
            out.facts.append(fact("ingredient", name, meaning))
        else:
            out.left.append(named)
    if any(refused.why == NAMELESS for refused in out.left):
        why = "which figure of the line is its own?"
        out.left += [Refused(f"{n.name} {q.text}", why) for n, q in out.entries]
        out.entries.clear()
    for gap in (*gaps, *follows.values()):
        if gap and not is_filler(gap):
            _beside(gap, out)


def _all_on_one_basis(
    found: list[tuple[int, int, Quantity | Refused]],
) -> list[tuple[int, int, Quantity | Refused]]:
    """`N 0.8%  P 0.1%  K 3.2% (w/v)`: the basis behind the last of three or more is that of all."""
    every = [q for _, _, q in found if isinstance(q, Quantity)]
    if (
        len(every) < max(3, len(found))
        or every[-1].basis is None
        or any(q.basis for q in every[:-1])
    ):
        return found
    basis = every[-1].basis
    return [(a, b, replace(q, basis=basis)) for (a, b, _), q in zip(found, every, strict=True)]


def _of_both(
    found: list[tuple[int, int, Quantity | Refused]], gaps: list[str | None]
) -> Named | None:
    """The one name of `25 % w/w (36.5 % w/v) of K2O` or `120 g/l N = 7.9 % w/w as nitrate`."""
    between, after = gaps[1] or "", gaps[2] or ""
    goes_on = is_filler(between) or between.rstrip().endswith("=")
    if not goes_on or is_filler(after) or not _twin(found[0][2], found[1][2]):
        return None
    named = recognise(f"{between.strip(' =(')} {after.strip(' )')}".strip())
    return named if isinstance(named, Named) and named.name and not named.also else None


def _is_turned_round(text: str, found: list[tuple[int, int, Quantity | Refused]]) -> bool:
    """Whether figures stand before their names, and yet a comma parts one from the next name.

    Or names before their figures, and yet three commas and more part a name from the next figure.
    """
    if len(found) < 2:
        return False
    ends = [*(start for start, _, _ in found[1:]), len(text)]
    gaps = [text[one[1] : end] for one, end in zip(found, ends, strict=True)]
    if re.search(r"\w", text[: found[0][0]]):
        behind = [bool(re.search(r"\w[^,;]*[,;]\s*$", gap)) for gap in gaps[:-1]]
        return len(behind) > 2 and all(behind) and is_filler(gaps[-1])
    return any(re.match(r"\s*[,;]", gap) and not is_filler(gap) for gap in gaps)


def _is_mixed_up(cells: tuple[str, ...]) -> bool:
    """Whether one of several columns, each a name and its figure, has lost its own or has two."""
    counts = [len(list(quantities(cell, False))) for cell in cells]
    named = [not is_filler(QUANTITY.sub(" ", cell)) for cell in cells]
    pairs = sum(n == 1 and name for n, name in zip(counts, named, strict=True))
    odd = any(n != 1 and name for n, name in zip(counts, named, strict=True))
    return pairs > 2 and odd and 2 * pairs > len(cells)


def _once(
    text: str, found: list[tuple[int, int, Quantity | Refused]]
) -> list[tuple[int, int, Quantity | Refused]]:
    """Without figures printed twice side by side, as `5,8 % / 5.8 %` of two languages."""
    out = found[:1]
    for one in found[1:]:
        gap, last = text[out[-1][1] : one[0]], out[-1][2]
        same = isinstance(last, Quantity) and one[2] == last
        if same and gap.strip() in ("/", "|"):
            out[-1] = (out[-1][0], one[1], last)
        else:
            out.append(one)
    return out


def _twin(one: Quantity | Refused, other: Quantity | Refused) -> bool:
    """Whether two figures side by side may be one by weight and by volume."""
    if not (isinstance(one, Quantity) and isinstance(other, Quantity)):
        return False
    return one.basis != other.basis and "w/v" in (one.basis, other.basis)


def _behind_heading(words: str) -> str:
    """`Trace elements: B` -> `B`."""
    return re.sub(r"^.*(?::|\b(?:elements|\w*nutrients))\s+", "", words, flags=re.IGNORECASE)


def _on_its_basis(
    named: Named, quantity: Quantity, entries: list[tuple[Named, Quantity]]
) -> Quantity:
    """In `10 % w/v MgO (6 % Mg)` both are w/v, and so are the forms of nitrogen behind it."""
    same = entries and (
        entries[-1][0].element_line == named.element_line
        or (named.name in NITROGEN_FORMS and _of_nitrogen(entries))
    )
    if not same or quantity.basis is not None:
        return quantity
    return replace(quantity, basis=entries[-1][1].basis)


def _parted(gap: str) -> tuple[str, str] | None:
    """A gap that names one thing for the figure before it and another for the one after."""
    whole = recognise(gap)
    if isinstance(whole, Named) and (whole.name or "," not in gap):
        return None
    best, most = None, 0
    for found in re.finditer(r"[,;]|\)\s*[,;]?", gap):
        parts = gap[: found.start()], gap[found.end() :]
        known = sum(isinstance(recognise(part), Named) for part in parts)
        if known > most and not any(is_filler(part) for part in parts):
            best, most = parts, known
    return best


def _of_nitrogen(entries: list[tuple[Named, Quantity]]) -> bool:
    """Whether the figure before was one of nitrogen."""
    return bool(entries) and entries[-1][0].name.endswith("nitrogen")


def _beside(gap: str, out: Outcome) -> None:
    """Words on a line of percentages that no percentage needed."""
    named = recognise(gap)
    lines = {entry.element_line for entry, _ in out.entries}
    if isinstance(named, Named) and (not named.name or named.element_line in lines):
        if named.chelated and not named.name and len(lines) == 1:
            whole, quantity = out.entries[-1]
            out.entries.append((Named(whole.name, chelated=True, agent=named.agent), quantity))
        elif named.chelated:
            why = "how much of it is chelated?"
            out.left.append(Refused(bare(gap), why, ("its percent on the same line",)))
        else:
            out.ignored.append(f"`{bare(gap).strip()}` names the same again")
    elif not re.search(r"[0-9]", gap) and chore(bare(gap)):
        out.ignored.append(f"`{bare(gap).strip()}`: {chore(bare(gap))}")
    else:
        out.left.append(Refused(bare(gap), "words beside the percentages"))


def _words(text: str, cells: tuple[str, ...], around: Around, out: Outcome) -> None:
    """A line without percentages that no reader knows."""
    columns = [recognise(cell) for cell in cells]
    whole = recognise(text)
    if isinstance(whole, Named) and whole.name and not whole.also:
        out.names.append(whole)
        return
    names = [c for c in columns if isinstance(c, Named) and c.name and not c.also]
    if len(names) == len(columns) > 1:
        out.names += names
        return
    words = bare(text)
    out.guessed = True
    if not re.search(r"[0-9]", words):
        reason = chore(words)
        if not around.analysed and not says("negation", words):
            reason = reason or "a title or a description"
        if reason:
            out.ignored.append(reason)
            return
    elif reason := (chore(words) if "care" in (chore(words) or "") else None):
        out.ignored.append(reason)
        return
    number = re.search(rf"(?<![\w.,-])({NUMBER})$", words)
    named = recognise(words[: number.start()]) if number else None
    gravity = re.match(r"S\W", text) is not None  # `S.. 1.38` may have been S.G.
    if (
        number
        and around.percents
        and not gravity
        and not (isinstance(named, Named) and not named.name)
    ):
        _declared(f"{text} %", list(quantities(f"{text} %", False)), around, out)
        out.guessed = False
        return
    if number and isinstance(named, Named) and named.name:
        why = "a figure without its % sign: percent of what?"
        out.left.append(Refused(words, why, (f"{number[1]} %",)))
        return
    out.left.append(Refused(words, UNREAD))
