"""The forecast's sheet: answer first, then what to do, measure, expect and check."""

from __future__ import annotations

from chem.advice.reading import ReadPh
from chem.doubts import Range
from chem.forecast import (
    ALWAYS,
    IF_IT_GOES_WRONG,
    JAR_DECIDES,
    MODEL_KINDS,
    THRESHOLD,
    Forecast,
    broken,
)
from chem.notebook.tried import Told
from chem.reference.colloids import colloids
from chem.sheets.at_once import KEEP_STIRRING, at_once, in_time
from chem.sheets.blocks import Block, Sheet
from chem.sheets.comes_out import per_two_ions, threatening, what_comes_out, when
from chem.sheets.notebook import told_block, told_lines
from chem.sheets.reading import read_block
from chem.sheets.rinse import sump_block
from chem.sheets.rules import (
    because,
    evolved_sentence,
    forbids,
    gas_sentence,
    minds,
    rule_next,
    two_figures,
)
from chem.sheets.salt import KG_PER_HA_TO_LB_PER_1000_SQ_FT, salt_block
from chem.sheets.tank import load_title, rows
from chem.sheets.window import window_sentence
from chem.sheets.words import CLEARLY, TIME_WORDS, WATCH_THE_JAR, odds, with_name
from chem.units import (
    Units,
    format_area,
    format_carrier,
    format_temperature,
    format_volume,
)

NEVER = "Never in one tank: toxic gas. Don't pour."
RANK = {"clear": 0, "haze": 1, "curdle": 2}


def forecast_sheet(
    result: Forecast,
    units: Units = "both",
    *,
    chemist: bool = False,
    told: Told | None = None,
    read: ReadPh | None = None,
) -> Sheet:
    """The whole sheet; `chemist` adds SI, ionic strength, draws and seed; told: what the notebook
    says of it; read: a pH read in the tank."""
    part = forecast_blocks(result, units, told)
    if read is not None:
        part["ph"] = read_block(read, result)
    order = (
        "tank",
        "ph",
        "out",
        "sprayer",
        "nutrients",
        "salt",
        "granted",
        "always",
        "wrong",
        "decides",
    )
    blocks = [*forecast_first(result, units, told), *(part[name] for name in order)]
    blocks = [b for b in blocks if b.title not in {"Your sprayer", "Salt on the leaf"} or b.items]
    if chemist:
        blocks += chemist_blocks(result)
    return Sheet(result.mix.name, forecast_answer(result, told), blocks)


def forecast_answer(result: Forecast, told: Told | None = None) -> list[str]:
    """The answer, before it that it must never be poured, and what the notebook says of it."""
    never = [NEVER] if result.refused else []
    return [*never, *([] if told is None else told_lines(told)), *answer_lines(result)]


def forecast_first(
    result: Forecast, units: Units = "both", told: Told | None = None
) -> list[Block]:
    """What forbids it, gas and heat, what else was tried, and what to do next."""
    noted = None if told is None else told_block(told)
    return [
        *_warnings(result),
        *([] if told is None or told.sump is None else [sump_block(told.sump, units)]),
        *([] if noted is None else [noted]),
        Block("Do this next", [next_step(result, units)], kind="next"),
    ]


def forecast_blocks(
    result: Forecast, units: Units = "both", told: Told | None = None
) -> dict[str, Block]:
    """The other parts of the sheet by name, for the sheet and the page to put in order."""
    return {
        "tank": _tank(result, units),
        "ph": _ph(result),
        "out": what_comes_out(result, units),
        "sprayer": Block("Your sprayer", items=_sprayer(result)),
        "nutrients": _nutrients(result, units),
        "salt": _salt(result, units, told),
        "granted": _granted(result),
        "always": Block("Always", items=[*minds(result.rules, result.mix), *ALWAYS]),
        "wrong": Block("If it goes wrong", items=IF_IT_GOES_WRONG),
        "decides": Block("", [JAR_DECIDES]),
    }


def forecast_short(result: Forecast, units: Units = "both") -> str:
    """Six lines for a text message."""
    answer = answer_lines(result)
    warning = (
        " ".join(f"{_forbidden(result)}: {r}." for r in forbids(result.rules, result.mix)[:1])
        or " ".join(gas_sentence(g.gas, result.mix) for g in result.gases[:1])
        or (answer[1] if len(answer) > 1 else f"By tomorrow: {_tomorrow(result)}.")
    )
    threats = threatening(result)
    out = threats[0].name + ", " + when(threats[0]) if threats else "nothing in a spray day"
    if not threats and result.colloids and result.colloids[0].risk >= THRESHOLD:
        first = result.colloids[0]
        out = f"{colloids()[first.key].because}, {odds(first.risk)}"
    return "\n".join(
        (
            f"{result.mix.name}: {NEVER if result.refused else answer[0]}",
            warning,
            next_step(result, units),
            f"pH about {result.ph.median:.1f} ({result.ph.p05:.1f} to {result.ph.p95:.1f}).",
            f"Comes out: {out}.",
            JAR_DECIDES,
        )
    )


def answer_lines(result: Forecast) -> list[str]:
    """The answer with its odds; a second sentence where tomorrow is worse."""
    span = TIME_WORDS[result.judged_at]
    chance = result.chance
    may = chance < 0.5
    if result.answer == "clear":
        first = f"Stays clear for {span}: {odds(chance)}."
    elif result.answer == "haze":
        verb = "May cloud" if may else "Will cloud"
        first = f"{verb} within {span}, but still sprays: {odds(chance)}."
    elif result.answer == "curdle":
        verb = "May curdle" if may else "Will curdle"
        first = f"{verb} within {span} and block the screens: {odds(chance)}."
    else:
        assert result.because is not None
        first = f"Cannot tell: {because(result.because)}."
    lines = [first]
    if result.judged_at != "24h" and _class_at(result, "24h") > _class_at(result, result.judged_at):
        word = "curdled" if _class_at(result, "24h") == RANK["curdle"] else "cloudy"
        worst = result.clogs["24h"] if word == "curdled" else result.probability["24h"]
        likely = "Likely" if worst >= 0.5 else "Maybe"
        lines.append(f"{likely} {word} by tomorrow ({odds(worst)}): don't leave it standing.")
    return lines


def _class_at(result: Forecast, time: str) -> int:
    if result.clogs[time] >= THRESHOLD:
        return RANK["curdle"]
    return RANK["haze"] if result.probability[time] >= THRESHOLD else RANK["clear"]


def _tomorrow(result: Forecast) -> str:
    word = ("still clear", "cloudy", "curdled")[_class_at(result, "24h")]
    return f"{word}"


def next_step(result: Forecast, units: Units = "both") -> str:
    """What to do now, in one line."""
    rules = broken(result.rules)
    if rules:
        return rule_next(rules[0], result.mix, units)
    if result.answer == "curdle":
        return _against_curd(result)
    if result.answer == "haze" and _fine_screen(result):
        return f"Don't spray it as it is: {_fine_screen(result)}"
    if result.answer == "haze":
        return f"Jar test first. If it passes: {KEEP_STIRRING}."
    if result.answer == "clear":
        doubtful = _uncounted(result)
        if doubtful is not None:
            return (
                f"Jar test first: {doubtful} may come out too, its limit is too doubtful to count."
            )
        return "Jar test at the same ratio, then fill."
    return WATCH_THE_JAR


def _fine_screen(result: Forecast) -> str:
    """What a screen finer than is judged means; empty where there is none."""
    sprayer = result.mix.sprayer
    if sprayer is None or sprayer.finest_screen is None or not sprayer.finer_than_judged:
        return ""
    figure, unit = sprayer.finest_screen
    return (
        f"your finest screen, {figure:g} {unit}, is finer than 50 mesh and not judged: treat haze "
        "as a stop."
    )


def _salt(result: Forecast, units: Units, told: Told | None) -> Block:
    """What a leaf would get; nothing of a tank that must never be poured."""
    if result.refused:
        return Block("Salt on the leaf")
    strongest = None if told is None else told.strongest
    return salt_block(result.salt, result.mix, result.conductivity_mS_per_cm, units, strongest)


def _sprayer(result: Forecast) -> list[str]:
    """What the sprayer's own screen and stirring mean for this tank."""
    sprayer = result.mix.sprayer
    if sprayer is None or result.refused:
        return []
    out = []
    if sprayer.finest_screen is not None:
        figure, unit = sprayer.finest_screen
        fine = _fine_screen(result)
        known = f"Finest screen {figure:g} {unit}: judged as 50 mesh."
        out.append(f"{fine[0].upper()}{fine[1:]}" if fine else known)
    if sprayer.agitation == "none":
        out.append(
            "Nothing stirs this tank: premix each product in a bucket of its water, pour, then "
            "shake or rock the tank; grit counts as settled, on the bottom and in the hose."
        )
    return out


def _against_curd(result: Forecast) -> str:
    """What to do where it curdles: in time, apart, or not with one that is trouble by itself."""
    if in_time(result.spray_within_minutes):
        return f"Jar test first. {at_once('curdle', result.spray_within_minutes)}"
    worst = [a.product for a in result.alone if a.answer == "curdle"]
    if len(result.mix.additions) == 1:
        return "Don't fill the tank with it in this water at this rate, or try a jar."
    if worst:
        names = " or ".join(result.mix.additions[i].product.name for i in worst)
        return f"Don't fill the tank with {names} in this water at this rate, or try a jar."
    return "Don't fill the tank with these together. Spray them apart, or try a jar."


def _uncounted(result: Forecast) -> str | None:
    """A solid that would show at once, far over a limit that is too doubtful to decide by."""
    for solid in result.solids:
        if not solid.decides and solid.kinetics == "prompt" and per_two_ions(solid) >= CLEARLY:
            return solid.name
    return None


def _forbidden(result: Forecast) -> str:
    return "Never in one tank" if result.refused else "A label's rule is broken"


def _warnings(result: Forecast) -> list[Block]:
    blocks = []
    told = [f"{r[0].upper()}{r[1:]}." for r in forbids(result.rules, result.mix)]
    if told:
        title = "Never in one tank" if result.refused else "A rule is broken"
        blocks.append(Block(title, items=told, kind="stop"))
    if result.gases:
        items = [evolved_sentence(g, result.mix) for g in result.gases]
        blocks.append(Block("Gas or heat", items=items, kind="gas"))
    return blocks


def _tank(result: Forecast, units: Units) -> Block:
    mix = result.mix
    if result.refused:
        return Block("The tank", ["Not to be poured: no amounts are given."])
    carrier = f"spray volume {format_carrier(mix.carrier_L_per_m2, units)}"
    load = result.loads[0]
    where = f"In {format_volume(load.litres, units)} for {format_area(load.area_m2, units)}"
    if mix.tank_L is None and mix.area_m2 is None:
        where = "Per litre of full tank"
    elif mix.area_m2 is not None:
        titles = " and ".join(load_title(one, units) for one in result.loads)
        where = f"{titles} for {format_area(mix.area_m2, units)}"
    half = "Stir all the while; each product alone, mixed in before the next."
    text = [f"{where}, {carrier}, {format_temperature(mix.t_celsius, units)}.", half]
    several = len(result.loads) > 1
    return Block("The tank", text, rows=rows(result.loads, units), columns_named=several)


def _ph(result: Forecast) -> Block:
    ph = result.ph
    text = [f"About {ph.median:.1f}, likely {ph.p05:.1f} to {ph.p95:.1f}."]
    if result.ph_aired is not None:
        text.append(f"Drifts to about {result.ph_aired:.1f} as it stands open to the air.")
    if abs(result.ph_settled - ph.median) > 0.2:
        text.append(f"About {result.ph_settled:.1f} once solids have come out.")
    text += [window_sentence(w) for w in result.windows]
    if result.windows:
        text.append("Only its pH window is judged, not the adjuvant itself.")
    return Block("pH of the full tank", text)


def _nutrients(result: Forecast, units: Units) -> Block:
    per_area = {"us": "lb/1000 sq ft", "metric": "kg/ha"}
    columns = ["us", "metric"] if units == "both" else [units]
    rows = [("Put down", *(per_area[c] for c in columns))]
    for symbol, kg_per_ha in result.delivered_kg_per_ha.items():
        if kg_per_ha <= 0.0:
            continue
        values = {
            "us": two_figures(kg_per_ha * KG_PER_HA_TO_LB_PER_1000_SQ_FT),
            "metric": two_figures(kg_per_ha),
        }
        rows.append((symbol, *(values[c] for c in columns)))
    return Block("Nutrients, by the labels", rows=rows)


def _granted(result: Forecast) -> Block:
    names = {a.product.key: a.product.name for a in result.mix.additions}
    found = []
    for doubt in result.doubts:
        if doubt.key.split(":")[0] in MODEL_KINDS:
            continue
        words = with_name(doubt.settle_by, doubt.key, names)
        parts = ((doubt.share, "spread"), (doubt.of_ph, "pH's spread"), (doubt.of_odds, "odds"))
        share, which = max(parts, key=lambda part: part[0])
        text = f"{words[0].upper()}{words[1:]} ({round(100 * share)} % of the {which})"
        found.append((share, text))
    items = [text for _, text in sorted(found[:4], key=lambda one: -one[0])]
    model = sum(d.share for d in result.doubts if d.key.split(":")[0] in MODEL_KINDS)
    if model > 0.3 and len(items) < 4:
        items.append("Most of the spread is in the constants: only the jar narrows it.")
    unread = [n for a in result.mix.additions for n in a.product.unread_notes]
    told = {*result.mix.water.notes, *unread}
    items += [*dict.fromkeys(unread), *[n for n in result.notes if n not in told][:6]]
    return Block("Taken for granted, check these", items=items)


def chemist_blocks(result: Forecast) -> list[Block]:
    """SI, totals, draws and what it was made with."""
    rows = [("solid", "class", "SI", "5-95 %", "g/L")]
    for solid in result.solids[:14]:
        kinetics = solid.kinetics if solid.decides else f"{solid.kinetics}, not counted"
        rows.append(
            (
                solid.key,
                kinetics,
                f"{solid.si.median:.2f}",
                f"{solid.si.p05:.2f}..{solid.si.p95:.2f}",
                f"{solid.amount_g_per_L:.3g}",
            )
        )
    totals = [("component", "mmol/L")]
    for key, value in sorted(result.totals_mol_per_L.items(), key=lambda kv: -kv[1]):
        totals.append((key, f"{1000.0 * value:.4g}"))
    facts = [
        f"ionic strength {result.ionic_strength_mol_per_kg:.3f} mol/kg, "
        f"density {result.density_kg_per_L:.4f} kg/L",
        *_current(result.conductivity_mS_per_cm),
        f"{100 * result.coverage:.0f} % of it met by measured interaction coefficients",
        f"{result.draws} draws, seed {result.seed}, {result.failed_rows} without an answer",
        ", ".join(f"{k} {v}" for k, v in result.versions.items()),
    ]
    return [
        Block("For chemists", items=facts),
        Block("Saturation", rows=rows),
        Block("Totals", rows=totals),
    ]


def _current(found: Range | None) -> list[str]:
    if found is None:
        return []
    return [f"conductivity {found.median:.3g} mS/cm ({found.p05:.3g} to {found.p95:.3g})"]
