"""Jarsight: will the tank stay clear?

The functions that the commands call, each returning a frozen result. Products, waters and mixes
are read from files or made here, their values written as in the files:

    import chem

    mix = chem.read_mix("mix.toml")
    result = chem.forecast_mix(mix)
    print(result.answer, result.ph.median)

    study = chem.Study(draws=256, seed=1)  # keeps what it has worked out, for many questions
    chem.why_mix(mix, study=study)
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from chem.version import VERSION

if TYPE_CHECKING:
    from chem.advice.agents import Reagent, choose_agent
    from chem.advice.diagnose import Diagnosis
    from chem.advice.diagnose import diagnose as diagnose_mix
    from chem.advice.fix import Fixes
    from chem.advice.fix import fix as fix_mix
    from chem.advice.jar import Jar
    from chem.advice.jar import jar as plan_jar
    from chem.advice.jug import Jug
    from chem.advice.jug import jug as judge_label
    from chem.advice.ph import Adjustment
    from chem.advice.ph import adjust as adjust_ph
    from chem.advice.pour import Pour
    from chem.advice.pour import pour as pour_mix
    from chem.advice.why import Why
    from chem.advice.why import why as why_mix
    from chem.doubts import Range
    from chem.errors import InputProblem, Problem, ToxicGas
    from chem.forecast import Beliefs, Followed, Forecast, Study, Variant
    from chem.forecast import forecast as forecast_mix
    from chem.label import Product, make_product, read_product
    from chem.laboratory import Recipe, Solution, equilibrate, read_recipe
    from chem.laboratory.trace import Trace
    from chem.laboratory.trace import trace as trace_number
    from chem.shelf import Item, Setting, Shelf, make_item, make_setting, read_stock
    from chem.shelf import shelf as screen_shelf
    from chem.tank import (
        CatchTest,
        Mix,
        Water,
        change_mix,
        make_mix,
        make_water,
        read_mix,
        read_water,
    )
    from chem.tank import by_area as calibrate_by_area
    from chem.tank import by_speed as calibrate_by_speed

__version__ = VERSION

_PLACES = {
    "adjust_ph": ("chem.advice.ph", "adjust"),
    "Adjustment": ("chem.advice.ph", "Adjustment"),
    "Beliefs": ("chem.forecast", "Beliefs"),
    "calibrate_by_area": ("chem.tank", "by_area"),
    "calibrate_by_speed": ("chem.tank", "by_speed"),
    "CatchTest": ("chem.tank", "CatchTest"),
    "change_mix": ("chem.tank", "change_mix"),
    "choose_agent": ("chem.advice.agents", "choose_agent"),
    "diagnose_mix": ("chem.advice.diagnose", "diagnose"),
    "Diagnosis": ("chem.advice.diagnose", "Diagnosis"),
    "equilibrate": ("chem.laboratory", "equilibrate"),
    "fix_mix": ("chem.advice.fix", "fix"),
    "Fixes": ("chem.advice.fix", "Fixes"),
    "Followed": ("chem.forecast", "Followed"),
    "Forecast": ("chem.forecast", "Forecast"),
    "forecast_mix": ("chem.forecast", "forecast"),
    "InputProblem": ("chem.errors", "InputProblem"),
    "Item": ("chem.shelf", "Item"),
    "Jar": ("chem.advice.jar", "Jar"),
    "judge_label": ("chem.advice.jug", "jug"),
    "Jug": ("chem.advice.jug", "Jug"),
    "make_item": ("chem.shelf", "make_item"),
    "make_mix": ("chem.tank", "make_mix"),
    "make_product": ("chem.label", "make_product"),
    "make_setting": ("chem.shelf", "make_setting"),
    "make_water": ("chem.tank", "make_water"),
    "Mix": ("chem.tank", "Mix"),
    "plan_jar": ("chem.advice.jar", "jar"),
    "Pour": ("chem.advice.pour", "Pour"),
    "pour_mix": ("chem.advice.pour", "pour"),
    "Problem": ("chem.errors", "Problem"),
    "Product": ("chem.label", "Product"),
    "Range": ("chem.doubts", "Range"),
    "read_mix": ("chem.tank", "read_mix"),
    "read_product": ("chem.label", "read_product"),
    "read_recipe": ("chem.laboratory", "read_recipe"),
    "read_stock": ("chem.shelf", "read_stock"),
    "read_water": ("chem.tank", "read_water"),
    "Reagent": ("chem.advice.agents", "Reagent"),
    "Recipe": ("chem.laboratory", "Recipe"),
    "screen_shelf": ("chem.shelf", "shelf"),
    "Shelf": ("chem.shelf", "Shelf"),
    "Setting": ("chem.shelf", "Setting"),
    "Solution": ("chem.laboratory", "Solution"),
    "Study": ("chem.forecast", "Study"),
    "ToxicGas": ("chem.errors", "ToxicGas"),
    "Trace": ("chem.laboratory.trace", "Trace"),
    "trace_number": ("chem.laboratory.trace", "trace"),
    "Variant": ("chem.forecast", "Variant"),
    "Water": ("chem.tank", "Water"),
    "Why": ("chem.advice.why", "Why"),
    "why_mix": ("chem.advice.why", "why"),
}
__all__ = [
    "Adjustment",
    "Beliefs",
    "CatchTest",
    "Diagnosis",
    "Fixes",
    "Followed",
    "Forecast",
    "InputProblem",
    "Item",
    "Jar",
    "Jug",
    "Mix",
    "Pour",
    "Problem",
    "Product",
    "Range",
    "Reagent",
    "Recipe",
    "Shelf",
    "Solution",
    "Study",
    "ToxicGas",
    "Trace",
    "Variant",
    "Water",
    "Why",
    "adjust_ph",
    "calibrate_by_area",
    "calibrate_by_speed",
    "change_mix",
    "choose_agent",
    "diagnose_mix",
    "equilibrate",
    "fix_mix",
    "forecast_mix",
    "judge_label",
    "make_item",
    "make_mix",
    "make_product",
    "make_setting",
    "make_water",
    "plan_jar",
    "pour_mix",
    "read_mix",
    "read_product",
    "read_recipe",
    "read_stock",
    "read_water",
    "screen_shelf",
    "Setting",
    "trace_number",
    "why_mix",
]

if not TYPE_CHECKING:

    def __getattr__(name):
        """Import a public name where it is first asked for, so that `import chem` stays light."""
        import importlib

        if name not in _PLACES:
            raise AttributeError(f"module 'chem' has no attribute {name!r}")
        module, attribute = _PLACES[name]
        return getattr(importlib.import_module(module), attribute)
