"""A pasted label as a whole: held against itself, and written as a product file."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from typing import Any

from chem.errors import InputProblem, Problem
from chem.files import rewritten
from chem.files.table import figure
from chem.label.printed.claims import ledger, with_figures
from chem.label.printed.content import Content
from chem.label.printed.contradictions import (
    ask_beside_figures,
    ask_impossible,
    ask_lost_points,
    check_chelated,
    check_density,
    check_nitrogen,
    check_sum,
    settle_rates,
)
from chem.label.printed.declared import NO_LINE, Named, near_names
from chem.label.printed.grade import GRADE_LINES
from chem.label.printed.languages import fold
from chem.label.printed.lines import Line
from chem.label.printed.measures import BARE_VOLUME, plain_amount
from chem.label.printed.quantities import Quantity
from chem.label.printed.records import (
    Ignored,
    Kept,
    NotUnderstood,
    Pasted,
    Understood,
    fact,
    in_terms_of,
)
from chem.label.printed.statements import UNREAD
from chem.label.printed.titles import leave_titles
from chem.label.printed.unread import Kind, kinds_of
from chem.label.printed.words import CARE, is_told
from chem.label.product import NITROGEN_FORMS
from chem.reference import catalogue

GRADE_ROUNDS = 0.95
"""A grade prints whole numbers: less than one point from its line agrees."""


NEXT_TO = 2
"""Lines above a chelated part within which a line that was not read may be its whole; no source."""

GRAVEST: tuple[Kind, ...] = ("rule", "composition", "rate", "reading", "other", "care")
"""Kinds of what was not read, the first of which keeps a forecast from an answer."""

MOST_TOLD = 6
"""Lines not understood that a refusal names."""


def finish(content: Content, name: str, lines: list[Line]) -> Pasted:
    """Check the label against itself and write the file. Raises: InputProblem."""
    for key, kept in list(content.chelated.items()):
        if key not in content.guarantee and any(
            0 < kept.line.number - left.line_number <= NEXT_TO
            or (key in left.line.lower() and left.line_number != kept.line.number)
            for left in content.not_understood
        ):
            del content.chelated[key]
            why = f"chelated {kept.quantity.text} %, but of how much in all?"
            content.not_understood.append(NotUnderstood(kept.line.number, kept.line.printed, why))
        else:
            content.guarantee.setdefault(key, kept)
    _settle_basis(content)
    _settle_grade(content)
    leave_titles(content, lines)
    _take_pack(content, lines)
    ask_lost_points(content)
    ask_impossible(content)
    if not content.guarantee and not content.also and not _worth_keeping(content, lines):
        raise InputProblem(
            Problem(
                f"a text of {sum(bool(line.printed) for line in lines)} lines",
                "no guarantee can be read in it, such as `Total Nitrogen (N) 5.0%`"
                + "".join(
                    f"\n  line {left.line_number}: {left.line} ({left.why})"
                    for left in content.not_understood[:MOST_TOLD]
                ),
                "the label's guaranteed analysis, a line for each nutrient with its percent",
            )
        )
    settle_rates(content)
    check_nitrogen(content)
    check_chelated(content)
    check_density(content)
    check_sum(content)
    _cover(content, lines)
    _, unclaimed = ledger(lines, content.understood, content.ignored, content.not_understood)
    ask_beside_figures(content, lines, unclaimed)
    content.not_understood = with_figures(lines, unclaimed, content.not_understood)
    _leave_care(content, lines)
    _imply_chelates(content)
    content.understood = [replace(u, line=_own_words(u, lines)) for u in content.understood]
    content.ignored = [replace(i, line=_own_words(i, lines)) for i in content.ignored]
    content.care = _care(content)
    content.not_understood = [
        replace(e, near=near_names(e.line)) if e.why in (NO_LINE, UNREAD) and not e.near else e
        for e in content.not_understood
    ]
    content.not_understood, kinds = _as_printed(content.not_understood, lines)
    content.understood.sort(key=lambda entry: entry.line_number)
    content.ignored.sort(key=lambda entry: entry.line_number)
    comments = "".join(f"# {plain(remark)}\n" for remark in _remarks(content))
    toml = comments + rewritten(_form_of(content, name, kinds))
    return Pasted(
        tomllib.loads(toml),
        toml,
        tuple(content.understood),
        tuple(content.not_understood),
        tuple(content.ignored),
        tuple(dict.fromkeys(content.problems)),
    )


def _take_pack(content: Content, lines: list[Line]) -> None:
    """`20 L` alone is what the pack holds, on the first or last line or beside the net weight."""
    alone = [e for e in content.not_understood if BARE_VOLUME.fullmatch(e.line.strip())]
    if len(alone) != 1 or "net_volume" in content.stated:
        return
    (left,) = alone
    full = [line for line in lines if line.text.strip()]
    weighed = {u.line_number for u in content.understood if u.meaning.startswith("net_weight")}
    for line in full:
        whole = line in (full[0], full[-1]) and BARE_VOLUME.fullmatch(line.text.strip())
        if line.number == left.line_number and (whole or line.number in weighed):
            content.not_understood.remove(left)
            content.state(*fact("net_volume", plain_amount(left.line)), line, line.printed)


def _worth_keeping(content: Content, lines: list[Line]) -> bool:
    """Whether a text without any guarantee is still a label: sources, or contents to ask about."""
    kinds = kinds_of(content.not_understood, lines)
    asked = zip(content.not_understood, kinds, strict=True)
    if any(k == "composition" and re.search(r"[0-9]", e.line) for e, k in asked):
        return True
    if content.sources or len(content.stated.keys() & {"density", "specific_gravity", "ph"}) > 1:
        return True
    return any(
        left.why.startswith("a figure without")
        or re.search(r"[0-9]\s*%|%.*[0-9]|g ?/ ?(?:kg|l)\b|per ?cent", left.line)
        for left in content.not_understood
    )


def _imply_chelates(content: Content) -> None:
    """A metal said to be chelated by an agent, and by no listed source: that chelate is one."""
    known = catalogue().sources
    if not content.sources or content.lost_sources:
        return
    for key, kept in content.chelated.items():
        source = f"{key} {_agent(content, key, kept)}"
        if source in known and not any(
            key in known[s].supplies for s in content.sources if s in known
        ):
            content.sources.append(source)
            meaning = f"source `{source}`, from its chelating agent"
            content.note(kept.line, kept.line.printed, meaning)


def _leave_care(content: Content, lines: list[Line]) -> None:
    """A line not read that speaks of heat, rain or gloves is care, and no rule of the tank."""
    left, kinds = content.not_understood, kinds_of(content.not_understood, lines)
    care = [entry for entry, kind in zip(left, kinds, strict=True) if kind == "care"]
    content.not_understood = [entry for entry in left if entry not in care]
    content.ignored += [Ignored(entry.line_number, entry.line, CARE) for entry in care]


def _own_words(entry: Understood | Ignored, lines: list[Line]) -> str:
    """An entry's words, or its whole line as printed where a table put it into others."""
    printed = next(line.printed for line in lines if line.number == entry.line_number)
    own = fold(printed)
    return entry.line if all(w in own for w in re.findall(r"[a-z]+", fold(entry.line))) else printed


def _as_printed(
    left: list[NotUnderstood], lines: list[Line]
) -> tuple[list[NotUnderstood], list[Kind]]:
    """What was not understood in the label's own words, one entry a text; its gravest kind."""
    printed = {line.number: line.printed for line in lines}
    merged: dict[tuple[int, str], tuple[NotUnderstood, Kind]] = {}
    for entry, kind in zip(left, kinds_of(left, lines), strict=True):
        whole, text, why = printed[entry.line_number], entry.line, entry.why
        if text not in whole:
            why = f"`{text}`: {why}" if len(text) < len(whole) else why
            text = whole
        at, near, gravest = (entry.line_number, text), entry.near, kind
        if at in merged:
            old, other = merged[at]
            why = old.why if why in old.why else f"{old.why}; {why}"
            near = tuple(dict.fromkeys((*old.near, *near)))
            gravest = min(kind, other, key=GRAVEST.index)
        merged[at] = (NotUnderstood(*at, why, near), gravest)
    ordered = sorted(merged.values(), key=lambda one: one[0].line_number)
    return [entry for entry, _ in ordered], [kind for _, kind in ordered]


def _care(content: Content) -> list[str]:
    """What the label says of keeping and spraying it, as printed."""
    lines = [i.line for i in content.ignored if i.reason == CARE]
    return list(dict.fromkeys(plain(line).rstrip(" .") for line in lines if is_told(line)))


def _settle_basis(content: Content) -> None:
    """One basis for the file; figures on the other are named, not mixed in."""
    default = content.stated.pop("basis", None)
    tables = (content.guarantee, content.chelated, content.also)
    figures = [kept.quantity for t in tables for kept in t.values()]
    if {q.basis for q in figures} == {None, "w/v"} and all(
        q.basis or any(" ppm is " in note for note in q.notes) for q in figures
    ):
        default = default or "w/v"
    own = {k.quantity.basis or default or "w/w" for t in tables for k in t.values()}
    basis = "w/v" if own == {"w/v"} else "w/w"
    if basis == "w/v":
        content.stated["basis"] = basis
        return
    for table in tables:
        for key, kept in list(table.items()):
            if (kept.quantity.basis or default or "w/w") == "w/w":
                continue
            del table[key]
            entry = NotUnderstood(
                kept.line.number,
                kept.line.printed,
                "percent by volume beside others by weight",
                ("the w/w figure of the same line",),
            )
            if entry not in content.not_understood:
                content.not_understood.append(entry)


def _settle_grade(content: Content) -> None:
    """The grade checks its lines, and stands for them where the label has none."""
    if content.grade_line is None:
        return
    lines = [*GRADE_LINES, *NITROGEN_FORMS]
    analysed = any(line in content.guarantee for line in lines)
    nitrogen = sum(
        content.guarantee[form].quantity.low for form in NITROGEN_FORMS if form in content.guarantee
    )
    for name, percent in content.grade:
        line = catalogue().guarantees[name]
        kept = content.guarantee.get(line.same_as or name)
        quantity = Quantity(f"{percent:g}", percent, percent, 1.0, None)
        entry = Kept(Named(name), quantity, content.grade_line)
        if kept is None and name == "total nitrogen" and nitrogen:
            value = nitrogen
        elif kept is None:
            if percent and (not analysed or name not in lines):
                content.guarantee[line.same_as or name] = entry
            elif percent:
                content.problems.append(
                    f"line {content.grade_line.number}: the grade says {name} {percent:g} %, "
                    "but no line guarantees it"
                )
            continue
        else:
            value = (
                in_terms_of(kept)[0] / in_terms_of(entry)[0] * percent
                if percent
                else (kept.quantity.low)
            )
        if abs(value - percent) > (GRADE_ROUNDS if percent == int(percent) else 0.051):
            content.problems.append(
                f"line {content.grade_line.number}: the grade says {name} {percent:g} %, its "
                f"line {value:.4g} %"
            )


def _cover(content: Content, lines: list[Line]) -> None:
    """No line goes missing."""
    seen = {entry.line_number for entry in content.understood}
    seen |= {entry.line_number for entry in content.not_understood}
    seen |= {entry.line_number for entry in content.ignored}
    for line in lines:
        if line.printed and line.number not in seen:
            if not re.search(r"\w", line.text):
                content.ignored.append(Ignored(line.number, line.printed, "a rule"))
            else:
                content.not_understood.append(
                    NotUnderstood(line.number, line.printed, "no rule reads this line")
                )


def _physical(content: Content) -> str:
    for form in content.forms:
        liquid = content.measured or "net_volume" in content.stated
        if form != "dry" or not liquid:
            return form
    return "solution"


def _form_of(content: Content, name: str, kinds: list[Kind]) -> dict[str, Any]:
    """The product file's content; empty tables and keys left out."""
    stated, form = content.stated, _physical(content)
    density = "unknown" if not content.measured and form != "dry" else None
    out: dict[str, Any] = {"name": name, "form": form if form != "solution" else None}
    for key in ("basis", "density", "specific_gravity", "net_weight", "net_volume"):
        out[key] = stated.get(key)
    out["density"] = stated.get("density", density)
    out["ph"] = _figure(stated["ph"]) if "ph" in stated else None
    out["ph_at"] = stated.get("ph_at")
    out["sources"] = content.sources
    out |= {key: stated.get(key) for key in ("usual_rate", "rate_range")}
    out["care"] = content.care
    out["unread"] = [
        {"line": e.line_number, "text": plain(e.line), "kind": kind}
        for e, kind in zip(content.not_understood, kinds, strict=True)
    ]
    out["guarantee"] = {k.named.name: _figure(k.quantity.text) for k in content.guarantee.values()}
    out["chelated"] = {k.named.name: _part(content, key, k) for key, k in content.chelated.items()}
    out["also"] = {key: _figure(k.quantity.text) for key, k in content.also.items()}
    says = {"pour": stated.get("pour"), "never_with": content.never_with}
    says |= {key: stated.get(key) for key in ("carrier_at_least", "carrier_at_most")}
    out["says"] = {key: value for key, value in says.items() if value}
    return {key: value for key, value in out.items() if value}


def _part(content: Content, key: str, kept: Kept) -> Any:
    agent, figure = _agent(content, key, kept), _figure(kept.quantity.text)
    return {"percent": figure, "agent": agent} if agent else figure


def _agent(content: Content, key: str, kept: Kept) -> str | None:
    """What holds a chelated metal, where the label says it without doubt."""
    agents = content.agents.get(key, content.all_agents)
    return kept.named.agent or (agents[0] if len(agents) == 1 else None)


def _remarks(content: Content) -> list[str]:
    """What a reader of the file must know."""
    out = ["Read from a pasted label: check it against the jug."]
    for entry in content.not_understood:
        near = f"; perhaps {', '.join(entry.near)}" if entry.near else ""
        out.append(f"line {entry.line_number} not understood: {entry.line}: {entry.why}{near}")
    out += [f"does not add up: {problem}" for problem in dict.fromkeys(content.problems)]
    if not content.measured and _physical(content) != "dry":
        out.append("density: the label gives none, weigh a measured volume")
    if content.lost_sources:
        out.append("sources not understood, named above, are left out here")
    return out


def plain(text: str) -> str:
    """One line of printable characters."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _figure(text: str) -> Any:
    """A bare number, or a range as text; `007.50` as `7.50`."""
    whole, point, decimals = text.partition(".")
    return figure(text if "-" in text else f"{whole.lstrip('0') or '0'}{point}{decimals}")
