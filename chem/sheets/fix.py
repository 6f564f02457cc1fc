"""The sheet of changes that work."""

from __future__ import annotations

from chem.advice.agents import LICENCE
from chem.advice.fix import LEVERS, Fixes
from chem.advice.levers import RATES, Fix, NoUse
from chem.forecast import ALWAYS, JAR_DECIDES, THRESHOLD, broken
from chem.notebook.tried import Told
from chem.sheets.as_json import as_json, odds_under
from chem.sheets.at_once import at_once
from chem.sheets.blocks import Block, Sheet
from chem.sheets.contract import advice as contract
from chem.sheets.contract.parts import ByTime
from chem.sheets.notebook import learned_entries
from chem.sheets.rules import (
    evolved_sentence,
    forbids,
    gas_sentence,
    rule_next,
    rule_sentence,
    rules_json,
)
from chem.sheets.salt import half_doubles, salt_entry
from chem.sheets.words import TIME_WORDS, odds
from chem.tank import main_nutrient
from chem.units import (
    Units,
    format_area,
    format_carrier,
    format_mass,
    format_per_gallon_and_litre,
    format_rate,
    format_volume,
)

TITLES = {
    "carrier": "More water",
    "rate": "Less of one product",
    "water": "Other water",
    "acid": "An acid",
    "base": "A base",
    "swap": "Another product",
    "order": "Another order",
    "passes": "Separate passes",
}
MOST_SHOWN = 4
BECAUSE = {
    "nothing_to_change": "nothing to change: the salts stay clear",
    "forbidden": "a rule forbids this mix, and no separate passes were found",
    "on_the_way": "the full tank stays clear, but it clouds on the way in any order",
    "none": "no more carrier, lower rate, other water, mild acid or base, swap, order or second "
    "pass keeps these clear",
}


def fix_sheet(result: Fixes, units: Units = "both") -> Sheet:
    """Answer first: the smallest change of each kind, with the odds that are left."""
    blocks = []
    rules = forbids(result.rules, result.mix)
    if rules:
        title = "Never in one tank" if result.refused else "A rule is broken as asked"
        blocks.append(Block(title, items=[f"{r[0].upper()}{r[1:]}." for r in rules], kind="stop"))
    if result.gases:
        items = [evolved_sentence(g, result.mix) for g in result.gases]
        blocks.append(Block("Gas or heat", items=items, kind="gas"))
    blocks.append(Block("Do this next", [_next(result, units)], kind="next"))
    numbered = list(enumerate(listed_fixes(result), start=1))
    for lever in LEVERS:
        found = [f"{n}. {_words(result, f, units)}" for n, f in numbered if f.lever == lever]
        if found:
            blocks.append(Block(TITLES[lever], items=found))
    spray = _spray(result)
    if spray:
        blocks.append(Block("Or spray it at once", [spray]))
    if result.no_use:
        blocks.append(
            Block("What would not do", items=[no_use_sentence(n, result) for n in result.no_use])
        )
    if not result.refused and any(a.rate.per == "area" for a in result.mix.additions):
        blocks.append(Block("Less water", [half_doubles(result.salt, units)]))
    granted = [f"{name} is not judged: only the jar can tell" for name in result.not_judged]
    if granted:
        blocks.append(Block("Taken for granted, check these", items=granted))
    blocks += [Block("Always", items=ALWAYS), Block("", [JAR_DECIDES])]
    return Sheet(f"{result.mix.name}: fix", _answer(result), blocks)


def listed_fixes(result: Fixes) -> list[Fix]:
    """The changes that the sheet lists, in its order."""
    return [
        f for lever in LEVERS for f in [f for f in result.fixes if f.lever == lever][:MOST_SHOWN]
    ]


def _answer(result: Fixes) -> list[str]:
    span = TIME_WORDS[result.judged_at]
    chance = result.probability[result.judged_at]
    lines = [f"Solids within {span}: {odds(chance)}."]
    if chance < THRESHOLD <= result.on_the_way:
        lines = [
            f"The full tank stays clear, but it clouds on the way as you pour it: "
            f"{odds(result.on_the_way)}."
        ]
    if result.refused:
        lines[0] = f"Never in one tank: toxic gas. {lines[0]}"
    elif broken(result.rules):
        lines[0] = f"A rule forbids it as asked. {lines[0]}"
    count = len(result.fixes)
    if count == 1:
        lines[0] += " One change would do."
    elif count:
        lines[0] += f" {count} changes would do, each alone."
    elif result.because == "nothing_to_change":
        lines = [f"Nothing to change. Solids within {span}: {odds(chance)}."]
    else:
        because = BECAUSE[result.because] if result.because else ""
        lines[0] += f" {because[:1].upper()}{because[1:]}."
    tomorrow = result.probability["24h"]
    if chance < THRESHOLD <= tomorrow:
        lines.append(f"Left until tomorrow: {odds(tomorrow)}. Ask again with `--for 24h`.")
    return lines


def _next(result: Fixes, units: Units) -> str:
    if result.refused:
        return rule_next(broken(result.rules)[0], result.mix, units)
    if result.fixes:
        return "Try the change in a jar at the same ratio before the tank."
    if result.because == "nothing_to_change":
        if result.probability["24h"] >= THRESHOLD:
            return "Jar test at the same ratio, then fill; leave none standing overnight."
        return "Jar test at the same ratio, then fill."
    alone = next((n for n in result.no_use if (n.lever, n.cause) == ("passes", "alone")), None)
    if alone is not None:
        return (
            "Don't fill the tank with these together. By itself in this water "
            f"{_by_name(alone, result, ' or ')} would not do either: `jarsight fix` of each alone "
            "tells what helps."
        )
    return "Don't fill the tank with these. `jarsight why` tells what meets what."


def _by_name(found: NoUse, result: Fixes, between: str) -> str:
    return between.join(result.mix.additions[i].product.name for i in found.places)


def fix_change(found: Fix, result: Fixes, units: Units) -> str:
    """The change itself, in a few words."""
    mix, tank = result.mix, found.mixes[0]
    match found.lever:
        case "carrier":
            return f"spray volume {format_carrier(tank.carrier_L_per_m2, units)}"
        case "rate":
            assert found.product is not None
            name = mix.additions[found.product].product.name
            own = next(a.rate for a in tank.additions if a.product.name == name)
            return f"{name}: {format_rate(own, units)}"
        case "water":
            if found.other is not None:
                return f"{_rain(found):.0f} % {found.other.name}"
            return f"{_rain(found):.0f} % rain or other soft water"
        case "acid" | "base":
            return _dose(found, result, units)
        case "swap":
            assert found.swap is not None and found.product is not None
            return f"{found.swap[0].name} for {mix.additions[found.product].product.name}"
        case "order":
            return ", then ".join(a.product.name for a in tank.additions)
    return " | ".join(" + ".join(a.product.name for a in t.additions) for t in found.mixes)


def fix_sentence(found: Fix, result: Fixes, units: Units) -> str:
    """What to do, in one sentence; the pouring order after it where that is another."""
    mix, change = result.mix, fix_change(found, result, units)
    match found.lever:
        case "carrier":
            tank = found.mixes[0]
            volume = format_carrier(tank.carrier_L_per_m2, units)
            text = f"Put the same amounts on the same ground in {found.factor:.2g} times the "
            text += f"water: {volume}."
            if mix.tank_L is not None:
                area = format_area(mix.tank_L / tank.carrier_L_per_m2, units)
                text += f" A tank then covers {area}."
        case "rate":
            name, _, rate = change.rpartition(": ")
            text = f"Put in {100 * (found.factor or 0.0):.0f} % of {name}: {rate}."
        case "water":
            text = f"Fill with at least {change}."
            if found.other is not None:
                text = f"Fill with {change}, the rest {mix.water.name}."
        case "acid" | "base":
            assert found.reagent is not None
            where = (
                "into half the water, then the other products"
                if found.reagent.acid
                else "in once the acid products are well mixed in"
            )
            text = f"Stir {change} {where}; check with a pH strip."
        case "swap":
            assert found.swap is not None and found.product is not None
            other, rate_ = found.swap
            name = mix.additions[found.product].product.name
            text = f"Use {other.name} at {format_rate(rate_, units)} in place of {name}: "
            text += f"as much {main_nutrient(other)[0]}."
        case "order":
            return f"Pour in this order: {change}."
        case _:
            named = [" + ".join(a.product.name for a in t.additions) for t in found.mixes]
            text = f"Spray in {len(named)} passes, the tank rinsed in between: "
            text += "; then ".join(named) + "."
    for tank, moved in zip(found.mixes, found.reordered, strict=True):
        if moved:
            names = ", then ".join(a.product.name for a in tank.additions)
            text += f" Pour in this order: {names}."
    return text


def _rain(found: Fix) -> float:
    return 100.0 * (1.0 - (found.factor or 0.0))


def _dose(found: Fix, result: Fixes, units: Units) -> str:
    """A dose in the agent's own form."""
    reagent, dose = found.reagent, found.dose_g_per_L
    assert reagent is not None and dose is not None

    def amount(litres: float) -> str:
        kg = dose * litres / 1000.0
        if reagent.product.density is None:
            return format_mass(kg, units)
        return format_volume(kg / (0.5 * sum(reagent.product.density)), units)

    tank = result.mix.tank_L
    if tank is not None:
        return f"{amount(tank)} of {reagent.own_form} per {format_volume(tank, units)}"
    if reagent.dry:
        return f"{format_per_gallon_and_litre(dose, units)} of {reagent.own_form}"
    return f"{amount(1.0)} of {reagent.own_form} per litre"


def _minds(found: Fix, result: Fixes) -> list[str]:
    """What else to know of a change."""
    if found.reagent is None:
        return []
    out = list(dict.fromkeys(f"{rule_sentence(r, found.mixes[0])}." for r in found.minds))
    if found.reagent.acid and result.mix.adjuvant is not None:
        out.append(f"Check the pH that {result.mix.adjuvant.name} wants: `jarsight ph`.")
    if found.reagent.agent is not None and found.reagent.agent.named_only:
        out += [LICENCE, *found.reagent.agent.care]
    return out


def no_use_sentence(found: NoUse, result: Fixes) -> str:
    """A kind of change that doesn't do, and why."""
    reagent = found.reagent
    agent = "" if reagent is None else f"{reagent.name[:1].upper()}{reagent.name[1:]}"
    match found.lever, found.cause:
        case "carrier", "by_volume":
            return "More water changes nothing: every rate is by volume of water."
        case "carrier", "label":
            return "More water: a label allows no more."
        case "carrier", _:
            return f"More water: not even {found.factor:.2g} times as much."
        case "rate", _:
            return (
                "Less of one product: not for any of them, down to its label's least or, where "
                f"none is printed, {100 * RATES[-1]:.0f} %."
            )
        case "water", "water_unknown":
            return "Softer water: can't be told while the water isn't known."
        case "water", _:
            return "Softer water: not even rain water; the products alone do it."
        case "acid" | "base", "gas":
            return f"{agent}: toxic gas. Don't pour."
        case "acid" | "base", "forbidden":
            if any(r.severity == "never" for r in found.rules):
                return (
                    f"{agent}: toxic gas. Don't pour. Acid sets sulfur dioxide free from "
                    "thiosulfate and sulfite."
                )
            words = ", ".join(dict.fromkeys(f"never with {r.origin}" for r in found.rules))
            return f"{agent}: a label forbids it ({words})."
        case "acid" | "base", _:
            return (
                f"{agent}: no dose up to {found.factor:g} g/L, poured so that every rule is kept."
            )
        case "swap", "no_shelf":
            return "Another product: not tried; name the folder of your shelf with `--in`."
        case "swap", _:
            return (
                "Another product: none of the shelf brings as much of the same nutrient within "
                "its label's rates and stays clear."
            )
        case "order", "same_tank":
            return "Another order: the full tank is the same whatever went in first."
        case "order", _:
            return "Another order: none keeps it clear on the way and keeps every rule."
        case "passes", "one_product":
            return "Separate passes: there is only one product."
        case "passes", "many_products":
            return (
                f"Separate passes: not searched beyond {found.factor:g} products; "
                "`jarsight shelf --in DIR --use A,B,C` parts them pair by pair."
            )
        case "passes", "alone":
            names = _by_name(found, result, "; ")
            return f"Separate passes: by itself in this water would not do: {names}."
    return "Separate passes: none keeps every tank clear."


def _words(result: Fixes, found: Fix, units: Units) -> str:
    span = TIME_WORDS[result.judged_at]
    text = f"{fix_sentence(found, result, units)} Then solids within {span}: "
    text += f"{odds_under(found.probability_after[result.judged_at])}."
    if result.judged_at != "24h" and found.probability_after["24h"] >= THRESHOLD:
        text += f" By tomorrow: {odds(found.probability_after['24h'])}."
    if found.all_water_first:
        text += " Put all the water in before the products, or it clouds on the way."
    elif found.on_the_way >= THRESHOLD:
        text += f" It may cloud on the way ({odds(found.on_the_way)}): watch the jar as you pour."
    return " ".join((text, *_minds(found, result)))


def _spray(result: Fixes) -> str | None:
    """What spraying at once would do, apart from the changes."""
    if broken(result.rules) or result.answer not in {"haze", "curdle"}:
        return None
    return at_once(result.answer, result.spray_within_minutes)


def fix_json(result: Fixes, units: Units = "both", told: Told | None = None) -> str:
    """The JSON object of the contract."""
    return as_json(
        contract.Fix(
            learned=learned_entries(told),
            mix=result.mix.name,
            judged_at=result.judged_at,
            **rules_json(result.rules, result.mix, result.refused),
            probability=ByTime.of(result.probability),
            fixes=[_fix_entry(f, result, units) for f in result.fixes],
            no_use=[
                contract.NoUseEntry(lever=n.lever, sentence=no_use_sentence(n, result))
                for n in result.no_use
            ],
            spray_within_minutes=result.spray_within_minutes,
            because=BECAUSE[result.because] if result.because else None,
            on_the_way=result.on_the_way,
            salt=salt_entry(result.salt, result.mix),
            gases=[gas_sentence(g.gas, result.mix) for g in result.gases],
            not_judged=result.not_judged,
            draws=result.draws,
            seed=result.seed,
        )
    )


def _fix_entry(found: Fix, result: Fixes, units: Units) -> contract.FixEntry:
    return contract.FixEntry(
        lever=found.lever,
        change=fix_change(found, result, units),
        factor=found.factor,
        probability_after=ByTime.of(found.probability_after),
        sentence=fix_sentence(found, result, units),
        tanks=[[a.product.name for a in mix.additions] for mix in found.mixes],
        on_the_way=found.on_the_way,
        all_water_first=found.all_water_first,
        mind=_minds(found, result),
    )
