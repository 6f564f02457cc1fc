"""A solution file: temperature, pH and totals per kg of water, as a chemist writes them."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from chem.equilibrium import held_key
from chem.errors import InputProblem
from chem.files import CHARGE, Collector, SolutionForm, load_toml, validate
from chem.reference import Component, tables
from chem.units import read_temperature
from chem.units.numbers import one_number
from chem.units.text import refuse, tidy

STANDARD_CELSIUS = 25.0
LARGEST_MOL_PER_KG = 60.0
"""Above any salt's solubility (55.5 mol of water are in a kg): a slip of the unit."""

_PER_KG = re.compile(r"(?P<amount>[a-z]*mol)/kg(?:\s*(?:w|water|of water|h2o))?", re.IGNORECASE)
_AMOUNTS = {"mol": 1.0, "mmol": 1e-3, "umol": 1e-6}


@dataclass(frozen=True)
class Recipe:
    """A declared solution.

    t_celsius: [degC]; ph: given pH, or None where electroneutrality decides;
    totals: component -> mol/kg water; held: (metal, agent) -> mol/kg water of it that does not
    exchange within a day, counted in the totals; notes: what was taken for granted.
    """

    name: str
    t_celsius: float
    ph: float | None
    totals: Mapping[str, float]
    notes: tuple[str, ...] = field(default=())
    held: Mapping[tuple[str, str], float] = field(default_factory=dict)

    @property
    def parted(self) -> dict[str, float]:
        """Totals [mol/kg water] with what is held apart from its metal and its agent."""
        out = dict(self.totals)
        for (metal, agent), amount in self.held.items():
            out[metal] = max(out[metal] - amount, 0.0)
            out[agent] = max(out[agent] - amount, 0.0)
            out[held_key(metal, agent)] = amount
        return out

    def with_totals(self, totals: Mapping[str, float]) -> Recipe:
        """The same solution with other totals [mol/kg water]."""
        return replace(self, totals=totals)


def read_recipe(path: Path | str) -> Recipe:
    """Read a solution file.

    Raises: InputProblem with every problem of the file.
    """
    path = Path(path)
    form = validate(SolutionForm, load_toml(path, "solution"), path.name)
    told = Collector(path.name)
    notes = []
    t_celsius: float | None = STANDARD_CELSIUS
    if form.temperature is None:
        notes.append("No temperature is given: 25 C is assumed")
    else:
        t_celsius = told.attempt(read_temperature, form.temperature, "temperature")
    ph = told.attempt(_read_ph, form.ph, "ph")
    totals: dict[str, float] = {}
    for key, text in form.totals.items():
        component = told.attempt(_component, key, "totals")
        amount = told.attempt(_read_molality, text, f"totals.{key}")
        if component is not None and amount:
            totals[component.key] = totals.get(component.key, 0.0) + amount
    held = {}
    for metal_key, agents in form.held.items():
        metal = told.attempt(_component, metal_key, "held")
        for agent_key, text in agents.items():
            agent = told.attempt(_component, agent_key, f"held.{metal_key}")
            amount = told.attempt(_read_molality, text, f"held.{metal_key}.{agent_key}")
            if metal is not None and agent is not None and amount:
                held[metal.key, agent.key] = amount
    told.done()
    _within(held, totals, told.where("held"))
    assert t_celsius is not None and ph is not None
    return Recipe(form.name or path.stem, t_celsius, ph.value, totals, tuple(notes), held)


def _within(held: Mapping[tuple[str, str], float], totals: Mapping[str, float], where: str) -> None:
    """What is held is counted in the totals. Raises: InputProblem where it exceeds them."""
    for key in {k for pair in held for k in pair}:
        bound = sum(m for pair, m in held.items() if key in pair)
        if bound > totals.get(key, 0.0) * (1.0 + 1e-9):
            raise refuse(
                where,
                key,
                f"{bound:g} mol/kg of it is held, but the totals give {totals.get(key, 0.0):g}",
                "held amounts are part of the totals: raise [totals] or lower [held]",
            )


def change_recipe(recipe: Recipe, *, ph: str | None, temperature: str | None) -> Recipe:
    """The recipe with what the options ask for; None leaves a value as it is.

    Raises: InputProblem with every problem of the options.
    """
    told = Collector("command line")
    if temperature is not None:
        t_celsius = told.attempt(read_temperature, temperature, "--temperature")
        if t_celsius is not None:
            notes = tuple(n for n in recipe.notes if "25 C is assumed" not in n)
            recipe = replace(recipe, t_celsius=t_celsius, notes=notes)
    if ph is not None:
        given = told.attempt(_read_ph, ph, "--ph")
        if given is not None:
            recipe = replace(recipe, ph=given.value)
    told.done()
    return recipe


@dataclass(frozen=True)
class _GivenPh:
    """A pH that was read; None where electroneutrality decides."""

    value: float | None


def _read_ph(text: str, where: str) -> _GivenPh:
    if tidy(text).casefold() == CHARGE:
        return _GivenPh(None)
    instead = 'a number such as 6.5, or "charge" to let electroneutrality decide'
    try:
        value, rest = one_number(text, where)
    except InputProblem:
        raise refuse(where, text, "this is no pH", instead) from None
    if rest or not 0.0 <= value <= 14.0:
        raise refuse(where, text, "a pH lies between 0 and 14 and has no unit", instead)
    return _GivenPh(value)


def _component(key: str, where: str) -> Component:
    """The component of that key, or that a species (`Ca+2`, `HPO4-2`) holds one of alone."""
    known = tables().components
    if key in known:
        return known[key]
    masters = {c.master: c for c in known.values()}
    if key in masters:
        return masters[key]
    for species in tables().species:
        made = {m: n for m, n in species.reaction.items() if m in masters}
        if species.key == key and list(made.values()) == [1.0]:
            return masters[next(iter(made))]
    names = {c.key.casefold(): c.key for c in known.values()}
    names |= {c.name.casefold(): c.key for c in known.values()}
    names |= {c.master.casefold(): c.key for c in known.values()}
    near = difflib.get_close_matches(key.casefold(), list(names), n=4, cutoff=0.6)
    offer = ", ".join(f"`{k}`" for k in dict.fromkeys(names[n] for n in near))
    raise refuse(
        where,
        key,
        "there is no such component",
        f"did you mean {offer}?"
        if offer
        else "a component key such as Ca, NH4, PO4, CO3, citrate; `jarsight tables --kind "
        "components` lists them",
    )


def _read_molality(text: str, where: str) -> float:
    """A total [mol/kg water]. Raises: InputProblem for another basis, a range or a bad number."""
    value, rest = one_number(text, where)
    unit = _PER_KG.fullmatch(rest) if rest else None
    scale = 1.0 if not rest else _AMOUNTS.get(unit["amount"].casefold()) if unit else None
    if scale is None:
        raise refuse(where, text, f"`{rest}` is not mol per kg of water{_why(rest)}", _INSTEAD)
    total = value * scale
    if total < 0.0:
        raise refuse(where, text, "a total can't be negative", "zero or more, such as 0.025")
    if total > LARGEST_MOL_PER_KG:
        raise refuse(
            where,
            text,
            f"{total:g} mol/kg is more than water can hold",
            'mol per kg of water; for millimoles write "25 mmol/kg"',
        )
    return total


_INSTEAD = 'a bare number (mol/kg water), "0.025 mol/kg" or "25 mmol/kg"'


def _why(unit: str) -> str:
    per_volume = unit.casefold().replace(" ", "").endswith(("/l", "/ml", "/m3", "/dm3"))
    if per_volume or unit.strip() == "M":
        return ": going from volume to water needs the density, which isn't known here"
    return ""
