"""Rules, gases and answers in words: the one place where each code is told and what to do next."""

from __future__ import annotations

import math
from collections.abc import Sequence

from chem.forecast import Answer, Evolved, Gas, Rule, broken
from chem.forecast.rules import name_of
from chem.sheets.contract.parts import EvolvedEntry, GasEntry, RuleEntry, Ruling
from chem.tank import Mix
from chem.units import Rate, Units, format_carrier, format_rate

HAZARD_WORDS = {"carbonate": "fizzes", "ammonia": "heats and fumes"}
SULFUR_GAS = (
    "toxic gas. Don't pour. Acid sets sulfur dioxide free from thiosulfate and sulfite, and drops "
    "sulfur that blocks the screens"
)
SULFUR_APART = "Spray the two apart; no acid goes into a tank that holds these."
UNIT_WORDS = {
    "mL/L": "mL gas per litre",
    "ppm": "ppm over the tank",
    "K": "C warmer",
}


def rule_sentence(rule: Rule, mix: Mix) -> str:
    """What a rule says of the mix, in a line, without its full stop."""
    own, other = name_of(mix, rule.product), name_of(mix, rule.other)
    match rule.code:
        case "sulfur_in_acid":
            return f"{own} with {other}: {SULFUR_GAS}"
        case "never_with":
            return f"{own}: never with {rule.origin} ({other})"
        case "carrier_at_least":
            return f"{own}: its label asks for more carrier"
        case "carrier_at_most":
            return f"{own}: its label asks for less carrier"
        case "rate_at_least" | "rate_at_most":
            return f"{own}: the rate is outside its label's range"
        case "pour_first":
            return f"{own}: its label says to pour it first"
        case "pour_last":
            return f"{own}: its label says to pour it last"
        case "acid_beside_carbonate" | "acid_beside_ammonia":
            return f"{own}, an acid, next to {other}: {HAZARD_WORDS[rule.origin]}"
        case "copper_in_acid":
            return "Copper is in the mix: acid frees it, and free copper burns leaves"
        case "sulfonylurea_in_acid":
            return (
                f"{other}: sulfonylurea herbicides fall apart in acid water. Its label's pH "
                "comes first; if it must be, spray at once"
            )
        case "silicate_in_acid":
            return "Acid turns silicate to gel"
        case "organics_in_acid":
            return "Acid can drop humic or kelp extracts: watch the jar for flakes and gel"
    raise KeyError(rule.code)


def rule_next(rule: Rule, mix: Mix, units: Units = "both") -> str:
    """What to do about a rule, in a line."""
    own, other = name_of(mix, rule.product), name_of(mix, rule.other)
    match rule.code:
        case "sulfur_in_acid":
            return f"Never pour {own} and {other} into one tank: spray the two apart."
        case "never_with":
            return f"Spray {own} and {other} apart: the label forbids them in one tank."
        case "carrier_at_least" | "carrier_at_most":
            most = "at least" if rule.code == "carrier_at_least" else "at most"
            limit = format_carrier(rule.limit or 0.0, units)
            return f"Use {most} {limit}, as the label of {own} asks."
        case "rate_at_least" | "rate_at_most":
            most = "at least" if rule.code == "rate_at_least" else "at most"
            return f"Use {most} {_rate_limit(rule, mix, units)} of {own}, as its label asks."
        case "pour_first":
            return f"Pour {own} first, as its label says."
        case "pour_last":
            return f"Pour {own} last, as its label says."
        case "acid_beside_carbonate" | "acid_beside_ammonia":
            return f"Pour something else between {own} and {other}: `jarsight pour`."
    return rule_sentence(rule, mix) + "."


def _rate_limit(rule: Rule, mix: Mix, units: Units) -> str:
    assert rule.product is not None
    limits = mix.additions[rule.product].product.rate_range
    assert limits is not None
    limit: Rate = limits[0] if rule.code == "rate_at_least" else limits[1]
    return format_rate(limit, units)


def forbids(rules: Sequence[Rule], mix: Mix) -> list[str]:
    """Every broken rule in a line."""
    return [rule_sentence(r, mix) for r in broken(rules)]


def minds(rules: Sequence[Rule], mix: Mix) -> list[str]:
    """Every rule to be minded, in a sentence."""
    found = (f"{rule_sentence(r, mix)}." for r in rules if r.severity == "mind")
    return list(dict.fromkeys(found))


def rules_json(rules: Sequence[Rule], mix: Mix, refused: str | None) -> Ruling:
    """What every command that takes a mix says of its rules."""
    return {
        "refused": refused,
        "label_forbids": forbids(rules, mix),
        "rules_broken": [
            RuleEntry(
                code=r.code,
                severity=r.severity,
                product=name_of(mix, r.product),
                other=name_of(mix, r.other) or None,
                step=r.step,
                limit=r.limit,
                unit=r.unit or None,
                sentence=f"{rule_sentence(r, mix)}.",
            )
            for r in rules
        ],
    }


def gas_sentence(gas: Gas, mix: Mix) -> str:
    """A gas, heat or fumes and why, in a sentence."""
    own, other = name_of(mix, gas.product), name_of(mix, gas.other)
    meets = f"{own} meets {other}"
    match gas.key, gas.cause:
        case "carbon_dioxide", "meets":
            return f"Fizzes ({meets}). Never close the jar or the lid."
        case "carbon_dioxide", _:
            return (
                "Fizzes: more carbon dioxide than the water holds. Never close the jar or the lid."
            )
        case "sulfur_dioxide", cause:
            why = meets if cause == "meets" else f"{gas.hazard} at pH {gas.ph:.1f}"
            return f"Sulfur dioxide, sharp smell ({why}). Stand upwind."
        case "ammonia", "reckoned":
            return "Ammonia over the tank, sharp smell. Lid open, stand upwind."
        case "ammonia", "unsure":
            return "May smell of ammonia: check the pH. Lid open, stand upwind."
        case "ammonia", cause:
            why = meets if cause == "meets" else f"pH {gas.ph:.1f}"
            return f"Ammonia, sharp smell ({why}). Lid open, stand upwind."
        case "heat", _:
            return f"Heats up: {own} is strong {gas.hazard}. Slowly, into much water."
        case "hydrogen_sulfide", _:
            return f"{own} must never meet acid: deadly gas."
    raise KeyError(gas.key)


def evolved_unit(gas: Evolved) -> str:
    """The unit of an amount, in words."""
    words = UNIT_WORDS[gas.unit] if gas.unit else ""
    if gas.key == "carbon_dioxide" and words:
        words += " of mix"
    return f"{words} {gas.bound}".strip()


def evolved_sentence(gas: Evolved, mix: Mix) -> str:
    """A gas or heat with its amount, where there is one worth telling."""
    because = gas_sentence(gas.gas, mix)
    if gas.amount is None or gas.amount < 0.5:
        return because
    text = f"{because} About {two_figures(gas.amount)} {evolved_unit(gas)}"
    if gas.limit is None or gas.key == "carbon_dioxide":
        return f"{text}."
    where = "limit" if gas.unit == "ppm" else "limit in air"
    return f"{text} ({where} {gas.limit:g} ppm)."


def gas_entries(gases: Sequence[Gas], mix: Mix) -> list[GasEntry]:
    """Each gas or heat: what, why."""
    return [GasEntry(key=g.key, because=gas_sentence(g, mix)) for g in gases]


def evolved_entries(gases: Sequence[Evolved], mix: Mix) -> list[EvolvedEntry]:
    """Each gas or heat: what, why, how much."""
    return [
        EvolvedEntry(
            key=g.key,
            because=gas_sentence(g.gas, mix),
            amount=g.amount,
            unit=evolved_unit(g),
            limit=g.limit,
        )
        for g in gases
    ]


def because(answer: Answer) -> str:
    """Why it can't be told."""
    match answer.cause:
        case "failed":
            return f"no equilibrium found in {100 * answer.share:.0f} % of draws"
        case "strong":
            return f"far too concentrated for the model (ionic strength {answer.share:.1f} mol/kg)"
        case "unjudged":
            names = ", ".join(answer.unjudged)
            return f"the salts stay clear; {names} can't be judged: the jar decides"
    raise KeyError(answer.cause)


def two_figures(value: float) -> str:
    """A positive number to two figures, without a power of ten."""
    if 0.0 < value < 1e-4:  # below it Python writes powers of ten
        return f"{value:.{1 - math.floor(math.log10(value))}f}"
    return f"{value:#.2g}".rstrip(".") if value < 99.5 else f"{value:.0f}"
