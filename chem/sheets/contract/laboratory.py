"""`solution`, `tables`, `trace` and `selfcheck`."""

from __future__ import annotations

from collections.abc import Sequence

from chem.sheets.contract.parts import Figure, Part


class SpeciesEntry(Part):
    """How much of a species there is, and its activity."""

    molality_mol_per_kg: Figure
    activity: Figure


class Solution(Part):
    """A solution at equilibrium in which no solid was let form or dissolve."""

    name: str
    temperature_celsius: float
    ph: Figure
    ph_given: bool
    ionic_strength_mol_per_kg: Figure
    conductivity_mS_per_cm: Figure
    water_activity: Figure
    species: dict[str, SpeciesEntry]
    si: dict[str, Figure]
    charge_balance_relative: Figure
    coverage: Figure
    notes: Sequence[str]
    versions: dict[str, str]


class SettledSolution(Solution):
    """The same after solids formed or dissolved: how much, and what is then dissolved."""

    settled: dict[str, Figure]
    totals_mol_per_kg: dict[str, Figure]
    water_left_kg: Figure


class SolidOddsEntry(Part):
    """A solid, its median SI, its chance of showing by each time, and then when and how much."""

    key: str
    kinetics: str
    si: Figure
    probability: dict[str, Figure]
    clouds_after_s: Figure
    amount_g_per_L: Figure


class SolutionWithOdds(Solution):
    """The same with the odds of a closed jar; closed_by: the ion that holds a given pH."""

    closed_by: dict[str, Figure] | None
    probability: dict[str, Figure] | None
    clogs: dict[str, Figure] | None
    solids: Sequence[SolidOddsEntry]
    draws: int
    seed: int


class SettledSolutionWithOdds(SettledSolution, SolutionWithOdds):
    """Both."""


SOLUTIONS: dict[tuple[bool, bool], type[Solution]] = {
    (False, False): Solution,
    (True, False): SettledSolution,
    (False, True): SolutionWithOdds,
    (True, True): SettledSolutionWithOdds,
}
"""Whether solids could form, whether odds were asked for -> the object."""


class TableCount(Part):
    """How many entries a table holds, how many are estimates, and of each kind."""

    entries: int
    estimates: int
    kinds: dict[str, int]


class ConstantEntry(Part):
    """One constant with one standard uncertainty, its range and its source."""

    table: str
    key: str
    value: Figure
    unit: str
    uncertainty: Figure
    t_min_celsius: Figure
    t_max_celsius: Figure
    kind: str
    source: str
    citation: str
    where: str
    note: str
    more: dict[str, str]


class Tables(Part):
    """Entries that were asked for, and the count of each table."""

    tables: dict[str, TableCount]
    entries: Sequence[ConstantEntry]
    versions: dict[str, str]


class StepEntry(Part):
    """One line of a walk: what it is, its value and source, and what it is of."""

    text: str
    value: Figure
    unit: str
    source: str
    parts: Sequence[StepEntry]


class Trace(Part):
    """A number of a mix walked back."""

    mix: str
    what: str
    value: Figure
    trace: StepEntry
    notes: Sequence[str]


class CheckEntry(Part):
    """One check; deviation and tolerance: in `unit`."""

    group: str
    key: str
    what: str
    found: Figure
    expected: Figure
    deviation: Figure
    tolerance: Figure
    unit: str
    role: str
    source: str
    trouble: str
    passed: bool


class LargestDeviation(Part):
    """The check with the largest deviation; share: of its tolerance."""

    key: str
    share: Figure


class SelfCheck(Part):
    """Every check; unrefereed: why the referee was not asked, if so."""

    passed: bool
    failed: Sequence[str]
    largest_deviation: LargestDeviation
    checks: Sequence[CheckEntry]
    seconds: float
    unrefereed: str | None
    fingerprint: dict[str, str]
