"""What a solution's ions do to one another: SIT for a batch, species by groups.

Most complexes of one charge have the same coefficients with everything, so they count as one: the
coefficients meet the sums of groups, and one take spreads what comes out over the species.
Arrays here and in `residual` run species x rows: one quantity of all rows lies together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from chem.equilibrium.activity import (
    LN10,
    MOLAR_MASS_WATER_KG,
    Floats,
    debye_hueckel_a,
    osmotic_debye_hueckel,
)
from chem.equilibrium.system import System

IONIC_STRENGTH_FLOOR = 1e-9


class Scratch:
    """Arrays used again and again: fresh temporaries cost a step more than its arithmetic."""

    def __init__(self) -> None:
        self._kept: dict[str, Floats] = {}
        self._views: dict[tuple[str | int, ...], Floats] = {}

    def __call__(self, *name_and_shape: str | int) -> Floats:
        """An uninitialised array of a name and a shape; the name overwrites what it gave before."""
        view = self._views.get(name_and_shape)
        if view is None:
            name, *shape = name_and_shape
            size = math.prod(map(int, shape))
            if name not in self._kept or self._kept[str(name)].size < size:
                self._kept[str(name)] = np.empty(size)
                self._views = {key: v for key, v in self._views.items() if key[0] != name}
            view = self._kept[str(name)][:size].reshape(*map(int, shape))
            self._views[name_and_shape] = view
        return view


@dataclass(frozen=True)
class Medium:
    """Activities in a batch, of G groups of species; they hold until the next call.

    ionic_strength, solutes: (n,) the latter the sum of molalities [mol/kg]; ln_gamma: (G, n);
    ln_water_activity: (n,); ln_k_shift: (G, n) n_w ln a_w - ln gamma, what mass action by molality
    adds to ln K.
    """

    ionic_strength: Floats
    solutes: Floats
    ln_gamma: Floats
    ln_water_activity: Floats
    ln_k_shift: Floats


class ActivityModel:
    """SIT for one system at one temperature.

    Attributes:
        groups: how many; group: (S,) the one of each species.
    """

    def __init__(self, system: System, t_celsius: float) -> None:
        charge = system.charge
        eps = system.eps_at(t_celsius)
        columns = [eps, system.eps1, *system.estimated, charge[None, :], system.water[None, :]]
        keys = [column.tobytes() for column in np.concatenate(columns).T.copy()]
        # By charge, so that the groups that a class of shifts touches lie together.
        firsts = sorted(_firsts(keys), key=lambda s: abs(charge[s]))
        place = {keys[s]: g for g, s in enumerate(firsts)}
        self.groups = len(firsts)
        self.group = np.array([place[k] for k in keys])
        # A group of one is copied; only those of several are sums.
        self._firsts = np.array(firsts)
        several = np.bincount(self.group) > 1
        self._several = np.flatnonzero(several)
        self._members = np.flatnonzero(several[self.group])
        self._sums = np.equal.outer(self._several, self.group[self._members]).astype(float)
        self._a, self._ba = debye_hueckel_a(t_celsius), system.ba
        self._log_limit = system.log_limit
        square = np.ix_(firsts, firsts)
        self._z2, self._water = charge[firsts, None] ** 2, system.water[firsts, None]
        eps1 = system.eps1[square]
        self._logs = np.flatnonzero(eps1.any(axis=1))
        parts = [eps[square], eps1[self._logs], self._z2.T, np.ones((1, self.groups))]
        self._plain = sum(map(len, parts))
        # Groups that the shifts move alike are one kind; those of a class lie together.
        classes = [matrix[square] for matrix in system.estimated]
        alike = [row.tobytes() for row in np.concatenate(classes, axis=1)]
        kinds = _firsts(alike)
        place = {alike[g]: k for k, g in enumerate(kinds)}
        self._kinds, self._kind = len(kinds), np.array([place[row] for row in alike])
        self._spans = []
        for matrix in classes:
            moves = matrix[kinds]
            touched = np.flatnonzero(moves.any(axis=1))
            span = slice(touched[0], touched[-1] + 1) if touched.size else slice(0, 0)
            self._spans.append(span)
            parts.append(moves[span])
        self._stacked = np.concatenate(parts)

    def medium(self, molality: Floats, shifts: Floats | None, scratch: Scratch) -> Medium:
        """Activities at molalities (S, n) [mol/kg]; shifts (3, n) move estimated coefficients."""
        n, groups = molality.shape[1], self.groups
        held = np.take(
            molality, self._firsts, axis=0, out=scratch("groups", groups, n), mode="clip"
        )
        members = scratch("members", len(self._members), n)
        np.take(molality, self._members, axis=0, out=members, mode="clip")
        held[self._several] = self._sums @ members
        stacked = self._stacked[: self._plain] if shifts is None else self._stacked
        out = np.matmul(stacked, held, out=scratch("stacked", len(stacked), n))
        eps_m = out[:groups]
        solutes = out[self._plain - 1]
        ionic = np.maximum(0.5 * out[self._plain - 2], IONIC_STRENGTH_FLOOR)
        root = np.sqrt(ionic)
        if self._logs.size:
            log_i = np.log10(np.minimum(ionic, self._log_limit))
            eps_m[self._logs] += log_i * out[groups : self._plain - 2]
        if shifts is not None:
            moved = scratch("moved", self._kinds, n)
            moved[:] = 0.0
            first = self._plain
            for shift, span in zip(shifts, self._spans, strict=True):
                part = out[first : first + span.stop - span.start]
                part *= shift
                moved[span] += part
                first += len(part)
            spread = scratch("members", groups, n)
            eps_m += np.take(moved, self._kind, axis=0, out=spread, mode="clip")
        held *= eps_m
        osmotic_sum = solutes - osmotic_debye_hueckel(root, self._a, self._ba)
        osmotic_sum += 0.5 * LN10 * np.add.reduce(held)
        debye_hueckel = -self._a * root / (1.0 + self._ba * root)
        eps_m += np.multiply(self._z2, debye_hueckel, out=held)
        eps_m *= LN10
        ln_water_activity = -MOLAR_MASS_WATER_KG * osmotic_sum
        shift = np.multiply(self._water, ln_water_activity, out=held)
        shift -= eps_m
        return Medium(ionic, solutes, eps_m, ln_water_activity, shift)


def _firsts(keys: list[bytes]) -> list[int]:
    """Where each key stands first."""
    return sorted({key: i for i, key in reversed(list(enumerate(keys)))}.values())


@lru_cache(maxsize=32)
def activity_model(system: System, t_celsius: float) -> ActivityModel:
    """The model of a system at t [degC], kept for the next call."""
    return ActivityModel(system, t_celsius)
