"""The sheet of one label."""

from __future__ import annotations

import re
from collections.abc import Sequence

from chem.advice.jug import GALLON_L, POUND_KG, SHARES, Carried, Finding, Jug
from chem.forecast import ONLY_THE_JAR, Range
from chem.sheets.as_json import as_json
from chem.sheets.blocks import Block, Sheet
from chem.sheets.contract import shelf as contract
from chem.sheets.contract.parts import DoubtEntry, RangeEntry
from chem.sheets.words import capital, odds, with_name
from chem.units import Units, format_temperature

ION_NAMES = {
    "NH4": "ammonium",
    "NO3": "nitrate",
    "SO4": "sulfate",
    "PO4": "phosphate",
    "Cl": "chloride",
    "Fe2": "ferrous iron",
    "Fe3": "ferric iron",
    "CO3": "carbonate",
    "HPO3": "phosphite",
    "S2O3": "thiosulfate",
    "P2O7": "pyrophosphate",
    "P3O10": "tripolyphosphate",
    "slow_N": "slow nitrogen",
}
WATER_FIGURES = {
    "hardness": "hardness (calcium and magnesium)",
    "alkalinity share": "alkalinity (bicarbonate)",
    "ph": "pH",
    "SO4": "sulfate",
    "Cl": "chloride",
    "calcium share of hardness": "calcium as part of the hardness",
}


def finding_text(found: Finding, units: Units = "both") -> str:
    """The sentence, without a full stop, of what doesn't add up or is left open."""
    of, figures, words = found.of, found.figures, found.words
    match found.key:
        case "misfit":
            return f"{of[0]}: {words}"
        case "printed_as":
            return f"it would add up if {figures[0]:g} % {of[0]} was printed as {of[1]}"
        case "more_than_dissolves":
            warm = format_temperature(25.0, units)
            return f"more than dissolves at {warm} as labelled: {', '.join(of)}"
        case "nitrogen_forms":
            side = "less" if figures[0] < figures[1] else "more"
            return f"its nitrogen forms add up to {figures[0]:g} %, {side} than {figures[1]:g} %"
        case "too_light" | "too_heavy":
            side, bound = ("light", "least") if found.key == "too_light" else ("heavy", "most")
            return (
                f"a density of {figures[0]:.3g} kg/L is too {side} for {figures[1]:.0f} % "
                f"dissolved (at {bound} {figures[2]:.2f})"
            )
        case "no_ph":
            return "no pH is given"
        case "no_density":
            return "no density is given"
        case "which":
            told = zip(of[1:], figures, strict=True)
            return f"what its {of[0]} is: " + ", ".join(
                f"{w} ({10 * p:.0f} in 10)" for w, p in told
            )
        case "half_read":
            return f"what `{of[0]}` is: not read, it may hold anything"
        case "split":
            return "how much comes from each of: " + ", ".join(of)
        case "agent":
            return f"what chelates the {of[0]}"
    return f"{SHARES[found.key]}: {words}"


def _water_matters(result: Jug) -> str | None:
    if result.water_matters is None:
        return None
    figure, solid = result.water_matters
    return f"{WATER_FIGURES[figure]}, by way of {solid}"


def jug_sheet(result: Jug, units: Units = "both", more: Sequence[Block] = ()) -> Sheet:
    """Does it add up first, then ions, sources, money, cold and what is left open.

    more: what it would be beside what is owned.
    """
    if result.adds_up:
        answer = ["The label adds up."]
    else:
        answer = [
            "The label does not add up: " + "; ".join(map(finding_text, result.problems)) + "."
        ]
    rows = [("In 1 kg of it", "mmol", "5 to 95 %")]
    for component, amount in sorted(result.makeup.items(), key=lambda kv: -kv[1].median):
        if amount.median > 1e-5:
            rows.append((ION_NAMES.get(component, component), _mmol(amount.median), _span(amount)))
    shares = [("Made from", "%", "5 to 95 %")]
    for source, percent in result.sources_percent.items():
        spread = f"{percent.p05:.2g} to {percent.p95:.2g}"
        shares.append((source, f"{percent.median:.2g}", spread))
    facts = []
    if result.density_kg_per_L is not None:
        d = result.density_kg_per_L.median
        us, metric = f"{d / POUND_KG * GALLON_L:.2f} lb/gal", f"{d:.3f} kg/L"
        shown = {"us": us, "metric": metric, "both": f"{us} ({metric})"}[units]
        facts.append(f"Density {shown}.")
    if result.ph is not None:
        facts.append(
            f"1 part in 10 of water reads about pH {result.ph.median:.1f} "
            f"({result.ph.p05:.1f} to {result.ph.p95:.1f})."
        )
    current = result.conductivity_mS_per_cm
    if current is not None:
        facts.append(
            f"1 part in 100 of water reads about {current.median:.2g} mS/cm at 25 C "
            f"({current.p05:.2g} to {current.p95:.2g})."
        )
    blocks = [
        Block("Ions the label implies", rows=rows),
        Block("Sources", rows=shares if len(shares) > 1 else ()),
        Block("How much of a metal is chelated", items=_chelated(result)),
        Block("The liquid", facts),
        Block("What it carries", items=[_carried(c, result, units) for c in result.carried]),
        _cold(result, units),
    ]
    if water := _water_matters(result):
        blocks.append(Block("The water figure that matters most", [f"{water}."]))
    settle = [
        with_name(d.settle_by, d.key, {result.product.key: result.product.name})
        for d in result.doubts
        if d.settle_by != ONLY_THE_JAR
    ]
    blocks += [
        Block("Left open by the label", items=[finding_text(f) for f in result.open]),
        Block("How to measure its pH", _how_to_measure(result)),
        Block("What would settle it", items=[capital(s) for s in settle[:4]]),
        *more,
        Block("Questions to the seller, to copy", items=seller_questions(result)),
        Block("Notes", items=result.notes),
    ]
    kept = [b for b in blocks if b.paragraphs or b.items or b.rows]
    return Sheet(result.product.name, answer, kept)


MOST_QUESTIONS = 7


def seller_questions(result: Jug) -> list[str]:
    """What the maker or seller could tell, as plain text to copy."""
    product = result.product
    out = []
    if product.ph is None and not product.dry:
        out.append(f"What is the pH of {product.name}: neat, or 1 part in 9 of water?")
    if product.density is None and not product.dry:
        out.append(f"What does a gallon (or litre) of {product.name} weigh, at what temperature?")
    if product.form != "adjuvant" and not product.says.never_with:
        out.append("What must it never share a tank with, and in how much water at least?")
    names = {product.key: product.name}
    for doubt in result.doubts:
        words = with_name(doubt.settle_by, doubt.key, names)
        found = re.match(r"ask the maker (?:for )?(.+)", words)
        if found:
            out.append(f"Could you tell me {found[1]}?")
    if any(f.key == "undeclared_sodium_chloride" for f in result.open):
        out.append("Does it hold sodium or chloride that the label does not list, and how much?")
    if result.cold is not None and result.cold.cannot_judge is not None:
        out.append("Below what temperature does it salt out, and below what does it freeze?")
    return list(dict.fromkeys(out))[:MOST_QUESTIONS]


def _how_to_measure(result: Jug) -> list[str]:
    """For a jug that nobody measured."""
    if result.product.ph_measured or result.ph is None or result.product.dry:
        return []
    return [
        "Stir 1 part by weight into 9 of distilled or demineralised water, at the tank's "
        "temperature. A meter set on two buffers reads within 0.1, a strip within 0.3. Write it "
        'under [known]: ph = "6.4", ph_by = "strip". Other water takes part in it: give its '
        'alkalinity, ph_in = "120 mg/L as CaCO3".'
    ]


def _chelated(result: Jug) -> list[str]:
    """What the label says of each metal's chelated part."""
    product = result.product
    out = []
    for line, declared in product.chelated.items():
        total = product.guarantee.get(line, declared.percent)
        agent = f"with {declared.agent}" if declared.agent else "agent not named"
        share = min(100.0 * declared.percent / total, 100.0) if total else 0.0
        part = "all of it" if share > 99.0 else f"{share:.0f} % of it"
        out.append(f"{line}: {declared.percent:g} of {total:g} %, {part}, {agent}")
    for source in product.sources:
        if source.bound and not product.chelated:
            out.append(f"all that comes as {source.key}; the label sets no part apart")
    return out


def _mmol(mol: float) -> str:
    return f"{1000.0 * mol:.3g}" if mol < 1.0 else f"{1000.0 * mol:.0f}"


def _span(values: Range) -> str:
    return f"{_mmol(values.p05)} to {_mmol(values.p95)}"


def _carried(carried: Carried, result: Jug, units: Units) -> str:
    per_gallon = carried.kg_per_L * GALLON_L / POUND_KG
    if result.product.dry:
        us = metric = f"{100.0 * carried.kg_per_L:.3g} % of its weight"
    else:
        us, metric = f"{per_gallon:.2f} lb/gal", f"{1000.0 * carried.kg_per_L:.0f} g/L"
    amount = {"us": us, "metric": metric, "both": us if us == metric else f"{us} ({metric})"}[units]
    if carried.price_per_kg is None:
        return f"{carried.nutrient}: {amount}"
    money = result.currency
    pound = carried.price_per_kg * POUND_KG
    price = {
        "us": f"{money}{pound:.2f} a lb",
        "metric": f"{money}{carried.price_per_kg:.2f} a kg",
        "both": f"{money}{pound:.2f} a lb ({money}{carried.price_per_kg:.2f} a kg)",
    }[units]
    return f"{carried.nutrient}: {amount}, {price}"


def _cold(result: Jug, units: Units) -> Block:
    cold = result.cold
    if cold is None:
        return Block()
    text = []
    if cold.clear_at is not None:
        at = format_temperature(result.coldest_celsius, units)
        text.append(f"No salt out at {at}: {odds(cold.clear_at)}.")
    if cold.salts_out_below is not None:
        text.append(f"Salts out below about {_between(cold.salts_out_below, units)}.")
        text.append(f"What comes out first is {' or '.join(cold.names[:2])}.")
    if cold.freezes_below is not None:
        text.append(f"Ice comes before salt, below about {_between(cold.freezes_below, units)}.")
    if cold.cannot_judge is not None:
        text.append(f"When it salts out can't be judged: {cold.cannot_judge}.")
    return Block("In the cold", text)


def _between(t_celsius: Range, units: Units) -> str:
    """A middle temperature with its range."""
    low, middle, high = (
        format_temperature(round(t), units)
        for t in (t_celsius.p05, t_celsius.median, t_celsius.p95)
    )
    return f"{middle} ({low} to {high})"


def jug_json(result: Jug, in_place: Sequence[contract.InPlaceEntry] = ()) -> str:
    """The JSON object of the contract."""
    density, cold = result.density_kg_per_L, result.cold
    return as_json(
        contract.Label(
            product=result.product.name,
            density_kg_per_L=density.median if density else None,
            makeup_mol_per_kg={k: RangeEntry.of(v) for k, v in result.makeup.items()},
            sources_percent={k: RangeEntry.of(v) for k, v in result.sources_percent.items()},
            ph=RangeEntry.known(result.ph),
            conductivity_1_in_100_mS_per_cm=RangeEntry.known(result.conductivity_mS_per_cm),
            adds_up=result.adds_up,
            problems=[finding_text(f) for f in result.problems],
            unread=[
                contract.UnreadEntry(line=int(u.line), text=u.text, kind=u.kind)
                for u in result.product.unread
            ],
            doubts=[
                DoubtEntry(key=d.key, share=d.share, settle_by=d.settle_by) for d in result.doubts
            ],
            open=[finding_text(f) for f in result.open],
            ask_the_seller=seller_questions(result),
            carries=[
                contract.CarriedEntry(
                    nutrient=c.nutrient,
                    kg_per_L=c.kg_per_L,
                    lb_per_gal=c.kg_per_L * GALLON_L / POUND_KG,
                    price_per_kg=c.price_per_kg,
                )
                for c in result.carried
            ],
            salts_out_below_C=RangeEntry.known(cold.salts_out_below if cold else None),
            freezes_below_C=RangeEntry.known(cold.freezes_below if cold else None),
            salts_out=[
                contract.SaltOutEntry(
                    key=name.replace(" ", "_"), t_celsius=RangeEntry.known(cold.salts_out_below)
                )
                for name in cold.names
            ]
            if cold
            else [],
            cannot_judge=cold.cannot_judge if cold else None,
            coldest_celsius=result.coldest_celsius,
            clear_at_coldest=cold.clear_at if cold else None,
            water_matters=_water_matters(result),
            in_place=in_place,
            notes=result.notes,
            draws=result.draws,
            seed=result.seed,
        )
    )
