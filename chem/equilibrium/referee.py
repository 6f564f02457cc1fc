"""PHREEQC as referee: a solver that never saw ours, given a database made from our tables.

PHREEQC (Parkhurst and Appelo, USGS Techniques and Methods 6-A43, 2013; inside pyEQL) gets one
pseudo-element per component, so no redox reaction and no constant of its own enters, and each
row's log K at its temperature and SIT coefficients at its ionic strength. PHREEQC's own are: A(T)
of Debye-Hueckel, the osmotic coefficient, the mass balances and the numerical method.

Understood differences:
- A(T) comes from PHREEQC's own density and permittivity of water: 1e-5 relative.
- PHREEQC balances H and O too. While solids settle, water that complexes take up or set free
  changes the mass of water; ours counts only the water inside solids. Below 0.5 % of an amount.
- PHREEQC stops at a relative mass balance of 1e-8 (here 1e-12): metal and ligand equal to 1e-9
  leave the free ion to rounding in both.
- A pair of neutral species counts half in PHREEQC's osmotic coefficient; the tables have none.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from chem.equilibrium.activity import Floats
from chem.equilibrium.settle import settle
from chem.equilibrium.solve import Bools, Conditions, Equilibrium, Integers
from chem.equilibrium.system import Phases, System
from chem.reference import tables

ABSENT = 1e-19
"""A total at or below this stands for a component that is not there [mol/kg]."""
TOTAL_TOLERANCE = 1e-6
KNOBS = "KNOBS\n-iterations 500\n-convergence_tolerance 1e-12\n"
AMOUNT_FLOOR = 1e-6
"""Amounts are compared relative to themselves, or to this where they are less [mol/kg]."""
_DIGITS = str.maketrans("1234567890", "abcdefghij")


@dataclass(frozen=True)
class Refereed:
    """What PHREEQC found: NaN in rows that it did not solve.

    rows: (R,) which rows of the state; ph, ionic_strength [mol/kg]: (R,); si: (R, M), -inf where a
    component is absent; amounts: (R, M) [mol per kg of the first water]; water_left: (R,) [kg];
    solved: (R,).
    """

    rows: Integers
    ph: Floats
    ionic_strength: Floats
    si: Floats
    amounts: Floats
    water_left: Floats
    solved: Bools


@dataclass(frozen=True)
class Disagreement:
    """Largest differences between our solver and PHREEQC over the rows that both solved.

    ph, si: absolute; amount: relative, NaN where nothing settled; rows: compared;
    failed: rows that PHREEQC did not solve.
    """

    ph: float
    si: float
    amount: float
    rows: int
    failed: int


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
    eps = system.eps_at(conditions.t_celsius) + system.eps1 * np.log10(ionic_strength)
    if conditions.eps_shift is not None:
        eps = eps + np.tensordot(conditions.eps_shift[row], system.estimated, axes=1)
    return np.asarray(eps)


class Engine:
    """PHREEQC with one database loaded. Raises: RuntimeError if it doesn't load."""

    def __init__(self, text: str) -> None:
        from pyEQL._phreeqc import PyIPhreeqc

        self._engine: Any = PyIPhreeqc()
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "tables.dat"
            path.write_text(text)
            self._engine.load_database(str(path))

    def run(self, text: str) -> None:
        """Run PHREEQC input. Raises: RuntimeError with PHREEQC's own words."""
        self._engine.run_string(text)

    def selected(self) -> list[list[float]]:
        """The selected output, without its heading; what is no number is NaN."""
        from pyEQL.phreeqc.var import Var

        box = Var()
        out = []
        for i in range(1, self._engine.get_selected_output_row_count()):
            row = []
            for j in range(self._engine.get_selected_output_column_count()):
                self._engine.get_value(i, j, box._var.var)
                value = box.value
                row.append(float(value) if isinstance(value, int | float) else float("nan"))
            out.append(row)
        return out


def solution_text(
    number: int, system: System, totals: Floats, t_celsius: float, start_ph: float, closing: str
) -> str:
    """A SOLUTION block with totals (C,) [mol/kg water]; closing: `charge` or nothing."""
    lines = [f"SOLUTION {number}", f"temp {t_celsius:.10g}", "units mol/kgw", "-water 1"]
    lines.append(f"pH {start_ph:.12g} {closing}")
    lines += [
        f"{element(c)} {float(t):.15g}"
        for c, t in zip(system.components, totals, strict=True)
        if t > ABSENT
    ]
    return "\n".join([*lines, ""])


def _punch(system: System, phases: Phases) -> str:
    lines = ["SELECTED_OUTPUT", "-reset false", "-high_precision true", "USER_PUNCH", "-start"]
    wanted = ['-LA("H+")', "MU", 'TOT("water")']
    wanted += [f'SI("{key}")' for key in phases.keys]
    wanted += [f'EQUI("{key}")' for key in phases.keys]
    wanted += [f'TOT("{element(c)}")' for c in system.components]
    lines += [f"{10 + i} PUNCH {what}" for i, what in enumerate(wanted)]
    return "\n".join([*lines, "-end", ""])


def referee(
    state: Equilibrium,
    rows: Sequence[int],
    phases: Phases,
    log_ksp: Floats | None = None,
    *,
    ph: Floats | None = None,
    allowed: Bools | None = None,
) -> Refereed:
    """Solve some rows of a state afresh with PHREEQC.

    Args:
        state: our answer: its totals and conditions go in, and its ionic strength, at which the
            interaction coefficients are taken; a settled state where `allowed` is given.
        phases: M solids; log_ksp: (1 or N, M), default the tables'.
        ph: (N,) given pH, else electroneutrality decides.
        allowed: (M,) solids that may form; None: nothing settles.

    Raises:
        RuntimeError: PHREEQC can't load the database or has lost a component.
    """
    system, conditions = state.system, state.conditions
    count, solids = len(system.components), len(phases)
    t = conditions.t_celsius
    ksp = phases.log_k(t)[None, :] if log_ksp is None else log_ksp
    values = np.full((len(rows), 3 + 2 * solids), np.nan)
    for place, row in enumerate(rows):
        if not state.converged[row]:
            continue
        text = database(
            system,
            phases,
            t,
            log_k_row=conditions.log_k[0 if len(conditions.log_k) == 1 else row],
            log_ksp_row=ksp[0 if len(ksp) == 1 else row],
            eps_row=effective_eps(system, conditions, row, float(state.ionic_strength[row])),
        )
        totals = state.totals[row]
        after = "END\n"
        if allowed is not None:
            there = totals > ABSENT
            able = allowed & ~((phases.nu[:-1] != 0) & ~there[:, None]).any(axis=0)
            held = "\n".join(f"{phases.keys[m]} 0 0" for m in np.flatnonzero(able))
            after = f"EQUILIBRIUM_PHASES 1\n{held}\nEND\n"
        # PHREEQC starts from neutral; where that fails, from other guesses. It judges by itself
        # whether it has solved the row.
        guesses = [7.0, float(state.ph[row]), 4.0, 10.0] if ph is None else [float(ph[row])]
        for guess in guesses:
            engine = Engine(text)
            closing = "charge" if ph is None else ""
            solution = solution_text(1, system, totals, t, guess, closing)
            try:
                engine.run(KNOBS + _punch(system, phases) + solution + after)
            except RuntimeError:
                continue
            answer = np.array(engine.selected()[-1])
            _assert_present(system, totals, answer, phases, settled=allowed is not None)
            values[place] = answer[: 3 + 2 * solids]
            break
    si = values[:, 3 : 3 + solids]
    absent = state.totals[list(rows)] <= ABSENT
    lacking = absent.astype(float) @ (phases.nu[:count] != 0).astype(float) > 0
    return Refereed(
        np.array(rows, dtype=np.int64),
        values[:, 0],
        values[:, 1],
        np.where(lacking, -np.inf, si),
        values[:, 3 + solids :],
        values[:, 2],
        np.isfinite(values[:, 0]),
    )


def _assert_present(
    system: System, totals: Floats, answer: Floats, phases: Phases, *, settled: bool
) -> None:
    """PHREEQC drops what its database lacks without a word: count every component again."""
    solids = len(phases)
    found = answer[3 + 2 * solids :]
    if settled:
        found = found * answer[2] + phases.nu[:-1] @ answer[3 + solids : 3 + 2 * solids]
    wanted = np.where(totals > ABSENT, totals, 0.0)
    lost = np.abs(found - wanted) > TOTAL_TOLERANCE * wanted + 1e-15
    if lost.any():
        names = [c for c, bad in zip(system.components, lost, strict=True) if bad]
        raise RuntimeError(f"PHREEQC has lost {', '.join(names)}: {found[lost]}, {wanted[lost]}")


def disagreement(
    state: Equilibrium,
    phases: Phases,
    log_ksp: Floats | None,
    refereed: Refereed,
    *,
    amounts: bool = False,
) -> Disagreement:
    """Compare our rows with PHREEQC's; state and amounts as given to `referee`."""
    good = refereed.solved
    rows = refereed.rows[good]
    failed = int((state.converged[refereed.rows] & ~good).sum())
    if not rows.size:
        return Disagreement(float("nan"), float("nan"), float("nan"), 0, failed)
    ours = state.saturation_index(phases, log_ksp)[rows]
    theirs = refereed.si[good]
    both = np.isfinite(theirs) & np.isfinite(ours)
    relative = float("nan")
    if amounts:
        mine, other = state.amounts[rows], refereed.amounts[good]
        relative = float(np.max(np.abs(mine - other) / np.maximum(np.abs(mine), AMOUNT_FLOOR)))
    return Disagreement(
        float(np.abs(state.ph[rows] - refereed.ph[good]).max()),
        float(np.abs(ours - theirs)[both].max(initial=0.0)),
        relative,
        len(rows),
        failed,
    )


def compare(
    clear: Equilibrium,
    phases: Phases,
    log_ksp: Floats | None = None,
    *,
    rows: Iterable[int] = range(8),
    allowed: Bools | None = None,
) -> Disagreement:
    """Referee some rows of a speciation, and their settled state where solids may form.

    Args:
        clear: our speciation; phases: M solids; log_ksp: (1 or N, M); rows: which of the N;
        allowed: (M,) solids that may settle; None: only pH and SI are compared.

    Raises:
        RuntimeError: PHREEQC can't load the database or has lost a component.
    """
    chosen = [r for r in rows if r < len(clear.totals) and clear.converged[r]]
    found = disagreement(clear, phases, log_ksp, referee(clear, chosen, phases, log_ksp))
    if allowed is None or not chosen:
        return found
    settled = settle(
        clear.system,
        clear.totals,
        clear.conditions,
        phases,
        log_ksp=log_ksp,
        allowed=allowed,
        start=clear,
    )
    here = [r for r in chosen if settled.converged[r]]
    checked = referee(settled, here, phases, log_ksp, allowed=allowed)
    amount = disagreement(settled, phases, log_ksp, checked, amounts=True)
    return Disagreement(
        float(np.fmax(found.ph, amount.ph)),
        found.si,
        amount.amount,
        found.rows,
        found.failed + amount.failed,
    )
