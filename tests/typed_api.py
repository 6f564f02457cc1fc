"""Every public name in use, for `mypy --strict` with no Any anywhere and no ignore; it also runs.

`tests/test_typed_api.py` has both done.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

import chem

EXAMPLES = Path(__file__).parent.parent / "examples"


def labels() -> tuple[chem.Product, chem.Product, chem.Water]:
    """Two products and a water, made and read."""
    calcium = chem.make_product(
        "Calcium nitrate liquor, invented",
        density="1.4 kg/L",
        sources=["calcium nitrate"],
        guarantee={"nitrate nitrogen": 7.0, "calcium": "10 %"},
        says={"never_with": ["available phosphate"], "carrier_at_least": "40 gal/acre"},
        usual_rate="4 fl oz/1000 sq ft",
    )
    iron = chem.make_product(
        "Iron EDTA liquor, invented",
        density="1.25 kg/L",
        sources=["iron EDTA"],
        guarantee={"iron": 4.0},
        chelated={"iron": {"percent": 4.0, "agent": "EDTA"}},
        usual_rate="2 fl oz/1000 sq ft",
    )
    water = chem.make_water("Borehole, invented", ph=7.6, ions={"Ca": "68 mg/L"})
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "urea.toml"
        file.write_text('name = "Urea, invented"\nform = "dry"\nsources = ["urea"]\n')
        read: chem.Product = chem.read_product(str(file))
        file.write_text('name = "Pond, invented"\nph = 7.0\n')
        pond: chem.Water = chem.read_water(file)
    sources: list[str] = [source.key for source in read.sources]
    assert sources == ["urea"] and pond.ph is not None and pond.ph.low == 7.0
    jug: chem.Jug = chem.judge_label(calcium, count=16)
    held: Mapping[str, chem.Range] = jug.makeup
    assert held["Ca"].median > 0.0 and jug.adds_up
    return calcium, iron, water


def tank(calcium: chem.Product, iron: chem.Product, water: chem.Water) -> chem.Mix:
    """A mix, made, read and changed."""
    read: chem.Mix = chem.read_mix(EXAMPLES / "stays-clear.toml")
    changed: chem.Mix = chem.change_mix(read, EXAMPLES, temperature="50 F")
    assert changed.t_celsius < read.t_celsius
    return chem.make_mix(
        "Calcium and iron",
        [(calcium, None), (iron, "2 fl oz/1000 sq ft")],
        carrier="2 gal/1000 sq ft",
        water=water,
        tank="50 gal",
        adjuvant={"name": "spreader", "ph_at_most": 8.0},
    )


def asked(mix: chem.Mix) -> chem.Forecast:
    """Every question on one study."""
    study = chem.Study(draws=16, seed=1, beliefs=chem.Beliefs(stretch=1.0))
    followed: Sequence[chem.Followed] = study.follow([mix, chem.Variant(mix, poured=(0,))])
    chances: list[float] = [one.probability["4h"] for one in followed]
    result: chem.Forecast = chem.forecast_mix(mix, study=study)
    word: str = result.answer
    middle: float = result.ph.median
    solids: list[tuple[str, float]] = [(s.key, s.probability["24h"]) for s in result.solids]
    why: chem.Why = chem.why_mix(mix, study=study)
    fixes: chem.Fixes = chem.fix_mix(mix, study=study)
    pour: chem.Pour = chem.pour_mix(mix, study=study)
    agent: chem.Reagent = chem.choose_agent("citric acid")
    dose: chem.Adjustment = chem.adjust_ph(mix, 5.0, agent, study=study)
    jar: chem.Jar = chem.plan_jar(mix, study=study)
    found: chem.Diagnosis = chem.diagnose_mix(mix, seen=["haze"], count=16)
    walk: chem.Trace = chem.trace_number(mix, "ph")
    grams: float | None = dose.dose_g_per_L
    print(word, middle, solids[:1], chances, grams, walk.step.value)
    print([ion.component for reason in why.solids for ion in reason.ions])
    print([fix.lever for fix in fixes.fixes], pour.asked.sequence, len(jar.steps), found.sprayable)
    return result


def shelf(calcium: chem.Product, iron: chem.Product) -> None:
    """The products against each other."""
    setting: chem.Setting = chem.make_setting("2 gal/1000 sq ft", draws=16)
    items: list[chem.Item] = [chem.make_item(calcium), chem.make_item(iron, "2 fl oz/1000 sq ft")]
    found: chem.Shelf = chem.screen_shelf(items, setting)
    print([pair.answer.word for pair in found.pairs])
    try:
        chem.read_stock(EXAMPLES / "solutions")
    except chem.InputProblem as problem:
        wrong: chem.Problem = problem.problems[0]
        print(wrong.read, wrong.wrong, wrong.instead)


def bench() -> None:
    """Plain chemistry, and a sprayer's calibration."""
    recipe: chem.Recipe = chem.read_recipe(EXAMPLES / "solutions" / "sodium-chloride.toml")
    solution: chem.Solution = chem.equilibrate(recipe)
    si: Mapping[str, float] = solution.si
    boom: chem.CatchTest = chem.calibrate_by_speed([0.65, 0.68], 30.0, 0.5, 1.8)
    knapsack: chem.CatchTest = chem.calibrate_by_area([7.6], 92.9)
    print(len(si), boom.carrier_L_per_m2, knapsack.relative_error)


def refused(iron: chem.Product) -> str:
    """The code of what must never meet."""
    bleach = chem.make_product("Bleach, invented", density="1.1 kg/L", form="pesticide")
    additions: list[tuple[chem.Product, str | None]] = [
        (bleach, "1 gal/acre"),
        (iron, "1 gal/acre"),
    ]
    mix = chem.make_mix("Never", additions, carrier="2 gal/1000 sq ft")
    try:
        return str(chem.forecast_mix(mix, count=16))
    except chem.ToxicGas as gas:
        return gas.code


def main() -> None:
    """All of it."""
    calcium, iron, water = labels()
    mix = tank(calcium, iron, water)
    print(chem.__version__, calcium, water, mix)
    print(asked(mix))
    shelf(calcium, iron)
    bench()
    print(refused(iron))


if __name__ == "__main__":
    main()
