"""PHREEQC's database of one row, written from our tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache

import numpy as np

from chem.equilibrium.activity import Floats
from chem.equilibrium.outcome import Conditions
from chem.equilibrium.system import Phases, System
from chem.reference import tables

_DIGITS = str.maketrans("1234567890", "abcdefghij")


def element(component: str) -> str:
    """The pseudo-element of a component: capital and lower-case letters only."""
    return "X" + component.replace("_", "").replace(":", "").translate(_DIGITS).lower()


@cache
def _own_h_and_o(component: str) -> tuple[int, int]:
    """H and O in the formula of a component's master, so that no species holds less than 0.

    A held chelate counts as opaque: its forms differ by what they take up.
    """
    import periodictable

    if component not in tables().components:
        return 0, 0

    atoms = periodictable.formula(tables().components[component].formula).atoms
    count = {str(k): int(v) for k, v in atoms.items()}
    return count.get("H", 0), count.get("O", 0)


def _number(value: float) -> str:
    return f"{value:.10g}"


def formula(system: System, nu: Floats, water: float, charge: float = 0.0) -> str:
    """PHREEQC formula of nu (C+1,) masters and H+ with `water` H2O taken up."""
    held = [_own_h_and_o(c) for c in system.components]
    hydrogen = float(nu[:-1] @ [h for h, _ in held]) + float(nu[-1]) + 2.0 * water
    oxygen = float(nu[:-1] @ [o for _, o in held]) + water
    parts = [(element(c), float(n)) for c, n in zip(system.components, nu[:-1], strict=True)]
    parts += [("H", hydrogen), ("O", oxygen)]
    if min(n for _, n in parts) < -1e-9:
        raise ValueError(f"a formula would hold less than none: {parts}")
    text = "".join(e + ("" if n == 1.0 else _number(n)) for e, n in parts if n > 1e-9)
    sign = "" if charge == 0 else "+" if charge == 1 else "-" if charge == -1 else f"{charge:+.0f}"
    return text + sign


def species_names(system: System) -> list[str]:
    """The S species as PHREEQC formulas. Raises: ValueError where two would be the same."""
    names = [
        formula(system, system.nu[:, s], float(system.water[s]), float(system.charge[s]))
        for s in range(len(system.species))
    ]
    if len(set(names)) != len(names):
        raise ValueError("two species have the same formula and charge")
    return names


def _side(terms: Iterable[tuple[str, float]]) -> str:
    return " + ".join(f"{_number(n)} {name}" for name, n in terms)


def _reaction(masters: Sequence[str], nu: Floats, water: float, product: str) -> str:
    """`masters = product`, negative coefficients moved to the other side."""
    terms = [(name, float(n)) for name, n in zip(masters, nu, strict=True)] + [("H2O", water)]
    left = [(name, n) for name, n in terms if n > 0.0]
    right = [(product, 1.0)] + [(name, -n) for name, n in terms if n < 0.0]
    return f"{_side(left)} = {_side(right)}"


def database(
    system: System,
    phases: Phases,
    t_celsius: float = 25.0,
    *,
    log_k_row: Floats | None = None,
    log_ksp_row: Floats | None = None,
    eps_row: Floats | None = None,
) -> str:
    """PHREEQC database of a system and its solids at one temperature.

    Args:
        t_celsius: [degC]; log_k_row: (S,) and log_ksp_row: (M,) log10 constants, default the
            tables' at t; eps_row: (S, S) interaction coefficients [kg/mol], default the tables'
            at t and I = 1 mol/kg.
    """
    log_k = system.log_k(t_celsius) if log_k_row is None else log_k_row
    log_ksp = phases.log_k(t_celsius) if log_ksp_row is None else log_ksp_row
    eps = system.eps_at(t_celsius) if eps_row is None else eps_row
    names = species_names(system)
    count = len(system.components)
    masters = names[: count + 1]
    lines = ["SOLUTION_MASTER_SPECIES", "H H+ -1 H 1.008", "H(1) H+ -1 0", "H(0) H2 0 H"]
    lines += ["E e- 0 0 0", "O H2O 0 O 16", "O(-2) H2O 0 0", "O(0) O2 0 O"]
    lines += [f"{element(c)} {names[i]} 0 1 1" for i, c in enumerate(system.components)]
    lines += ["SOLUTION_SPECIES", "H+ = H+", "log_k 0", "e- = e-", "log_k 0", "H2O = H2O"]
    lines += ["log_k 0", "2 H+ + 2 e- = H2", "log_k -3.15", "2 H2O = O2 + 4 H+ + 4 e-"]
    lines += ["log_k -85.99"]
    for name in names[:count]:
        lines += [f"{name} = {name}", "log_k 0"]
    for s in range(count + 1, len(names)):
        lines.append(_reaction(masters, system.nu[:, s], float(system.water[s]), names[s]))
        lines.append(f"log_k {float(log_k[s]):.12g}")
    lines += ["SIT", "-epsilon"]
    for i, j in zip(*np.nonzero(np.triu(eps, 1)), strict=True):
        lines.append(f"{names[i]} {names[j]} {float(eps[i, j]):.12g}")
    lines.append("PHASES")
    for m, key in enumerate(phases.keys):
        solid = formula(system, phases.nu[:, m], float(phases.water[m]))
        terms = [(n, float(x)) for n, x in zip(masters, phases.nu[:, m], strict=True)]
        terms.append(("H2O", float(phases.water[m])))
        left = [(solid, 1.0)] + [(name, -n) for name, n in terms if n < 0.0]
        right = [(name, n) for name, n in terms if n > 0.0]
        lines += [key, f"{_side(left)} = {_side(right)}", f"log_k {float(log_ksp[m]):.12g}"]
    return "\n".join([*lines, "END", ""])


def effective_eps(
    system: System, conditions: Conditions, row: int, ionic_strength: float
) -> Floats:
    """(S, S) coefficients of one row at its own ionic strength [mol/kg], doubts included."""
    eps = system.eps_at(conditions.t_celsius, ionic_strength)
    if conditions.eps_shift is not None:
        eps = eps + np.tensordot(conditions.eps_shift[row], system.estimated, axes=1)
    return np.asarray(eps)
