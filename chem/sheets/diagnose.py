"""The sheet for a tank that went wrong."""

from __future__ import annotations

from collections.abc import Sequence

from chem.advice.cleaning import CleanStep
from chem.advice.diagnose import (
    ACID,
    ACID_G_PER_L,
    HARDLY,
    LIKELY,
    OF_GAS,
    Cause,
    Diagnosis,
    NoAcid,
    Try,
)
from chem.forecast import ALWAYS, IF_IT_GOES_WRONG
from chem.forecast.sight import OF_SOLIDS
from chem.reference import tables
from chem.reference.colloids import colloids
from chem.sheets.as_json import as_json
from chem.sheets.blocks import Block, Sheet
from chem.sheets.contract import advice as contract
from chem.sheets.rules import forbids, gas_entries, gas_sentence, rule_sentence, rules_json
from chem.sheets.words import capital, odds
from chem.tank import Mix
from chem.units import Units, format_volume

NO_ACID_HERE = "No acid, not even to rinse: a brush and much water."
DISPOSE = "Rinsate back on a labelled site within its rate."


def diagnose_sheet(result: Diagnosis, units: Units = "both") -> Sheet:
    """What it is, what to try first in a jar, whether it may be sprayed, how to clean out."""
    answer = []
    if result.refused:
        answer += [f"{r[0].upper()}{r[1:]}." for r in forbids(result.rules, result.mix)[:1]]
    if result.causes:
        first = result.causes[0]
        words = cause_sentence(first)
        answer.append(f"Most likely {words[0].lower()}{words[1:]}")
        salt = "" if result.agrees else ", if it is a salt at all"
        answer.append(f"How sure: {odds(first.probability)}{salt}.")
    elif OF_SOLIDS & set(result.seen):
        answer.append("No salt or colloid of this mix should show: look for an emulsion or dirt.")
    else:
        answer.append("What you saw tells of no solid.")
    if not result.agrees:
        answer.append(
            "The model did not expect what you saw: a salt may not be the cause. A curd of pouring "
            "too fast may go back, stirred a quarter of an hour."
            if OF_SOLIDS & set(result.seen)
            else "The model expects solids by now: look again against the light."
        )
    answer += _remarks(result)
    rules = [f"{r[0].upper()}{r[1:]}." for r in forbids(result.rules, result.mix)]
    blocks = [
        Block("A rule is broken", items=[] if result.refused else rules, kind="stop"),
        Block("Now", items=IF_IT_GOES_WRONG),
        Block(
            "It could also be",
            items=[f"{cause_sentence(c)} {_odds(c.probability)}." for c in result.causes[1:]],
        ),
        Block(
            "Try, first in a jar of it", items=[try_sentence(t, result.mix) for t in result.tries]
        ),
        Block(
            "May it still be sprayed",
            [f"Screens stay open: {odds(result.sprayable)}. Try a screen on a jar of it first."],
        ),
        Block("Clean out, in this order", items=[*clean_sentences(result, units), DISPOSE]),
        Block("Nozzles, screens and pump", items=_metals(result)),
        Block("Always", items=ALWAYS),
        Block("", ["A model can be wrong: what the jar shows decides. Then: jarsight saw MIX."]),
    ]
    if result.refused:
        blocks = [b for b in blocks if b.title != "May it still be sprayed"]
    kept = [b for b in blocks if b.paragraphs or b.items]
    return Sheet(f"What went wrong: {result.mix.name}", answer, kept)


def _odds(chance: float) -> str:
    """A chance that begins a sentence."""
    text = odds(chance)
    return capital(text)


def _remarks(result: Diagnosis) -> list[str]:
    """What gas, heat or an emulsion would say, which no solid does."""
    out = [gas_sentence(g, result.mix) for g in result.gases]
    if OF_GAS & set(result.seen) and not out:
        out.append("No gas or heat is expected of this mix: lid open, stand upwind, stop.")
    if {"oil", "layers", "foam"} & set(result.seen):
        out.append("Oil, layers or foam are of emulsions and wetting agents: not judged here.")
    return out


def _name(cause: Cause) -> str:
    """A solid or colloid in words."""
    if cause.part.kind == "colloid":
        return colloids()[cause.key].because
    if cause.key in tables().solids:
        return tables().solids[cause.key].name
    return cause.part.name.removesuffix(" crystals (cold)")


def cause_sentence(cause: Cause) -> str:
    """What it is and from whose jugs."""
    name = _name(cause)
    text = capital(name)
    given = [f"{c} of {who}" for c, who, _ in cause.givers]
    if cause.alkali is not None:
        given.append(f"the alkali of {cause.alkali}")
    if cause.part.kind == "colloid" or not given:
        return f"{text}."
    return f"{text}: " + " with ".join(given) + "."


def try_sentence(tried: Try, mix: Mix) -> str:
    """A remedy and what it would do."""
    if tried.what == "water":
        if tried.forbidden:
            rules = "; ".join(sorted(rule_sentence(r, mix) for r in tried.forbidden))
            return f"As much water again: no, {rules}."
        return f"As much water again: {_verdict(tried)}"
    if tried.what == "acid":
        if tried.no_acid is not None:
            return f"Acid: {no_acid_words(tried.no_acid)}"
        dose = f"{ACID[0].upper()}{ACID[1:]}, {ACID_G_PER_L:g} g per litre (1 oz per gallon)"
        return f"{dose}: {_verdict(tried)}{_mind(tried, mix)}"
    if tried.works >= HARDLY or not tried.sure:
        return f"Stirring and waiting: {_verdict(tried)}"
    return "Waiting: it does not go back by itself."


def no_acid_words(reason: NoAcid) -> str:
    """Why no acid may be tried."""
    if reason.cause == "gas":
        return "never here: it frees a poisonous gas."
    if reason.cause == "label":
        words = ", ".join(dict.fromkeys(f"never with {r.origin}" for r in reason.rules))
        return f"no, a label forbids it ({words})."
    return f"no, {reason.product} would foam over: it holds carbonate."


def _mind(tried: Try, mix: Mix) -> str:
    """What to mind of acid, where it may be worth a try."""
    if tried.works < HARDLY:
        return ""
    codes = {r.code for r in tried.minds}
    out = ""
    if "copper_in_acid" in codes:
        out += " Acid frees copper, and free copper burns leaves."
    if "sulfonylurea_in_acid" in codes:
        out += " Sulfonylurea herbicides fall apart in acid."
    return out + " Bit by bit, lid open: it may fizz."


def _verdict(tried: Try) -> str:
    """What the model says of a remedy."""
    if not tried.sure:
        return "nothing is over its limit in the model: only a jar of it can tell."
    if tried.works >= LIKELY:
        return "may take it back, stirred long. First in a jar of it."
    if tried.works >= HARDLY:
        return "hardly; only a jar of it can tell."
    if tried.lost:
        return "no, what gelled or fell apart does not go back."
    return "no, it will not take it back."


def _metals(result: Diagnosis) -> list[str]:
    """What the solids wear and what the liquid eats."""
    out = [f"{m.metals[0].upper()}{m.metals[1:]}: {m.why}." for m in result.metals]
    if any(c.rinse in {"gypsum", "acid", "warm_water", "water"} for c in result.causes):
        out.append(
            "Grains wear nozzles and pump seals, brass first, ceramic last; check the catch."
        )
    return out or ["Nothing in this liquid is known to eat metal."]


def clean_sentences(result: Diagnosis, units: Units = "both") -> list[str]:
    """Every step of cleaning out, and what tells that it worked."""
    never_acid = bool(result.refused) or any(c.rinse == "sulfur" for c in result.causes)
    return [
        *(_step_sentence(s, result, units) for s in result.cleaning),
        *([NO_ACID_HERE] if never_acid else []),
        _worked(result),
    ]


def _step_sentence(step: CleanStep, result: Diagnosis, units: Units) -> str:
    share = "half a tank" if step.what in {"warm", "much"} else "a tenth of the tank"
    water = share if step.litres is None else format_volume(step.litres, units)
    what_for = _named(step.keys, result)
    match step.what:
        case "flush":
            return (
                f"Drain, then rinse {_times(step.times)} with {water} of clean water, "
                f"{step.minutes} min stirring each, out through hoses and boom."
            )
        case "brush":
            text = f"Screens and nozzles out, into a bucket of water for {step.minutes} min; brush."
            if what_for:
                text += f" Water and a brush are all there is for {what_for}: acid does not clear "
                text += "it."
            return text
        case "warm":
            return (
                f"For {what_for}: {water} of warm water, at most 100 F (38 C), stirred "
                f"{step.minutes} min."
            )
        case "much":
            return (
                f"For {what_for}: {water} of clean water, stirred {step.minutes} min, "
                f"{_times(step.times)}. Acid does not clear it."
            )
        case "alkali":
            return (
                f"For {what_for}: {water} of water with {_strength(units)} of baking soda, "
                f"{step.minutes} min, then rinse: never with ammonium still in it. Acid makes it "
                "worse."
            )
        case "acid":
            dose = "1 part of 5 % vinegar to 3 of water"
            if step.agent != "vinegar":
                dose = f"{_strength(units)} of citric acid in clean water"
            text = f"For {what_for}: an acid rinse, {water} of {dose}, lid open, {step.minutes} min"
            text += " standing in hoses and boom as well; screens in the same. Never after bleach."
            if result.no_acid is not None:
                text += " Not before water has rinsed out the last of this mix."
            return text
    return (
        f"Last, rinse {_times(step.times)} with {water} of clean water, screens back in, out "
        "through the nozzles."
    )


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _strength(units: Units) -> str:
    """About 1 oz per gallon, the dose of an acid rinse."""
    us, metric = "1 oz wt per gallon", f"{ACID_G_PER_L:g} g per litre"
    return {"us": us, "metric": metric}.get(units, f"{us} ({metric})")


def _named(keys: Sequence[str], result: Diagnosis) -> str:
    by_key = {c.key: _name(c) for c in result.causes}
    return " and ".join(by_key[k] for k in keys)


def _worked(result: Diagnosis) -> str:
    """What tells that it is clean."""
    text = "It worked when the last water comes out clear, a screen dries without a film"
    text += " or grains, and a strip reads what the water alone reads"
    ph = result.mix.water.ph
    text += f" ({ph.value:g})." if ph is not None else "."
    if any(s.what == "acid" for s in result.cleaning):
        text += " In the acid: no more fizz, and screens bare."
    return text


def diagnose_json(result: Diagnosis, units: Units = "both") -> str:
    """The JSON object of the contract."""
    return as_json(
        contract.Diagnose(
            mix=result.mix.name,
            **rules_json(result.rules, result.mix, result.refused),
            gases=gas_entries(result.gases, result.mix),
            seen=result.seen,
            causes=[
                contract.CauseEntry(
                    key=c.key, probability=c.probability, sentence=cause_sentence(c)
                )
                for c in result.causes
            ],
            tries=[
                contract.TryEntry(what=t.what, works=t.works, sentence=try_sentence(t, result.mix))
                for t in result.tries
            ],
            sprayable=result.sprayable,
            clean_out=" ".join(clean_sentences(result, units)),
            cleaning=[
                contract.CleanEntry(
                    what=s.what,
                    what_for=s.keys,
                    litres=s.litres,
                    times=s.times,
                    minutes=s.minutes,
                    agent=s.agent or None,
                    sentence=_step_sentence(s, result, units),
                )
                for s in result.cleaning
            ],
            metals=[
                contract.MetalEntry(key=m.key, metals=m.metals, because=m.why)
                for m in result.metals
            ],
            remarks=_remarks(result),
            model_agrees=result.agrees,
            draws=result.draws,
            seed=result.seed,
        )
    )
