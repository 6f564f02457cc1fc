"""The settled state: solids enter the same Newton as an active set.

Per row: add the solid furthest over its limit (SI per ion), solve, drop the solid whose amount is
most negative, until none is over its limit and none is negative. Until then a state need not be
exact. Rows that so find no set are led there from limits so high that nothing forms.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from chem.equilibrium.activity import Floats
from chem.equilibrium.basis import alike
from chem.equilibrium.newton import STEP_TOLERANCE, checked, solve, solve_into
from chem.equilibrium.outcome import PER_ROW, Bools, Conditions, Equilibrium, Integers, RowStatus
from chem.equilibrium.system import Phases, System

SI_TOLERANCE = 1e-7
NEGATIVE_MOL = -1e-12
MAX_ADDED = 6
ROUGH = 1e-3
"""Change of ln activities left to come that is near enough to say which solids form."""
LOWERED_IN = 40
"""Steps in which the limits are lowered for rows that found no set at once."""


def settle(
    system: System,
    totals_mol_per_kgw: Floats,
    conditions: Conditions,
    phases: Phases,
    *,
    log_ksp: Floats | None = None,
    allowed: Bools | None = None,
    always: Bools | None = None,
    ph: Floats | None = None,
    start: Equilibrium | None = None,
    begin: Equilibrium | None = None,
    only: Bools | None = None,
) -> Equilibrium:
    """Let solids form until no allowed one is over its limit.

    Args:
        totals_mol_per_kgw: (N, C); conditions: of the same N rows.
        phases: M solids; log_ksp: (1 or N, M), default the tables'.
        allowed: (M,) which may form, default all; always: (M,) which stand in unlimited
            excess or exchange with air: never dropped, their amount may be negative.
        ph: (N,) given pH, else electroneutrality.
        start: the clear (unsettled) result of the same rows.
        begin: the same rows with some of the solids settled, to go on from.
        only: (N,) rows to settle; the others keep `start`.

    Returns:
        Equilibrium with `amounts` (N, M) [mol per kg of the first water]; a row that found no
        settled state has reason SOLIDS and NaN.

    Raises:
        ValueError: as `solve`.
    """
    totals = checked(system, totals_mol_per_kgw)
    n, count = len(totals), len(phases)
    ksp = phases.log_k(conditions.t_celsius)[None, :] if log_ksp is None else log_ksp
    ksp = np.broadcast_to(ksp, (n, count))
    fixed = np.zeros(count, dtype=bool) if always is None else always
    may = np.ones(count, dtype=bool) if allowed is None else allowed
    clear = start if start is not None else solve(system, totals, conditions, ph=ph)
    unsettled = replace(clear, conditions=conditions, amounts=np.zeros((n, count)))
    state = unsettled.copy()
    active = np.broadcast_to(fixed, (n, count)).copy()
    todo = np.flatnonzero(clear.converged if only is None else clear.converged & only)
    given = None if ph is None else np.broadcast_to(np.asarray(ph, float), (n,))
    search = _Search(totals, phases, may, fixed, given, clear)
    if begin is not None:
        some = todo[begin.converged[todo]]
        state.put(some, begin.rows(some))
        active[some] |= begin.amounts[some] > 0.0
        search.run(some, state, active, ksp, ROUGH)
        ok = search.run(some, state, active, ksp, STEP_TOLERANCE)
        todo = np.setdiff1d(todo, some[ok[some]])
        state.put(todo, unsettled.rows(todo))
        active[todo] = fixed
    if not fixed.any():
        todo = todo[_excess(state, todo, phases, ksp, active, may, SI_TOLERANCE)[1]]
    if not fixed.all():
        search.run(todo, state, active, ksp, ROUGH)
    ok = search.run(todo, state, active, ksp, STEP_TOLERANCE)
    astray = todo[~ok[todo]]
    if astray.size:
        active[astray] = fixed
        si = clear.saturation_index(phases, ksp[astray], astray)
        lift = np.zeros((n, count))
        lift[astray] = np.where(may, si, 0.0).max(axis=1)[:, None] * ~fixed
        state.put(astray, unsettled.rows(astray))
        for share in np.linspace(1.0, 0.0, LOWERED_IN + 1)[1:]:
            ok = search.run(astray, state, active, ksp + share * lift, STEP_TOLERANCE)
    return _without(state, clear.converged & ~ok)


@dataclass(frozen=True)
class _Search:
    """What a search for the solids of rows goes by; arguments as of `settle`.

    known: the sums of formulas that `_make_room` has met.
    """

    totals: Floats
    phases: Phases
    may: Bools
    fixed: Bools
    ph: Floats | None
    clear: Equilibrium
    known: dict[tuple[bytes, int], Floats | None] = field(default_factory=dict)

    def run(
        self, todo: Integers, state: Equilibrium, active: Bools, ksp: Floats, tolerance: float
    ) -> Bools:
        """(N,) found: rows `todo` of the state are settled from what is `active` (N, M).

        state and active are changed in place; ksp: (N, M); tolerance: as of `solve`.
        """
        phases, may, fixed = self.phases, self.may, self.fixed
        n, count = active.shape
        added = np.zeros((n, count), dtype=np.int64)
        retried, astray = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
        limit = max(SI_TOLERANCE, tolerance)
        ok = np.ones(n, dtype=bool)
        while todo.size:
            worst, over = _excess(state, todo, phases, ksp, active, may, limit)
            over &= ~astray[todo]  # what is left of a set that failed goes alone first
            _make_room(active, todo[over], worst[over], phases, state.amounts, fixed, self.known)
            active[todo[over], worst[over]] = True
            added[todo[over], worst[over]] += 1
            before = state.amounts[todo]
            solve_into(
                state,
                todo,
                self.totals,
                ph=self.ph,
                phases=phases,
                active=active,
                log_ksp=ksp,
                start=state,
                tolerance=tolerance,
            )
            negative = np.where(active[todo] & ~fixed, state.amounts[todo], 0.0)
            most = np.nan_to_num(negative).argmin(axis=1)
            drop = negative[np.arange(len(todo)), most] < NEGATIVE_MOL
            active[todo[drop], most[drop]] = False
            failed = ~state.converged[todo]
            astray[todo] = failed
            if failed.any():
                # A set that can't coexist has no solution: less its most negative, from clear.
                state.amounts[todo[failed]] = before[failed]
                unsettled = replace(self.clear, amounts=state.amounts)
                state.put(todo[failed], unsettled.rows(todo[failed]))
            ok[todo[failed & ~drop & retried[todo]]] = False
            retried[todo[failed & ~drop]] = True
            ok[todo[(added[todo] > MAX_ADDED).any(axis=1)]] = False
            _, still = _excess(state, todo, phases, ksp, active, may, limit)
            todo = todo[(still | drop | failed) & ok[todo]]
        return ok


def _excess(
    state: Equilibrium,
    rows: Integers,
    phases: Phases,
    log_ksp: Floats,
    active: Bools,
    may: Bools,
    tolerance: float,
) -> tuple[Integers, Bools]:
    """Of each row: the solid furthest over its limit that may form and is not there; is there one.

    log_ksp, active: (N, M).
    """
    si = state.saturation_index(phases, log_ksp[rows], rows) / phases.ions
    si = np.where(may & ~active[rows], si, -np.inf)
    worst = si.argmax(axis=1)
    return worst, np.asarray(si[np.arange(len(si)), worst] > tolerance)


def _make_room(
    active: Bools,
    rows: Integers,
    entering: Integers,
    phases: Phases,
    amounts: Floats,
    fixed: Bools,
    known: dict[tuple[bytes, int], Floats | None],
) -> None:
    """Take out, in place, the solid that an entering one replaces (Gibbs' phase rule).

    Where its formula is a sum of those present (2 MnCO3 + 5 Zn(OH)2 = hydrozincite + 2 Mn(OH)2),
    all can't be at equilibrium: the one used up first as the new one forms leaves, as in a simplex
    step. `known` keeps the sums of one call.
    """
    for of in alike(active[rows], entering):
        there, new = active[rows[of[0]]].copy(), int(entering[of[0]])
        key = there.tobytes(), new
        if key not in known:
            nu = phases.nu * there
            share = np.linalg.lstsq(nu, phases.nu[:, new], rcond=None)[0]
            whole = np.abs(nu @ share - phases.nu[:, new]).max() < 1e-9
            known[key] = share if whole else None
        share_of = known[key]
        if share_of is None:
            continue
        used = there & ~fixed & (share_of > 1e-9)
        if used.any():
            left = amounts[rows[of]] / np.where(used, share_of, 1.0)
            active[rows[of], np.where(used, left, np.inf).argmin(axis=1)] = False


def _without(state: Equilibrium, bad: Bools) -> Equilibrium:
    """The result with failed rows marked: no number for them."""
    if not bad.any():
        return state
    fields = {}
    for name in PER_ROW[1:10]:
        values = getattr(state, name).copy()
        values[bad] = np.nan
        fields[name] = values
    reason = np.where(bad, int(RowStatus.SOLIDS), state.reason)
    return replace(state, converged=state.converged & ~bad, reason=reason, **fields)
