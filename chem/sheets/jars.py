"""Several jars side by side: at other rates, or in another order."""

from __future__ import annotations

from collections.abc import Sequence

from chem.advice.jar import JarStep, Strip
from chem.forecast import Forecast
from chem.notebook.tried import Told
from chem.sheets.as_json import as_json
from chem.sheets.blocks import BLANK, Block, Sheet
from chem.sheets.contract import tank as contract
from chem.sheets.contract.parts import Between
from chem.sheets.forecast import answer_lines
from chem.sheets.jar import (
    METER,
    ORDERS,
    TIMES,
    amounts,
    between,
    cautions,
    first,
    fumes,
    jar_sheet,
    meaning,
    notes,
    ph_expected,
    poured_names,
    shown,
    size_text,
    step_lines,
    then,
    whole,
    write_here,
)
from chem.sheets.jar_data import jar_entry
from chem.sheets.rules import forbids
from chem.sheets.words import TIME_WORDS
from chem.units import Units

IN_A_WORD = {"clear": "clear", "haze": "haze", "curdle": "curd", "cannot tell": "can't be told"}


def jars_sheet(result: Strip, units: Units = "both", numbers: Sequence[str | None] = ()) -> Sheet:
    """Several jars side by side: what goes into each, and a column of looks for each.

    numbers: of the jars, as many as there are, or none.
    """
    if len(result.jars) == 1 and not result.left_out:
        return jar_sheet(result.jars[0], units, *numbers[:1])
    found = [jar.forecast for jar in result.jars]
    names = strip_names(result)
    letters = "ABC"[: len(names)]
    same = len({tuple(poured_names(jar)) for jar in result.jars}) == 1
    size = result.jars[0]
    told = [
        f"{letter}, {name}: {' '.join(answer_lines(f))} A strip: {ph_expected(f.ph)}."
        for letter, name, f in zip(letters, names, found, strict=True)
    ]
    measure = (
        f"Each {size_text(size)}. Every jar its own clean syringe, or rinsed in between. "
        f"{between(size)}"
    )
    if same:
        table = Block("Measure", [measure], rows=_amount_rows(result, letters, units))
        lists = [table]
    else:
        lists = [Block("Measure", [measure])]
        lists += [
            Block(f"{letter}, {name}", items=amounts(jar, units))
            for letter, name, jar in zip(letters, names, result.jars, strict=True)
        ]
    said = list(dict.fromkeys(n for jar in result.jars for n in notes(jar, units)))
    said += [f"No jar at {f:g} times the rates: no room for water." for f in result.left_out]
    gas = list(dict.fromkeys(f for jar in result.jars for f in fumes(jar)))
    empty = tuple(BLANK for _ in letters)
    looks = [TIMES[look.minutes] for look in size.looks]
    blocks = [
        *first(found[_own(result)], units, _rules(found, letters)),
        Block("Gas or heat", items=gas, kind="gas"),
        Block("The jars", items=told),
        *lists,
        Block("", said),
        write_here(None, [poured_names(jar) for jar in result.jars]),
        Block(
            "Look",
            rows=[
                ("after the last pour", *letters),
                ("number", *(number or BLANK for number in numbers or empty)),
                *((row, *empty) for look in looks for row in (look, f"pH, {look}")),
            ],
        ),
        meaning(size),
        Block("pH", [METER]),
        then(found[0]),
    ]
    minded = list(dict.fromkeys(c for jar in result.jars for c in cautions(jar)))
    heading = f"Jars side by side, {result.kind}: {found[0].mix.name}"
    return whole(heading, [_side_by_side(result, names)], blocks, minded)


def _own(result: Strip) -> int:
    """The jar of the mix as it stands."""
    return result.factors.index(1.0)


def _rules(found: Sequence[Forecast], letters: str) -> list[str]:
    """Every rule broken, with the jars that break it where not all do."""
    by: dict[str, str] = {}
    for letter, one in zip(letters, found, strict=True):
        for rule in forbids(one.rules, one.mix):
            by[rule] = by.get(rule, "") + letter
    return [
        f"{words[0].upper()}{words[1:]}." if jars == letters else f"{' and '.join(jars)}: {words}."
        for words, jars in by.items()
    ]


def strip_names(result: Strip) -> list[str]:
    """What tells the jars apart."""
    if result.kind == "orders":
        return ["the mix's order", "the best order"][: len(result.jars)]
    words = {0.5: "half the rates", 1.0: "the rates of the mix", 2.0: "twice the rates"}
    return [words[factor] for factor in result.factors]


def _side_by_side(result: Strip, names: Sequence[str]) -> str:
    """All the answers in a sentence."""
    span = TIME_WORDS[result.jars[0].forecast.judged_at]
    pairs = zip(names, result.jars, strict=True)
    told = [f"{IN_A_WORD[jar.forecast.answer]} at {name}" for name, jar in pairs]
    return f"Expected within {span}: {', '.join(told)}."


def _amount_rows(result: Strip, letters: str, units: Units) -> list[tuple[str, ...]]:
    rows = [("pour", *letters)]
    steps = zip(*(jar.steps for jar in result.jars), strict=True)
    for i, across in enumerate(steps, start=1):
        name = across[0].product or "water"
        rows.append((f"{i} {name}", *(_amount_text(step) for step in across)))
    return rows


def _amount_text(step: JarStep) -> str:
    """`14.8 mL`, `8.5 g`, `1.2 mL of 1 in 10`."""
    read = shown(step.amount * step.parts, step.mark)
    if step.parts > 1:
        return f"{read} mL of 1 in {step.parts}"
    return f"{read} {'g' if step.by_mass else 'mL'}"


def jars_json(
    result: Strip,
    units: Units = "both",
    numbers: Sequence[str | None] = (),
    told: Told | None = None,
) -> str:
    """The JSON object of the mix's own jar, all of them under `jars`."""
    own = _own(result)
    several = len(result.jars) > 1
    beside = [
        contract.JarBeside(
            name=name,
            factor=factor,
            order=ORDERS[jar.order],
            answer=jar.forecast.answer,
            chance=jar.forecast.chance,
            ph=Between(p05=jar.forecast.ph.p05, p95=jar.forecast.ph.p95),
            steps=step_lines(jar, units),
            number=numbers[i] if i < len(numbers) else None,
        )
        for i, (name, factor, jar) in enumerate(
            zip(strip_names(result), result.factors, result.jars, strict=True)
        )
    ]
    number = numbers[own] if own < len(numbers) else None
    entry = jar_entry(result.jars[own], units, number, told, jars=beside if several else ())
    return as_json(entry)
