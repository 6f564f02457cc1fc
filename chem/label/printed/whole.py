"""A pasted label as a whole: held against itself, and written as a product file."""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from itertools import pairwise
from typing import Any

from chem.errors import InputProblem, Problem
from chem.files import rewritten
from chem.files.table import figure
from chem.label.printed.claims import ledger, with_figures
from chem.label.printed.content import Content
from chem.label.printed.declared import Named, Quantity
from chem.label.printed.languages import fold
from chem.label.printed.lines import Line
from chem.label.printed.records import (
    Ignored,
    Kept,
    NotUnderstood,
    Pasted,
    Understood,
    in_terms_of,
)
from chem.label.printed.stated import HEAVIEST, LIGHTEST
from chem.label.printed.statements import GRADE_LINES
from chem.label.printed.titles import leave_titles
from chem.label.printed.unread import Kind, kinds_of
from chem.label.printed.words import CARE, is_told
from chem.label.product import NITROGEN_FORMS
from chem.reference import catalogue, read_csv
from chem.units import (
    read_density_range,
    read_mass,
    read_rate_range,
    read_specific_gravity,
    read_volume,
)

DENSITIES_AGREE = 0.03
"""Relative; labels round pounds and gallons."""

GRADE_ROUNDS = 0.95
"""A grade prints whole numbers: less than one point from its line agrees."""


POINTS_TO_DOUBT = 3
"""Figures with decimals for each one without, from which the latter is doubted; no source."""

MOST_IN_LIQUID = "labels/most_in_liquid.csv"
DENSEST_LIQUID = 1.8
"""kg/L; heavy suspensions, value from memory."""

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
    _ask_lost_points(content)
    _ask_impossible(content)
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
    _settle_rates(content)
    _check_nitrogen(content)
    _check_chelated(content)
    _check_density(content)
    _cover(content, lines)
    _, unclaimed = ledger(lines, content.understood, content.ignored, content.not_understood)
    _ask_beside_figures(content, {token.line for token in unclaimed})
    content.not_understood = with_figures(lines, unclaimed, content.not_understood)
    _leave_care(content, lines)
    _imply_chelates(content)
    content.understood = [replace(u, line=_own_words(u, lines)) for u in content.understood]
    content.ignored = [replace(i, line=_own_words(i, lines)) for i in content.ignored]
    content.care = _care(content)
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
        or re.search(r"[0-9]\s*%|g ?/ ?(?:kg|l)\b|per ?cent", left.line)
        for left in content.not_understood
    )


def _ask_lost_points(content: Content) -> None:
    """A whole figure among many with decimals may have lost its point: nothing else confirms it.

    So it is too where every figure from 1 to 10 has decimals, at least two, and no fewer than have
    none.
    """
    kept = content.guarantee
    printed = {k: v.quantity for k, v in kept.items() if not v.quantity.notes}
    plain = {k: q for k, q in printed.items() if "." not in q.text}
    whole = [k for k, q in plain.items() if 10.0 <= q.low < 100.0]
    pointed = [k for k, q in printed.items() if "." in q.text]
    large = sum(printed[k].low >= 1.0 for k in pointed)
    always = len(plain) == len(whole) and large >= max(2, len(whole))
    confirmed = {round(percent, 6) for _, percent in content.grade}
    confirmed.add(round(sum(kept[f].quantity.low for f in NITROGEN_FORMS if f in kept), 6))
    if POINTS_TO_DOUBT * len(whole) > len(pointed) and not always:
        return
    for key in whole:
        figure = kept[key].quantity
        line = kept[key].line
        told = any(p.startswith(f"line {line.number}:") for p in content.problems)
        if told or round(figure.low, 6) in confirmed:
            continue
        why = f"`{figure.text}` has no decimals, others have: has it lost its point?"
        _ask_instead(content, key, why, (f"{figure.text} %", f"{figure.low / 10:g} %"))


def _ask_impossible(content: Content) -> None:
    """A content that no liquid holds; w/v may be higher by the density."""
    liquid = content.stated.keys() & {"density", "specific_gravity", "net_volume", "ph"}
    if "dry" in content.forms or not liquid:
        return
    most = {row["line"]: float(row["percent"]) for row in read_csv(MOST_IN_LIQUID)}
    heavy = DENSEST_LIQUID if content.stated.get("basis") == "w/v" else 1.0
    for key, kept in list(content.guarantee.items()):
        if in_terms_of(kept)[0] > most.get(kept.named.element_line, 100.0) * heavy:
            figure = kept.quantity
            why = f"`{figure.text}` % is more than a liquid holds: has it lost its point?"
            _ask_instead(content, key, why, (f"{figure.low / 10:g} %",))


def _ask_instead(content: Content, key: str, why: str, near: tuple[str, ...]) -> None:
    """Take a guarantee back and ask for it."""
    kept = content.guarantee.pop(key)
    content.chelated.pop(key, None)
    content.understood[:] = [
        u
        for u in content.understood
        if u.line_number != kept.line.number or f" {kept.quantity.text} %" not in u.meaning
    ]
    content.not_understood.append(NotUnderstood(kept.line.number, kept.line.printed, why, near))


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


def _ask_beside_figures(content: Content, lines: set[int]) -> None:
    """A reading beside a figure that nothing claims may be half of it: `5 pH 7.` was `pH 7.5`."""
    lines |= {e.line_number for e in content.not_understood if re.fullmatch(r"[\d., ]+", e.line)}
    for u in list(content.understood):
        key = u.meaning.partition(" ")[0].lower()
        if u.line_number in lines and key in ("ph", "density", "specific_gravity"):
            content.understood.remove(u)
            content.stated.pop(key, None)
            why = f"{u.meaning}, or is another figure of the line part of it?"
            content.not_understood.append(NotUnderstood(u.line_number, u.line, why))


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


def _settle_rates(content: Content) -> None:
    _ask_rates_apart(content)
    most = content.stated.pop("rate_at_most", None)
    if most is None:
        return
    number, _, unit = most.partition(" ")
    usual, span = content.stated.get("usual_rate"), content.stated.get("rate_range")
    if span and span.partition(" ") == (f"{span.split('-')[0]}-{number}", " ", unit):
        return
    if usual and not span and usual.partition(" ")[2] == unit:
        content.stated["rate_range"] = f"{usual.partition(' ')[0]}-{number} {unit}"
        return
    line = next(u for u in content.understood if u.meaning == f"rate_at_most {most}")
    content.understood.remove(line)
    content.not_understood.append(
        NotUnderstood(
            line.line_number,
            line.line,
            "a highest rate alone has no key",
            (f'rate_range = "...-{most}"',),
        )
    )


def _ask_rates_apart(content: Content) -> None:
    """A usual rate outside the range of rates is not both a rate of the product."""
    usual, span = content.stated.get("usual_rate"), content.stated.get("rate_range")
    if usual is None or span is None:
        return
    dry = "dry" in content.forms
    (rate, _), (low, high) = (read_rate_range(text, "label", dry=dry) for text in (usual, span))
    if (rate.kind, rate.per) != (low.kind, low.per) or low.value <= rate.value <= high.value:
        return
    del content.stated["usual_rate"]
    for u in list(content.understood):
        if u.meaning == f"usual_rate {usual}":
            content.understood.remove(u)
            why = f"{usual} is outside the rates {span}: of what is it?"
            content.not_understood.append(NotUnderstood(u.line_number, u.line, why))


def _check_nitrogen(content: Content) -> None:
    total = content.guarantee.get("total nitrogen")
    forms = [content.guarantee[f].quantity for f in NITROGEN_FORMS if f in content.guarantee]
    if total is None or not forms:
        return
    low, high = sum(f.low for f in forms), sum(f.high for f in forms)
    slack = 0.5 * sum(f.step for f in (*forms, total.quantity)) + 0.02
    if low > total.quantity.high + slack or high < total.quantity.low - slack:
        content.problems.append(
            f"line {total.line.number}: total nitrogen {total.quantity.text} %, but its forms "
            f"add up to {0.5 * (low + high):.4g} %"
        )


def _check_chelated(content: Content) -> None:
    for key, kept in content.chelated.items():
        whole = content.guarantee.get(key)
        if whole is None:
            continue
        part, all_of_it = in_terms_of(kept)[0], in_terms_of(whole)[0]
        if part > all_of_it * 1.001:
            content.problems.append(
                f"line {kept.line.number}: more {kept.named.name} chelated "
                f"({kept.quantity.text} %) than guaranteed ({whole.quantity.text} %)"
            )


def _check_density(content: Content) -> None:
    found = {}
    if "density" in content.stated:
        found[f"density {content.stated['density']}"] = read_density_range(
            content.stated["density"], "label"
        )
    if "specific_gravity" in content.stated:
        value = read_specific_gravity(content.stated["specific_gravity"], "label")
        found[f"specific gravity {content.stated['specific_gravity']}"] = (value, value)
    if "net_weight" in content.stated and "net_volume" in content.stated:
        mass = read_mass(content.stated["net_weight"], "label")
        value = mass / read_volume(content.stated["net_volume"], "label")
        net = f"net {content.stated['net_weight']} in {content.stated['net_volume']}"
        found[net] = (value, value)
        if not LIGHTEST <= value <= HEAVIEST:
            content.problems.append(f"{net} is {value:.3g} kg/L, which no liquid can have")
            del found[net], content.stated["net_weight"], content.stated["net_volume"]
    ways = list(found.items())
    for (one, (low, high)), (other, (low_2, high_2)) in pairwise(ways):
        if low > high_2 * (1.0 + DENSITIES_AGREE) or low_2 > high * (1.0 + DENSITIES_AGREE):
            content.problems.append(
                f"{one} ({low:.3g} kg/L) and {other} ({low_2:.3g} kg/L) don't agree"
            )
    content.measured = bool(found)


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
