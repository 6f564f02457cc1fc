"""Changes that one press takes over: a tank that `fix` or `ph` found, as a draft of its own."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from chem.advice.agents import Reagent
from chem.advice.fix import Fixes, fix
from chem.advice.levers import Fix
from chem.advice.ph import Adjustment
from chem.desk.draft import Draft, Jug, figure_of, shared, shares_of
from chem.desk.shed import Shed
from chem.files import find_shed
from chem.forecast import Study
from chem.sheets.fix import fix_change, listed_fixes
from chem.tank import Mix
from chem.units import Rate

RAIN = "rain.toml"
"""Soft water of the demo shelf, which stands in where a fix asks for some."""


def fixes_of(mix: Mix, draft: Draft, shed: Shed, study: Study) -> Fixes:
    """The changes that keep a mix clear; what stands in the shed may stand in for another."""
    shelf = tuple(shed.read_products().values())
    return fix(mix, judged_at=draft.judged_at, shelf=shelf, study=study)


def takes_of(result: Fixes, draft: Draft, shed: Shed) -> list[tuple[str, str]]:
    """(words, address) of every change of the sheet; separate passes have one for each tank."""
    files = {product.key: file for file, product in shed.read_products().items()}
    out = []
    for found in listed_fixes(result):
        passes = len(found.mixes)
        for k, tank in enumerate(found.mixes, start=1):
            words = fix_change(found, result, shed.units)
            if passes > 1:
                names = " + ".join(a.product.name for a in tank.additions)
                words = f"Pass {k} of {passes}: {names}"
            changed = changed_to(tank, draft, result.mix, files, found.reagent)
            if found.lever == "water":
                changed = _softened(changed, found, shed)
            out.append((words, changed.query()))
    return out


def dose_of(result: Adjustment, draft: Draft, named: str) -> str | None:
    """The address of the mix with the dose in it, where it was tried; None without a dose.

    named: the acid or base as it was asked for.
    """
    if not result.dose_g_per_L or result.refused:
        return None
    return changed_to(result.dosed, draft, result.mix, {}, result.reagent, named).query()


def changed_to(
    tank: Mix,
    draft: Draft,
    mix: Mix,
    files: Mapping[str, str],
    reagent: Reagent | None = None,
    named: str = "",
) -> Draft:
    """The draft whose mix a changed tank is: rates, order, spray volume, what is new in it.

    mix: of the draft; files: product key -> file of what may be new; named: the reagent in words.
    """
    left = [(draft.jugs[i], a) for i, a in zip(draft.additions, mix.additions, strict=True)]
    poured = []
    for one in tank.additions:
        same = next((pair for pair in left if pair[1].product.key == one.product.key), None)
        if same is not None:
            left.remove(same)
            jug, before = same
            if before.rate.value != one.rate.value:
                amount = _rated(jug.amount or before.rate.text, before.rate, one.rate)
                jug = replace(jug, amount=amount)
        elif reagent is not None and one.product.key == reagent.product.key:
            jug = _agent(reagent, one.rate, named)
        else:
            jug = Jug("product", files[one.product.key], _plain(one.rate))
        poured.append(jug)
    kept = [jug for jug in draft.jugs if jug.kind == "left"]
    texts = dict(draft.texts)
    if tank.carrier_L_per_m2 != mix.carrier_L_per_m2:
        times = tank.carrier_L_per_m2 / mix.carrier_L_per_m2
        litres = f"{1e4 * tank.carrier_L_per_m2:.5g} L/ha"
        texts["carrier"] = _times(texts["carrier"], times) or litres
    return replace(draft, texts=texts, jugs=(*kept, *poured))


def _agent(reagent: Reagent, rate: Rate, named: str) -> Jug:
    if reagent.agent is None:
        return Jug("product", named or reagent.product.file, _plain(rate))
    return Jug("agent", named or reagent.name, _plain(rate))


def _softened(draft: Draft, found: Fix, shed: Shed) -> Draft:
    """The draft with so much of its own water left, the rest rain water."""
    own = draft.texts["water"]
    if not own:
        set_once = find_shed(shed.root)
        own = (set_once.form.water if set_once is not None else None) or "unknown"
    left = max(1, math.floor(100.0 * (found.factor or 0.0)))
    parts = shares_of(own)
    each = [_percent(share, left) for _, share in parts]
    if any(share is None for share in each):  # one of several is "rest": what the others leave
        told = sum(share for share in each if share is not None)
        each = [left - told if share is None else share for share in each]
    waters = [(name, f"{share:g} %") for (name, _), share in zip(parts, each, strict=True)]
    return replace(draft, texts={**draft.texts, "water": shared([*waters, (RAIN, "rest")])})


def _percent(share: str, left: float) -> float | None:
    """A share of the tank's water once only so many percent of it are left; None for the rest."""
    figure = figure_of(share)
    return left if not share else None if figure is None else figure[0] * left / 100.0


def _rated(text: str, old: Rate, new: Rate) -> str:
    """A rate as a mix file has it, in the unit it was written in where there is one."""
    return _times(text, new.value / old.value) or _plain(new)


def _plain(rate: Rate) -> str:
    if rate.text:
        return rate.text
    if rate.per == "mass-fraction":
        return f"{100.0 * rate.value:.4g} % w/w"
    return f"{rate.value:.4g} {rate.unit}"


def _times(text: str, factor: float) -> str:
    figure = figure_of(text)
    return f"{figure[0] * factor:.4g} {figure[1]}" if figure else ""
