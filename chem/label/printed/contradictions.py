"""Where a label contradicts itself: a figure that can't be right is asked, never kept."""

from __future__ import annotations

import re
from itertools import pairwise

from chem.label.printed.claims import Token
from chem.label.printed.content import Content
from chem.label.printed.lines import Line
from chem.label.printed.records import NotUnderstood, in_terms_of
from chem.label.printed.stated import HEAVIEST, LIGHTEST
from chem.label.product import NITROGEN_FORMS
from chem.reference import read_csv
from chem.units import (
    read_carrier,
    read_density_range,
    read_mass,
    read_rate_range,
    read_specific_gravity,
    read_volume,
)

DENSITIES_AGREE = 0.03
"""Relative; labels round pounds and gallons."""

PAIRS_AGREE = 0.04
"""Relative, beside the rounding of both figures; labels round; no source."""

HEAVIER_BY = 0.004
"""kg/L for each percent of phosphate, potash, calcium, metals; half of what their lightest common
solutions (phosphoric acid, potassium chloride) weigh; values from memory."""

SALTS_FROM = 5.0
"""Percent below which nothing is made of it; no source."""

ACIDITY_AND_WEIGHT = ("ph", "density", "specific_gravity")

POINTS_TO_DOUBT = 3
"""Figures with decimals for each one without, from which the latter is doubted; no source."""

MOST_IN_LIQUID = "labels/most_in_liquid.csv"
DENSEST_LIQUID = 1.8
"""kg/L; heavy suspensions, value from memory."""


def ask_lost_points(content: Content) -> None:
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


def ask_impossible(content: Content) -> None:
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


def ask_beside_figures(content: Content, lines: list[Line], unclaimed: list[Token]) -> None:
    """A reading beside a figure that nothing claims may be half of it: `5 pH 7.` was `pH 7.5`."""
    printed = {line.number: line.printed for line in lines}
    beside: dict[int, str] = {}
    for token in unclaimed:
        row = printed[token.line]
        start = max(row.rfind(mark, 0, token.start) for mark in ";|\u00b7\u2022") + 1
        end = re.search("[;|\u00b7\u2022]", row[token.end :])
        part = row[start : token.end + end.start() if end else len(row)]
        beside[token.line] = f"{beside.get(token.line, '')} {part}".replace(",", ".")
    for e in content.not_understood:
        if re.fullmatch(r"[\d., ]+", e.line):
            beside[e.line_number] = printed[e.line_number].replace(",", ".")
    for u in list(content.understood):
        key = u.meaning.partition(" ")[0].lower()
        number = re.split(r"[ -]", u.meaning)[1] if key in ACIDITY_AND_WEIGHT else "\n"
        if number in beside.get(u.line_number, ""):
            content.understood.remove(u)
            if any(
                other.meaning == u.meaning and other.line_number not in beside
                for other in content.understood
            ):
                continue
            content.stated.pop(key, None)
            why = f"{u.meaning}, or is another figure of the line part of it?"
            content.not_understood.append(NotUnderstood(u.line_number, u.line, why))


def settle_rates(content: Content) -> None:
    """Rates and spray volumes that can't all be the product's own."""
    _ask_rates_apart(content)
    _ask_small_carrier(content)
    most = content.stated.pop("rate_at_most", None)
    if most is None:
        return
    number, _, unit = most.partition(" ")
    usual, span = content.stated.get("usual_rate"), content.stated.get("rate_range")
    if span and span.partition(" ") == (f"{span.split('-')[0]}-{number}", " ", unit):
        return
    if usual and not span and _singular(usual.partition(" ")[2]) == _singular(unit):
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


def _singular(unit: str) -> str:
    """`quarts/acre` -> `quart/acre`."""
    return re.sub(r"(?<=[a-z]{3})s\b", "", unit)


def _ask_rates_apart(content: Content) -> None:
    """A usual rate outside the range of rates is not both a rate of the product."""
    usual, span = content.stated.get("usual_rate"), content.stated.get("rate_range")
    if usual is None or span is None:
        return
    dry = "dry" in content.forms
    (rate, _), (low, high) = (read_rate_range(text, "label", dry=dry) for text in (usual, span))
    if (rate.kind, rate.per) != (low.kind, low.per) or low.value <= rate.value <= high.value:
        return
    _take_back(content, "usual_rate", f"{usual} is outside the rates {span}: of what is it?")


def _ask_small_carrier(content: Content) -> None:
    """A spray volume below the product's own rate is no spray volume."""
    rate = content.stated.get("rate_range", content.stated.get("usual_rate"))
    if rate is None:
        return
    low, _ = read_rate_range(rate, "label", dry="dry" in content.forms)
    for key in ("carrier_at_least", "carrier_at_most"):
        if key not in content.stated or (low.kind, low.per) != ("volume", "area"):
            continue
        if read_carrier(content.stated[key], "label") <= low.value / 1000.0:  # L and mL a m2
            _take_back(content, key, f"a spray volume below the product's rate, {rate}")


def _take_back(content: Content, key: str, why: str) -> None:
    """Take a reading back and ask for it."""
    text = content.stated.pop(key)
    for u in list(content.understood):
        if u.meaning == f"{key} {text}":
            content.understood.remove(u)
            content.not_understood.append(NotUnderstood(u.line_number, u.line, why))


def check_nitrogen(content: Content) -> None:
    """Total nitrogen against its forms."""
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


def check_sum(content: Content) -> None:
    """All that is guaranteed against the whole, and the density against what is dissolved.

    Nitrogen counts by its total or its forms, whichever is more; phosphate and potash as oxides.
    """
    held = {key: in_terms_of(kept)[0] for key, kept in content.guarantee.items()}
    forms = sum(held.pop(form, 0.0) for form in NITROGEN_FORMS)
    nitrogen = max(held.pop("total nitrogen", 0.0), forms)
    salts = sum(held.values())
    density = next(iter(content.densities), None)
    by_volume = content.stated.get("basis") == "w/v"
    whole = 100.0 * (density or DENSEST_LIQUID) if by_volume else 100.0
    if nitrogen + salts > whole:
        content.problems.append(
            f"the guarantees add up to {nitrogen + salts:.3g} % of {whole:.3g} %"
        )
    elif density and not by_volume and density < 1.0 + HEAVIER_BY * (salts - SALTS_FROM):
        content.problems.append(
            f"{density:.3g} kg/L is light for {salts:.3g} % of nutrients beside nitrogen"
        )


def check_chelated(content: Content) -> None:
    """No more of a metal is chelated than there is."""
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


def check_density(content: Content) -> None:
    """Every way in which the label tells its density, against the others."""
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
        thousands = re.fullmatch(r"([0-9]{1,3})\.([0-9]{3}) kg", content.stated["net_weight"])
        if thousands and LIGHTEST <= 1000.0 * value <= HEAVIEST:
            content.stated["net_weight"] = f"{thousands[1]}{thousands[2]} kg"
            found[net] = (1000.0 * value, 1000.0 * value)
        elif not LIGHTEST <= value <= HEAVIEST:
            content.problems.append(f"{net} is {value:.3g} kg/L, which no liquid can have")
            del found[net], content.stated["net_weight"], content.stated["net_volume"]
    ways = list(found.items())
    for (one, (low, high)), (other, (low_2, high_2)) in pairwise(ways):
        if low > high_2 * (1.0 + DENSITIES_AGREE) or low_2 > high * (1.0 + DENSITIES_AGREE):
            content.problems.append(
                f"{one} ({low:.3g} kg/L) and {other} ({low_2:.3g} kg/L) don't agree"
            )
    content.measured = bool(found)
    content.densities = [high for _, high in found.values()]
    if len(found) == 1:
        _ask_pairs(content, *found.items())


def _ask_pairs(content: Content, stated: tuple[str, tuple[float, float]]) -> None:
    """By weight and by volume are one figure: their ratio is the density, as far as it is printed.

    Where two pairs and more agree with each other it is the density that is asked for.
    """
    name, (least, most) = stated
    apart, ratios = [], []
    for key, (weight, volume) in content.pairs.items():
        half = 0.5 * weight.step, 0.5 * volume.step
        low = (volume.low - half[1]) / (weight.high + half[0]) * (1.0 - PAIRS_AGREE)
        high = (volume.high + half[1]) / max(weight.low - half[0], 1e-9) * (1.0 + PAIRS_AGREE)
        ratios.append((low, high))
        if key in content.guarantee and (high < least or low > most):
            apart.append(key)
    agree = max(low for low, _ in ratios) <= min(high for _, high in ratios) if ratios else False
    if len(apart) > 1 and len(apart) == len(ratios) and agree:
        content.problems.append(f"{name} does not go with any figure by weight and by volume")
        return
    for key in apart:
        weight, volume = content.pairs[key]
        why = f"{weight.text} % w/w and {volume.text} % w/v do not go with {name}: which is wrong?"
        _ask_instead(content, key, why, ())
