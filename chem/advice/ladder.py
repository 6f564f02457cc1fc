"""An acid or base added to a jar of the mix a millilitre at a time: what it is in the tank.

The stock is one part of the agent in ten by volume (a dry one 10 g made up to 100 mL), as thin as
agronomists' titrations in a bucket are made (common practice, no source). No ladder where a rule
forbids the agent in the mix.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chem.advice.agents import Reagent
from chem.advice.dosing import Minded, dosing_rules, minded, refuse_forbidden
from chem.advice.jar import QUART_ML, Jar, jar_of
from chem.advice.titration import Titration
from chem.doubts import Range, range_of
from chem.equilibrium import one_thread
from chem.forecast import Evolved, Rule, Study, evolved, forecast, never
from chem.forecast.order import pouring_place
from chem.tank import Mix

STOCK = 0.1
"""[g] of a dry agent, or [mL] of a liquid one, in a millilitre of stock."""
STEP_ML = 1.0
STEPS = 10


@dataclass(frozen=True)
class Rung:
    """So much stock [mL] in all; the agent in the jar and in the tank [g], [mL] if it is liquid.

    in_tank: for a litre where the mix names no tank; ph: over the versions tried, None where none
    was found.
    """

    stock_mL: float
    in_jar: float
    in_tank: float
    ph: Range | None


@dataclass(frozen=True)
class Ladder:
    """The jar, what goes into it, and each step, from none.

    refused: the code of the rule by which mix or agent must never be poured, no rungs then; ruled:
    the mix by whose places `rules` speak; gases: of the last step; minded: of that step too.
    """

    jar: Jar
    reagent: Reagent
    rungs: tuple[Rung, ...]
    ruled: Mix
    rules: tuple[Rule, ...]
    refused: str | None
    dosed: Mix
    gases: tuple[Evolved, ...]
    minded: Minded


@one_thread()
def ladder(
    mix: Mix,
    reagent: Reagent,
    *,
    size_mL: float = QUART_ML,
    study: Study | None = None,
) -> Ladder:
    """Plan the ladder of an agent in a jar of the mix.

    Raises: InputProblem where a label's own rule forbids the agent; ToxicGas as `forecast`.
    """
    study = Study() if study is None else study
    place = pouring_place(mix, reagent.product, reagent.acid)
    against = dosing_rules(mix, reagent, place, 0.0 if reagent.acid else 14.0)
    plain = jar_of(forecast(mix, study=study), size_mL=size_mL)
    tank = Titration(study, mix, reagent, place)
    if plain.forecast.refused or never(against):
        ruled = mix if plain.forecast.refused else tank.dosed(1.0)
        rules = plain.forecast.rules if plain.forecast.refused else against
        none = Minded((), (), False, False)
        return Ladder(plain, reagent, (), ruled, rules, never(rules), ruled, (), none)
    refuse_forbidden(mix, reagent, against)
    density = 1.0 if reagent.dry else tank.density_kg_per_L
    in_jar = STOCK * STEP_ML * np.arange(STEPS + 1, dtype=np.float64)
    per_litre = in_jar / (plain.jar_mL / 1000.0)
    ph = tank.ranges(np.asarray(per_litre * density))
    last = study.look(tank.dosed(float(per_litre[-1] * density)))
    scale = mix.tank_L or 1.0
    return Ladder(
        jar=plain,
        reagent=reagent,
        rungs=tuple(
            Rung(float(k * STEP_ML), float(a), float(p * scale), r)
            for k, (a, p, r) in enumerate(zip(in_jar, per_litre, ph, strict=True))
        ),
        ruled=mix,
        rules=plain.forecast.rules,
        refused=None,
        dosed=last.ready.mix,
        gases=evolved(last.ready, last.fresh, study.gases(last.ready.mix, last)),
        minded=minded(last.ready.mix, place, plain.forecast.ph, range_of(last.fresh.clear.ph)),
    )
