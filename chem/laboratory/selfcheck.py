"""Check values, invariants and the example mixes, on the user's own machine."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from chem.equilibrium import water_density_g_per_mL
from chem.equilibrium.activity import debye_hueckel_a, dielectric_constant
from chem.equilibrium.referee import phreeqc
from chem.errors import InputProblem
from chem.forecast import forecast, referee_mix
from chem.laboratory.invariants import INVARIANTS
from chem.laboratory.recipe import Recipe
from chem.laboratory.solution import Solution, equilibrate
from chem.reference import catalogue, data_folder, molar_mass_g_per_mol, read_csv, tables
from chem.reference.fingerprint import fingerprint
from chem.reference.reactions import parse_reaction
from chem.tank import read_mix

EXAMPLE_DRAWS = 32


@dataclass(frozen=True)
class CheckOutcome:
    """One check.

    group: check value, invariant, example or refereed example; deviation, tolerance: in `unit`;
    share: deviation in units of the tolerance, above 1 (or NaN) it failed;
    trouble: why there is no number, if so.
    """

    group: str
    key: str
    what: str
    found: float
    expected: float
    deviation: float
    tolerance: float
    unit: str
    role: str
    source: str
    trouble: str = ""

    @property
    def share(self) -> float:
        """Deviation over tolerance."""
        return self.deviation / self.tolerance

    @property
    def passed(self) -> bool:
        """Whether it holds; NaN fails."""
        return self.deviation <= self.tolerance


@dataclass(frozen=True)
class SelfCheck:
    """Every check, the time they took [s], and what results here are stamped with.

    unrefereed: why PHREEQC was not asked, if so.
    """

    checks: tuple[CheckOutcome, ...]
    seconds: float
    unrefereed: str = ""
    fingerprint: Mapping[str, str] = field(default_factory=fingerprint)

    @property
    def passed(self) -> bool:
        """Whether every check holds."""
        return all(c.passed for c in self.checks)

    @property
    def largest(self) -> CheckOutcome:
        """The check with the largest deviation over its tolerance, NaN first."""
        return max(self.checks, key=lambda c: math.inf if math.isnan(c.share) else c.share)


def self_check() -> SelfCheck:
    """Run every check; one that can't be computed counts as failed.

    Without PHREEQC on this machine all but the referee's are run.
    """
    start = time.perf_counter()
    checks = [*_check_values(), *_invariants(), *_examples()]
    unrefereed = ""
    try:
        phreeqc()
    except InputProblem as problem:
        unrefereed = "; ".join(f"{p.wrong}: {p.instead}" for p in problem.problems)
    else:
        checks += _refereed()
    return SelfCheck(tuple(checks), time.perf_counter() - start, unrefereed)


def _attempt(compute: Callable[[], float]) -> tuple[float, str]:
    """What it gives, or NaN and why there is no number."""
    try:
        return float(compute()), ""
    except (
        InputProblem,
        ArithmeticError,
        AssertionError,
        LookupError,
        RuntimeError,
        ValueError,
    ) as error:
        return math.nan, f"{type(error).__name__}: {error}"


def _check_values() -> list[CheckOutcome]:
    out = []
    for row in read_csv("check_values.csv"):
        expected = float(row["value"])
        limit = row["tolerance"]
        tolerance = float(limit.removesuffix("%"))
        if limit.endswith("%"):
            tolerance *= abs(expected) / 100.0
        found, trouble = _attempt(lambda row=row: _COMPUTED[row["what"]](row))  # type: ignore[misc]
        out.append(
            CheckOutcome(
                "check value",
                row["id"],
                _described(row),
                found,
                expected,
                abs(found - expected),
                tolerance,
                row["unit"],
                row["role"],
                row["source"],
                trouble,
            )
        )
    return out


def _described(row: Mapping[str, str]) -> str:
    parts = [row["what"].replace("_", " "), row["of"], row["composition"]]
    parts += [f"{row['t_C']} C" if row["t_C"] else "", row["note"]]
    return "; ".join(p for p in parts if p)


def _recipe(row: Mapping[str, str]) -> Recipe:
    pairs = (word.split("=") for word in row["composition"].split())
    return Recipe(row["id"], float(row["t_C"]), None, {c: float(v) for c, v in pairs})


def _ph(row: Mapping[str, str]) -> float:
    return equilibrate(_recipe(row)).ph


def _dissolved(row: Mapping[str, str]) -> float:
    solid, component = row["of"].split()
    saturated = equilibrate(_recipe(row), saturate=[solid])
    assert saturated.dissolved is not None
    return saturated.dissolved[component]


def _ion_product(row: Mapping[str, str]) -> float:
    solid, _, ions = row["of"].partition(" ")
    saturated = equilibrate(_recipe(row), saturate=[solid])
    return sum(n * math.log10(_activity(saturated, k)) for k, n in parse_reaction(ions).items())


def _mean_activity(row: Mapping[str, str]) -> float:
    """Stoichiometric mean activity coefficient of a salt."""
    recipe = _recipe(row)
    result = equilibrate(recipe)
    masters = {c.master: c.key for c in tables().components.values()}
    ions = parse_reaction(row["of"])
    log = sum(
        n * math.log(_activity(result, k) / recipe.totals[masters[k]]) for k, n in ions.items()
    )
    return math.exp(log / sum(ions.values()))


def _activity(result: Solution, key: str) -> float:
    return next(s.activity for s in result.species if s.key == key)


def _pkw(row: Mapping[str, str]) -> float:
    hydroxide = next(s for s in tables().species if s.key == "OH-")
    return -hydroxide.constant.at(float(row["t_C"]))


def _element_share(row: Mapping[str, str]) -> float:
    line = catalogue().guarantees[row["of"]]
    return molar_mass_g_per_mol(line.element) / line.grams_per_mole


_COMPUTED: dict[str, Callable[[Mapping[str, str]], float]] = {
    "ph": _ph,
    "dissolved": _dissolved,
    "ion_product": _ion_product,
    "mean_activity": _mean_activity,
    "pkw": _pkw,
    "element_share": _element_share,
    "debye_hueckel_a": lambda row: debye_hueckel_a(float(row["t_C"])),
    "water_density": lambda row: water_density_g_per_mL(float(row["t_C"])),
    "permittivity": lambda row: dielectric_constant(float(row["t_C"])),
}


def _invariants() -> list[CheckOutcome]:
    out = []
    for one in INVARIANTS:
        found, trouble = _attempt(one.deviation)
        out.append(
            CheckOutcome(
                "invariant",
                one.key,
                one.what,
                found,
                0.0,
                found,
                one.tolerance,
                "",
                "check",
                "",
                trouble,
            )
        )
    return out


def _mixes() -> list[Path]:
    """The example mixes where they are shipped: in the tables' folder, or beside it."""
    data = data_folder()
    for folder in (data / "demo" / "mixes", data.parent / "examples"):
        found = sorted(folder.glob("*.toml"))
        if found:
            return found
    return []


def _unanswered(path: Path) -> float:
    """Share of draws without an equilibrium; raises where there is no answer at all."""
    result = forecast(read_mix(path), count=EXAMPLE_DRAWS)
    if not (result.answer and math.isfinite(result.chance) and math.isfinite(result.ph.median)):
        raise ArithmeticError(f"no answer: {result.because}")
    return result.failed_rows / result.draws


def _examples() -> list[CheckOutcome]:
    return [
        _of_example("example", path, _unanswered, "share of draws without an equilibrium", 0.05)
        for path in _mixes()
    ]


def _refereed() -> list[CheckOutcome]:
    what = "pH and SI of the middle of every doubt beside PHREEQC's, in tolerances of the referee"
    return [_of_example("refereed example", path, _disputed, what, 1.0) for path in _mixes()]


def _disputed(path: Path) -> float:
    return referee_mix(read_mix(path), count=1).share


def _of_example(
    group: str, path: Path, compute: Callable[[Path], float], what: str, tolerance: float
) -> CheckOutcome:
    found, trouble = _attempt(lambda: compute(path))
    return CheckOutcome(
        group, path.stem, what, found, 0.0, found, tolerance, "", "check", "", trouble
    )
