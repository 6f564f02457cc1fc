"""A mix carried to its finished solution, per draw, and how it stands before any answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from chem.doubts import Draws
from chem.equilibrium import Equilibrium, solve
from chem.equilibrium.activity import Floats
from chem.forecast.aging import Aging, aging
from chem.forecast.filling import warmer_by_K
from chem.forecast.state import Bools, Integers, State, conditions_of, evaluate
from chem.label import Contents
from chem.reference import tables
from chem.tank import Finished, Mix, WaterTotals, finish, topped


@dataclass(frozen=True)
class Moment:
    """Some draws of a tank at a time.

    rows: (n,) which; within_s: (n,) as of `evaluate`; driven: (N,) carbon dioxide gone by then
    [mol/kg water], None for none.
    """

    t_s: float
    rows: Integers
    within_s: Floats
    driven: Floats | None


@dataclass(frozen=True)
class Standing:
    """Finished solutions as they stand: one tank's rows, or several tanks' below each other.

    draws: of these rows; coldest_celsius: of the night, None for none; film: (N,) whether
    something in the tank is a film or gum that borate gels; near: solutions of like totals, to
    start from.
    """

    draws: Draws
    finished: Finished
    t_celsius: float
    coldest_celsius: float | None
    film: Bools
    near: Equilibrium | None = None

    @cached_property
    def aged(self) -> Aging:
        """How the solution changes as it stands."""
        return aging(self.finished, self.t_celsius, self.draws, self.near)

    def at(
        self,
        t_s: float,
        t_celsius: float | None = None,
        *,
        near: Equilibrium | None = None,
        within_s: float | Floats = np.inf,
        driven: Floats | None = None,
    ) -> State:
        """The tank after t [s] of standing, at its own or another temperature [degC].

        near: a solution of like totals to start from; within_s: as `evaluate`; driven: (N,) carbon
        dioxide gone by then [mol/kg water].
        """
        near = self.aged.near if near is None else near
        totals, water = self.aged.totals(t_s, driven), self.finished.water_kg_per_L
        t = self.t_celsius if t_celsius is None else t_celsius
        warmest = max(t, self.t_celsius)  # a cold night ends a day that was warmer
        return evaluate(
            self.aged.system,
            totals,
            water,
            t,
            self.draws,
            near=near,
            within_s=within_s,
            clocks_celsius=warmest,
        )

    def at_each(self, moments: Sequence[Moment], near: Equilibrium) -> list[State]:
        """The tank at several times, all solved together; near: a solution to start from."""
        rows = np.concatenate([m.rows for m in moments])
        found = evaluate(
            self.aged.system,
            np.concatenate([self.aged.totals(m.t_s, m.driven)[m.rows] for m in moments]),
            self.finished.water_kg_per_L[rows],
            self.t_celsius,
            self.draws.at(rows),
            near=near.rows(rows),
            within_s=np.concatenate([m.within_s for m in moments]),
        )
        ends = np.cumsum([len(m.rows) for m in moments])
        return [
            found.rows(slice(end - len(m.rows), end)) for m, end in zip(moments, ends, strict=True)
        ]

    def speciated(self) -> Equilibrium:
        """The tank at once, nothing settled."""
        system = self.aged.system
        conditions = conditions_of(system, self.t_celsius, self.draws)
        return solve(system, self.aged.totals(0.0), conditions, start=self.aged.near)


@dataclass(frozen=True)
class Left:
    """What is left of an earlier tank, as it is by its age.

    ready: as it stood fresh; solution: (N rows) with what the air and time did to it; share: of the
    new tank by volume; out: key -> (N,) [g/L] of each part that has come out of it.
    """

    ready: Prepared
    solution: Finished
    share: float
    out: Mapping[str, Floats]


@dataclass(frozen=True, kw_only=True)
class Prepared(Standing):
    """One mix's tank; the rates, waters and jugs behind it.

    contents: of each addition in order; water: its totals; left: of each leftover.
    """

    mix: Mix
    contents: tuple[Contents, ...]
    water: WaterTotals
    left: tuple[Left, ...] = ()

    @property
    def doubts(self) -> Mapping[str, Floats]:
        """Name -> (N,) column of every doubt that this tank has asked for so far."""
        open_: dict[str, Floats] = {}
        for inside in self.contents:
            open_ |= inside.doubts
        for one in self.left:
            open_ |= one.ready.doubts
        return {**open_, **self.water.doubts, **self.draws.used}


def assemble(
    mix: Mix,
    draws: Draws,
    inside: tuple[Contents, ...],
    water: WaterTotals,
    poured: Sequence[int] | None = None,
    water_share: float = 1.0,
    left: tuple[Left, ...] = (),
) -> Prepared:
    """A mix whose contents and water are known, carried to its finished solution.

    poured, water_share: as `finish`, for a tank on its way.
    """
    draws = draws.scoped("")
    finished = finish(mix, inside, water, draws, poured, water_share)
    if left:
        finished = topped(finished, [(x.share, x.solution) for x in left], mix.fresh_share)
    return Prepared(
        draws=draws,
        finished=finished,
        t_celsius=warmed(mix, inside),
        coldest_celsius=mix.coldest_celsius,
        film=np.full(draws.count, holds_film(mix)),
        mix=mix,
        contents=inside,
        water=water,
        left=left,
    )


def as_left(ready: Prepared, age_s: float) -> Finished:
    """A tank's solution after standing: iron that took up air, chelates that came loose."""
    finished, turned = ready.finished, ready.aged.oxidised(age_s)
    components = finished.components
    totals = finished.totals
    if turned.any():
        keys = {*components, "Fe3"}
        components = tuple(c for c in tables().components if c in keys)
        totals = widened(totals, finished.components, components)
        totals[:, components.index("Fe2")] -= turned
        totals[:, components.index("Fe3")] += turned
    kept = {pair: hold.kept(age_s) for pair, hold in ready.aged.holds.items()}
    held = {pair: mol * kept.get(pair, 1.0) for pair, mol in finished.held.items()}
    none = np.zeros((0, len(totals), len(components)))
    return replace(
        finished,
        components=components,
        totals=totals,
        held=held,
        from_product=none,
        from_water=np.zeros((len(totals), len(components))),
    )


def warmed(mix: Mix, inside: Sequence[Contents]) -> float:
    """How warm a tank is [degC] once its dry goods are dissolved."""
    return mix.t_celsius + warmer_by_K(mix, inside)


def holds_film(mix: Mix) -> bool:
    """Whether something in the tank is a water-soluble film or gum, by its name at the door."""
    hazards = [a.product.hazards for a in mix.met.additions]
    hazards += [mix.adjuvant.hazards] if mix.adjuvant is not None else []
    return any("film" in h for h in hazards)


def with_base(ready: Prepared, base_mol_per_kg: Floats) -> Prepared:
    """The tank with strong base (as sodium) or, where negative, acid (as chloride) (N,) in it."""
    finished = ready.finished
    keys = {*finished.components, "Na", "Cl"}
    components = tuple(c for c in tables().components if c in keys)
    totals = widened(finished.totals, finished.components, components)
    totals[:, components.index("Na")] += np.maximum(base_mol_per_kg, 0.0)
    totals[:, components.index("Cl")] += np.maximum(-base_mol_per_kg, 0.0)
    moved = replace(
        finished,
        components=components,
        totals=totals,
        from_product=widened(finished.from_product, finished.components, components),
        from_water=widened(finished.from_water, finished.components, components),
        from_leftover=None
        if finished.from_leftover is None
        else widened(finished.from_leftover, finished.components, components),
    )
    return replace(ready, finished=moved)


def widened(values: Floats, own: Sequence[str], components: Sequence[str]) -> Floats:
    """Values (..., own) as (..., components); what is missing is zero."""
    out = np.zeros((*values.shape[:-1], len(components)))
    out[..., [components.index(c) for c in own]] = values
    return out


def stacked(tanks: Sequence[Finished]) -> Finished:
    """Tanks one below the other, without where their moles come from; what one lacks is zero."""
    keys = set().union(*(s.components for s in tanks))
    components = tuple(c for c in tables().components if c in keys)
    pairs = dict.fromkeys(pair for s in tanks for pair in s.held)
    totals = [widened(s.totals, s.components, components) for s in tanks]

    def held(pair: tuple[str, str]) -> Floats:
        return np.concatenate([s.held.get(pair, np.zeros(len(s.totals))) for s in tanks])

    return Finished(
        components=components,
        totals=np.concatenate(totals),
        water_kg_per_L=np.concatenate([s.water_kg_per_L for s in tanks]),
        density_kg_per_L=np.concatenate([s.density_kg_per_L for s in tanks]),
        from_product=np.zeros((0, 0, len(components))),
        from_water=np.zeros((0, len(components))),
        held={pair: held(pair) for pair in pairs},
    )


def picked(finished: Finished, rows: Integers) -> Finished:
    """Some rows, without where their moles come from."""
    return replace(
        finished,
        totals=finished.totals[rows],
        water_kg_per_L=finished.water_kg_per_L[rows],
        density_kg_per_L=finished.density_kg_per_L[rows],
        from_product=finished.from_product[:0],
        from_water=finished.from_water[:0],
        held={pair: mol[rows] for pair, mol in finished.held.items()},
    )


def stack(tanks: Sequence[Standing]) -> Standing:
    """Tanks of one temperature and equally many rows below each other: row k N + i is draw i of k.

    All are tried with the same draws.
    """
    first = tanks[0]
    rows = np.tile(np.arange(first.draws.count), len(tanks))
    return Standing(
        first.draws.at(rows),
        stacked([t.finished for t in tanks]),
        first.t_celsius,
        first.coldest_celsius,
        np.concatenate([t.film for t in tanks]),
    )
