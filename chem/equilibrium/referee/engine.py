"""PHREEQC itself, one fresh solution per row."""

from __future__ import annotations

import importlib.util
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.machinery import PathFinder
from pathlib import Path
from typing import Any

import numpy as np

from chem.equilibrium.activity import Floats
from chem.equilibrium.outcome import Bools, Equilibrium, Integers
from chem.equilibrium.referee.as_phreeqc import database, effective_eps, element
from chem.equilibrium.system import Phases, System
from chem.errors import InputProblem, Problem

HOW_TO_GET_IT = "`pip install 'jarsight[referee]'` (in a clone: `pip install '.[referee]'`)"
ABSENT = 1e-19
"""A total at or below this stands for a component that is not there [mol/kg]."""
TOTAL_TOLERANCE = 1e-6
KNOBS = "KNOBS\n-iterations 500\n-convergence_tolerance 1e-12\n"


@dataclass(frozen=True)
class Refereed:
    """What PHREEQC found: NaN in rows that it did not solve.

    rows: (R,) which rows of the state; ph, ionic_strength [mol/kg]: (R,); si: (R, M), -inf where a
    component is absent; amounts: (R, M) [mol per kg of the first water]; water_left: (R,) [kg];
    dissolved: (R, C) totals of the solution [mol/kg water left]; solved: (R,).
    """

    rows: Integers
    ph: Floats
    ionic_strength: Floats
    si: Floats
    amounts: Floats
    water_left: Floats
    dissolved: Floats
    solved: Bools


def pyeql_folder() -> Path:
    """Where pyEQL is installed. Raises: InputProblem if it isn't."""
    try:
        spec = importlib.util.find_spec("pyEQL")
    except (ImportError, ValueError):
        spec = None
    places = spec.submodule_search_locations if spec else None
    if not places:
        raise InputProblem(
            Problem("the referee", "PHREEQC (inside pyEQL) isn't installed here", HOW_TO_GET_IT)
        )
    return Path(next(iter(places)))


def phreeqc() -> Any:
    """The PHREEQC module inside pyEQL, loaded alone.

    `import pyEQL` takes a second, and builds a pint registry from the user's cache folder, which
    fails where that cache was left by an environment since deleted. PHREEQC needs neither.

    Raises: InputProblem if it isn't installed, or doesn't load.
    """
    name = "pyEQL._phreeqc"
    folder = pyeql_folder()
    if name not in sys.modules:
        try:
            spec = PathFinder.find_spec(name, [str(folder)])
            if spec is None or spec.loader is None:
                raise ImportError(f"no {name} in it")
            module = importlib.util.module_from_spec(spec)
            spec.loader.exec_module(module)
        except ImportError as error:
            raise InputProblem(
                Problem("the referee", f"pyEQL's PHREEQC doesn't load ({error})", HOW_TO_GET_IT)
            ) from None
        sys.modules[name] = module  # its types can be registered only once in a process
    return sys.modules[name]


class Engine:
    """PHREEQC with one database loaded.

    Raises: RuntimeError if the database doesn't load; InputProblem as `phreeqc`.
    """

    def __init__(self, text: str) -> None:
        self._module = phreeqc()
        self._engine: Any = self._module.PyIPhreeqc()
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "tables.dat"
            path.write_text(text)
            self._engine.load_database(str(path))

    def run(self, text: str) -> None:
        """Run PHREEQC input. Raises: RuntimeError with PHREEQC's own words."""
        self._engine.run_string(text)

    def selected(self) -> list[list[float]]:
        """The selected output, without its heading; what is no number is NaN."""
        kinds = self._module.PY_VAR_TYPE
        numbers = {kinds.TT_LONG: "lVal", kinds.TT_DOUBLE: "dVal"}
        out = []
        for i in range(1, self._engine.get_selected_output_row_count()):
            row = []
            for j in range(self._engine.get_selected_output_column_count()):
                cell = self._module.PyVar()
                self._engine.get_value(i, j, cell.var)
                held = numbers.get(cell.var.type)
                row.append(float(getattr(cell.var, held)) if held else float("nan"))
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
        InputProblem: PHREEQC isn't installed.
    """
    system, conditions = state.system, state.conditions
    count, solids = len(system.components), len(phases)
    t = conditions.t_celsius
    ksp = phases.log_k(t)[None, :] if log_ksp is None else log_ksp
    values = np.full((len(rows), 3 + 2 * solids + count), np.nan)
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
            values[place] = answer
            break
    si = values[:, 3 : 3 + solids]
    absent = state.totals[list(rows)] <= ABSENT
    lacking = absent.astype(float) @ (phases.nu[:count] != 0).astype(float) > 0
    return Refereed(
        np.array(rows, dtype=np.int64),
        values[:, 0],
        values[:, 1],
        np.where(lacking, -np.inf, si),
        values[:, 3 + solids : 3 + 2 * solids],
        values[:, 2],
        values[:, 3 + 2 * solids :],
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
