"""A solution over solids that may dissolve, or from which prompt ones fall."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence

import numpy as np

from chem.equilibrium import (
    MOLAR_MASS_WATER_KG,
    Conditions,
    Equilibrium,
    System,
    build_phases,
    settle,
)
from chem.equilibrium.activity import Floats
from chem.errors import InputProblem, Problem
from chem.laboratory.recipe import Recipe
from chem.reference import Solid, tables

EXCESSES_MOL_PER_KG = (0.1, 0.3, 1.0, 3.0, 10.0)
"""Excess of a saturating solid tried in turn, until some of it is left."""
CANNOT_SATURATE = "cannot saturate it"
"""What the table's note says of a salt too soluble for the activity model."""
MOST_NAMED = 6


def solids_named(keys: Iterable[str]) -> list[Solid]:
    """Solids by key or name. Raises: InputProblem with every unknown one."""
    known = tables().solids
    names = {s.name.casefold(): s.key for s in known.values()}
    names |= {key.replace("_", " "): key for key in known} | {key: key for key in known}
    found, problems = {}, []
    for text in keys:
        key = names.get(text.casefold().strip())
        if key is not None:
            found[key] = known[key]
            continue
        near = difflib.get_close_matches(text.casefold(), list(names), n=5, cutoff=0.5)
        offer = ", ".join(f"`{k}`" for k in dict.fromkeys(names[n] for n in near))
        problems.append(
            Problem(
                f"--saturate {text}",
                "there is no such solid in the tables",
                f"did you mean {offer}?" if offer else "`jarsight tables --kind solids` lists them",
            )
        )
    if problems:
        raise InputProblem(problems)
    return list(found.values())


def components_of(solid: Solid) -> list[str]:
    """Components that a solid is made of."""
    masters = {c.master: c.key for c in tables().components.values()}
    return [masters[m] for m in solid.reaction if m in masters]


def _prompt() -> list[str]:
    return [s.key for s in tables().solids.values() if s.kinetics == "prompt"]


def settled_state(
    recipe: Recipe,
    system: System,
    totals: Floats,
    conditions: Conditions,
    declared: Equilibrium,
) -> tuple[Equilibrium, dict[str, float], float]:
    """The solution once prompt solids came out, what came out, and the water left [kg]."""
    prompt = build_phases(system, _prompt())
    if not len(prompt):
        return declared, {}, 1.0
    state = settle(system, totals, conditions, prompt, ph=given_ph(recipe), start=declared)
    if not state.converged[0]:
        raise InputProblem(
            Problem(
                f"{recipe.name}, --settle",
                "no settled state was found for these totals",
                "the same file without --settle, for the SI of every solid",
            )
        )
    amounts = zip(prompt.keys, state.amounts[0], strict=True)
    settled = {key: float(amount) for key, amount in amounts if amount > 0.0}
    return state, settled, float(state.water_left[0])


def given_ph(recipe: Recipe) -> Floats | None:
    """(1,) the pH that the file gives, None where electroneutrality decides."""
    return None if recipe.ph is None else np.array([recipe.ph])


def saturated(
    recipe: Recipe,
    system: System,
    conditions: Conditions,
    declared: Equilibrium,
    solids: Sequence[Solid],
    let_settle: bool,
) -> tuple[Equilibrium, dict[str, float], float]:
    """The solution over the solids, what came out of it, and the water left [kg].

    An excess of each solid is added to the totals with its own water, so that no total is zero,
    and settles back; the excess grows until some of every solid is left.
    """
    asked = " ".join(f"--saturate {s.key}" for s in solids)
    for solid in solids:
        if CANNOT_SATURATE in solid.constant.note:
            raise _unfit(asked, solid.name)
    wanted = [s.key for s in solids]
    others = [k for k in _prompt() if let_settle and k not in wanted]
    phases = build_phases(system, [*wanted, *others])
    count = len(solids)
    if np.linalg.matrix_rank(phases.nu[:, :count]) < count:
        raise InputProblem(
            Problem(
                asked,
                "these solids have the same or dependent ions: at one temperature they can't all "
                "be in equilibrium with one solution",
                "one of them at a time",
            )
        )
    always = np.arange(len(phases)) < count
    limit = tables().value("ionic_strength_valid")
    for excess in EXCESSES_MOL_PER_KG:
        water = 1.0 + MOLAR_MASS_WATER_KG * excess * float(phases.water[:count].sum())
        if water <= 0.0:
            break
        added = phases.nu[: len(system.components), :count].sum(axis=1)
        totals = (system.totals(recipe.parted) + excess * added) / water
        if (totals < 0.0).any():
            break
        state = settle(
            system,
            totals,
            conditions,
            phases,
            always=always,
            ph=given_ph(recipe),
        )
        if not state.converged[0]:
            continue
        amounts = state.amounts[0] * water
        if (amounts[:count] <= 0.0).any():
            continue
        if state.ionic_strength[0] > limit >= declared.ionic_strength[0]:
            raise _unfit(asked, listed([s.name for s in solids]))
        settled = {s.key: float(a) - excess for s, a in zip(solids, amounts, strict=False)}
        for key, amount in zip(phases.keys[count:], amounts[count:], strict=True):
            if amount > 0.0:
                settled[key] = float(amount)
        return state, settled, float(state.water_left[0]) * water
    raise _unfit(asked, listed([s.name for s in solids]))


def _unfit(asked: str, name: str) -> InputProblem:
    limit = tables().value("ionic_strength_valid")
    return InputProblem(
        Problem(
            asked,
            f"the activity model (SIT, good to an ionic strength of {limit:g} mol/kg) can't "
            f"saturate a solution with {name}: too soluble here",
            "the published solubility of such a salt against temperature; or a solid that "
            "dissolves less",
        )
    )


def listed(names: Sequence[str]) -> str:
    """The first of some names, and how many more."""
    more = len(names) - MOST_NAMED
    text = ", ".join(names[:MOST_NAMED])
    return f"{text} and {more} more" if more > 0 else text
