"""A jug out of its label, in small cases: each expected value by hand or by another way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import exp, log, pi, sqrt
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chem.equilibrium import Conditions, build_system, solve
from chem.equilibrium.conductivity import conductivity_mS_per_cm
from chem.label import Product, make_product
from chem.label.amounts import _step, dissolved_share, label_lines, misfits, misses, nearest
from chem.label.buffers import _usual_buffers, buffers
from chem.label.candidates import _missed_equivalents, _range_of, _shared_out, _unprinted, _wanted
from chem.label.closing import (
    FINE,
    Chosen,
    _agents,
    _band,
    _blurred,
    _citrate_charge,
    _ln_sum,
    closed,
    prior_of,
    reading_of,
    sold_for,
    width_of,
)
from chem.label.curves import Made, _groups, _owners, charge_curves, charges, in_water, per_kgw
from chem.label.evidence import conducts, contradicted, exists, t4, weighs
from chem.label.keeps import LEAST, ln_humate_keeps, ln_keeps
from chem.label.readings import (
    Reading,
    Slot,
    bare_ions,
    named_sources,
    open_lines,
    readings_of,
    slots_of,
)
from chem.label.salting import salting_out
from chem.reference import catalogue, judged, tables, unlisted_buffers
from chem.reference.liquidus import liquiduses

SOURCES = catalogue().sources


def product(name: str = "A jug, invented", **told: Any) -> Product:
    unweighed = {} if told.get("form") == "dry" else {"density": "unknown"}
    return make_product(name, **(unweighed | told))


def liquid(
    mol: Mapping[str, float], *, water: float = 0.8, volume: float = 0.1, rows: int = 1,
    sources: Mapping[str, float] | None = None, reading: list[int] | None = None,
) -> Made:  # fmt: skip
    """As many like liquids, of mol/kg of components and kg/kg of sources."""
    components = tuple(c for c in tables().components if c in mol)
    held = sources or {}
    return Made(
        components, np.tile([float(mol[c]) for c in components], (rows, 1)),
        np.full(rows, water), np.full(rows, volume), tuple(SOURCES[k] for k in held),
        np.tile([float(x) for x in held.values()], (rows, 1)).reshape(rows, len(held)),
        np.zeros(rows), np.array(reading or [0] * rows), frozenset(),
    )  # fmt: skip


# --- shelf, weight, conductivity -----------------------------------------------------------------


def test_students_density() -> None:
    """Student's t with 4 degrees of freedom: 3 / 8 at 0, (any table; value from memory) 0.2147
    at 1; one in all."""
    z = np.linspace(-80.0, 80.0, 16001)
    assert t4(z).sum() * 0.01 == pytest.approx(1.0, abs=1e-4)
    assert t4(np.array([0.0, 1.0, -1.0])) == pytest.approx([0.375, 0.21466, 0.21466], abs=1e-5)


def at_edge(key: str, t: float, more: float = 0.0) -> Made:
    """A liquid of one salt that its table has saturated at t, by `more` percent stronger."""
    table = liquiduses()[key]
    (salt,) = table.salts
    w = float(table.saturated_percent(np.array([t]))[0]) + more
    source = SOURCES[salt]
    dry = source.molar_mass * (1.0 - source.water_share) / 1000.0
    mol = {c: n * w / 100.0 / dry for c, n in source.components.items()}
    return liquid(mol, water=1.0 - w / 100.0)


SINGLE = [k for k, x in liquiduses().items() if len(x.salts) == 1 and not x.limits]


@pytest.mark.parametrize("key", SINGLE)
def test_a_liquid_saturated_at_a_temperature_salts_out_there(key: str) -> None:
    """A table read backwards; the grid steps by 0.1 K."""
    table = liquiduses()[key]
    grid = np.arange(table.coldest, table.warmest, 0.1)
    limit = table.saturated_percent(grid)
    # As far as the solid that is stable in the cold goes, and its line rises.
    stops = np.flatnonzero(~(limit[1:] > limit[:-1]) | ~np.isfinite(limit[1:]))
    middle = float(grid[(stops[0] if stops.size else len(grid)) // 2])
    made = at_edge(key, middle, 1e-6)
    found = salting_out(made.components, made.mol_per_kg, made.water)
    if float(limit[np.isfinite(limit)].max()) <= table.saturated_percent(np.array([table.warmest])):
        assert found.systems[found.system[0]] == key
        assert found.salt_celsius[0] == pytest.approx(middle, abs=0.11)
        assert found.reason[0] == -1 and found.u_K[0] == max(x.u_K for x in table.lines)


def test_a_jug_is_as_likely_clear_as_not_where_it_salts_out() -> None:
    """At the temperature that it stood clear at, one half; e to 1 for every 4 K (no source)."""
    key = next(k for k in SINGLE if liquiduses()[k].coldest < 10.0 < liquiduses()[k].warmest
               and np.isfinite(liquiduses()[k].saturated_percent(np.array([10.0])))[0])  # fmt: skip
    made = at_edge(key, 10.0)
    salt = salting_out(made.components, made.mol_per_kg, made.water).salt_celsius[0]
    plain = product()
    assert exists(replace(plain, clear_at=float(salt)), made)[0] == pytest.approx(0.5)
    colder = exists(replace(plain, clear_at=float(salt) - 4.0), made)[0]
    assert colder == pytest.approx(1.0 / (1.0 + exp(1.0)))
    assert exists(plain, made)[0] > 0.5  # 12 degC where nothing is told
    assert exists(product(form="suspension"), made)[0] == 1.0
    assert exists(plain, liquid({"K": 1.0, "Cl": 0.5, "NO3": 0.5}, water=0.93))[0] > 0.99


def test_a_printed_density_speaks_for_liquids_that_weigh_as_much() -> None:
    """0.8 kg of water at 0.998 kg/L and 0.1 L of salts: 0.9016 L, 1.109 kg/L."""
    heavy = 1.0 / (0.8 / 0.998 + 0.1)
    made = liquid({"K": 1.0}, rows=1)
    on, off, far = (
        weighs(product(density=f"{d:.4f} kg/L"), made)[0] for d in (heavy, 1.03 * heavy, 1.4)
    )
    assert on == pytest.approx(0.375, rel=1e-3) and off < 0.25 and far < 0.01
    # an sd of 10 % of 0.1 L in 0.9016 L, and of 1 % of the reading: 1.495 % together
    assert off == pytest.approx(t4(np.array([log(1.03) / sqrt(0.01**2 + 0.01109**2)]))[0], rel=1e-2)
    span = product(density="1.05-1.15 kg/L")
    assert weighs(span, made)[0] == pytest.approx(0.375, rel=1e-3)
    assert weighs(product(), made)[0] == 1.0
    for density, wrong in ((heavy, False), (1.04 * heavy, False), (1.06 * heavy, True),
                           (heavy / 1.06, True), (heavy / 1.04, False)):  # fmt: skip
        said = contradicted(product(density=f"{density:.5f} kg/L"), made, False)
        assert bool(said) is wrong
        assert not said or ("1.11" in said[0] and "density" in said[0])
    assert "shelf" in contradicted(product(), made, True)[0]
    assert contradicted(product(), made, False) == ()


def test_a_conductivity_speaks_for_liquids_that_conduct_as_much() -> None:
    made = liquid({"K": 1.0, "Cl": 1.0}, rows=2)
    made = replace(made, mol_per_kg=made.mol_per_kg * np.array([[1.0], [0.7]]))
    system = build_system({"K", "Cl"})
    totals = np.zeros((1, len(system.components)))
    totals[0, [system.components.index(c) for c in ("K", "Cl")]] = 0.01 / (0.01 * 0.8 + 0.99)
    state = solve(system, totals, Conditions.nominal(system), ph=np.array([7.0]))
    reads = float(conductivity_mS_per_cm(state)[0])
    assert reads == pytest.approx(1.41, rel=0.02)  # 0.01 mol/kg KCl, 1.41 mS/cm at 25 degC (memory)
    likely, said = conducts(replace(product(), ec=(reads, 0.01)), made, np.full(2, 7.0))
    assert said == "" and likely[0] == pytest.approx(0.375, rel=1e-3)
    assert likely[1] == pytest.approx(t4(np.array([log(0.7) / 0.08]))[0], rel=0.25)
    likely, said = conducts(replace(product(), ec=(3.0 * reads, 0.01)), made, np.full(2, 7.0))
    assert "contradicts the label" in said and likely.tolist() == [1.0, 1.0]


# --- what a jug on sale holds --------------------------------------------------------------------


def test_humates_fall_in_acid() -> None:
    """One half at the threshold; the normal distribution a standard deviation from it, 0.841."""
    ph = np.array([4.5, 5.0, 2.0, 9.0])
    amounts = np.array([[0.1, 0.0], [0.009, 0.5], [0.006, 0.006]])
    told = ln_humate_keeps(["potassium humate", "urea"], amounts, ph)
    assert np.exp(told[0, :2]) == pytest.approx([0.5, 0.8413], abs=0.01)
    assert told[0, 2] == LEAST and told[0, 3] == pytest.approx(0.0, abs=1e-3)
    assert not told[1:].any()
    both = ln_humate_keeps(["potassium humate", "humic acid"], amounts, ph)
    assert both[2, 0] == pytest.approx(log(0.5))


def test_a_clear_jug_holds_its_metals() -> None:
    """Plain iron stays in acid alone; sugar acid holds it, and ammonia zinc."""

    def told(ph: float, **mol: float) -> float:
        made = liquid(mol)
        share = per_kgw(made, 0.1)
        system, totals = in_water(made.components, made.mol_per_kg, share, 0.1, 0.0)
        state = solve(system, totals, Conditions.nominal(system), ph=np.array([ph]))
        return float(ln_keeps(state)[0])

    assert told(1.0, Fe3=0.5, SO4=0.75) > -0.1 and told(7.0, Fe3=0.5, SO4=0.75) == LEAST
    assert told(7.0, Fe3=0.5, gluconate=0.16, SO4=0.75) == 0.0
    assert told(7.0, Fe3=0.5, gluconate=0.10, SO4=0.75) < 0.0
    assert told(9.0, Zn=0.5, NH4=1.6, SO4=0.5, Cl=1.0) == 0.0 > told(9.0, Zn=0.5, NH4=1.2, SO4=0.5)
    assert told(7.0, K=1.0, Cl=1.0) == 0.0


# --- charge over pH ------------------------------------------------------------------------------


def test_a_dilution_by_mass() -> None:
    """100 g of a jug that is 80 % water in 900 g of water: 0.1 kg in 0.98 kg."""
    made = liquid({"K": 1.0}, water=0.8)
    assert per_kgw(made, 0.1)[0] == pytest.approx(0.1 / 0.98)
    assert per_kgw(made, 1.0)[0] == pytest.approx(1.25)
    system, totals = in_water(("K",), made.mol_per_kg, per_kgw(made, 0.1), 0.1, 0.002)
    of = dict(zip(system.components, totals[0], strict=True))
    assert of["K"] == pytest.approx(0.1 / 0.98)
    # 0.9 kg of tap water of 0.98 kg, half as many moles of calcium as equivalents
    assert of["CO3"] == pytest.approx(0.002 * 0.9 / 0.98) == 2.0 * of["Ca"]


def test_protons_go_with_the_weak_acid_or_base() -> None:
    system = build_system({"NH4", "PO4", "K", "Ca", "B"})
    owner = dict(zip(system.species, _owners(system), strict=True))
    of = {c: i for i, c in enumerate(system.components)}
    assert owner["H+"] == owner["OH-"] == len(of)
    assert owner["NH3"] == of["NH4"] and owner["H2PO4-"] == of["PO4"]
    held = [s for s in system.species if s.startswith("CaHPO4") or s.startswith("CaPO4")]
    assert held and all(owner[s] == of["PO4"] for s in held)


@pytest.mark.parametrize(
    ("mol", "ph", "wanted"),
    [
        ({"K": 1.0, "Cl": 0.9}, 7.0, -0.1),  # 0.1 eq/kg of base too many
        ({"K": 0.9, "Cl": 1.0}, 7.0, 0.1),
        ({"K": 1.0, "PO4": 1.0}, 4.6, 0.0),  # the salt's own pH (value from memory)
        ({"NH4": 1.0, "Cl": 1.0}, 12.0, 1.0),  # ammonia takes a base each
        ({"citrate": 0.1}, 12.0, 0.3),  # three for each citric acid
    ],
)
def test_what_a_liquid_lacks_over_ph(mol: dict[str, float], ph: float, wanted: float) -> None:
    found = charge_curves(liquid(mol), 0.1, np.array([ph - 0.5, ph, ph + 0.5])).lacking[0]
    of_water = 10.0 ** (ph - 14.0) * 9.8 * 1.3 if ph > 11.0 else 0.0  # hydroxide of the dilution
    assert found[1] - of_water == pytest.approx(wanted, abs=0.035)
    assert found[0] < found[1] < found[2]


def test_liquids_of_the_rarer_readings_share_a_curve() -> None:
    few = _groups(liquid({"K": 1.0}, rows=4, reading=[5, 2, 5, 9]))
    assert few.tolist() == [1, 0, 1, 2]
    many = [n for n in range(10) for _ in range(10 - n)]
    found = _groups(liquid({"K": 1.0}, rows=len(many), reading=many))
    groups = {n: int(found[many.index(n)]) for n in range(10)}
    assert [groups[n] for n in range(7)] == list(range(7))
    assert groups[7] == groups[8] == groups[9] == 7


# --- pH ------------------------------------------------------------------------------------------


def test_densities_over_ph_are_one_in_all() -> None:
    step = FINE[1] - FINE[0]
    one, even = _blurred(6.0, 6.0, 0.3), _blurred(5.0, 7.0, 0.3)
    for likely in (one, even, _blurred(6.0, 6.0, 0.1)):  # all but for one factor
        assert likely.sum() * step == pytest.approx(sqrt(2.0 * pi), rel=1e-3)
    at = [np.abs(FINE - ph).argmin() for ph in (6.0, 6.3, 5.0)]
    assert one[at[1]] / one[at[0]] == pytest.approx(exp(-0.5), rel=1e-3)
    assert even[at[0]] / sqrt(2.0 * pi) == pytest.approx(0.5, abs=0.07)  # even over 2 units
    assert 0.4 < even[at[2]] / even[at[0]] < 0.7  # half of it beyond the end
    band = _band(6.0, 8.0)
    inside = band[(FINE >= 6.0) & (FINE <= 8.0)].sum() * step
    assert inside == pytest.approx(0.9, abs=0.03) and band.argmax() == np.abs(FINE - 7.0).argmin()
    for made in (liquid({"K": 1.0}, sources={"potassium nitrate": 0.1}), liquid({"K": 1.0})):
        prior = prior_of(product(), made)
        assert prior.shape == (1, len(FINE))
        assert prior.sum() * step == pytest.approx(1.0, abs=0.05)


def test_log_sums() -> None:
    logs = np.log(np.array([[1.0, 2.0, 5.0], [0.5, 0.25, 0.25]]))
    assert _ln_sum(logs) == pytest.approx([log(8.0), 0.0])
    assert _ln_sum(logs - 900.0) == pytest.approx([log(8.0) - 900.0, -900.0])


def test_where_a_ph_was_read() -> None:
    made = liquid({"K": 1.0, "Cl": 1.0})
    none = reading_of(product(), made)
    assert (none.dilution, none.prior, none.brine) == (0.1, True, False)
    assert not none.log_likelihood.any()
    assert reading_of(product(form="dry"), made).dilution == 0.01
    neat = reading_of(product(ph="7.0"), made)
    assert (neat.dilution, neat.prior, neat.brine) == (1.0, False, False)
    assert FINE[neat.log_likelihood.argmax()] == pytest.approx(7.0)
    assert reading_of(product(ph="7.0", ph_at="10 %"), made).dilution == pytest.approx(0.1)
    strong = liquid({"Ca": 2.0, "Cl": 4.0}, water=0.7)  # I = 6 mol/kg of jug, over 8 of water
    brine = reading_of(product(ph="7.0"), strong)
    assert (brine.dilution, brine.prior, brine.brine) == (0.1, True, True)
    wide = brine.log_likelihood - brine.log_likelihood.max()
    sharp = neat.log_likelihood - neat.log_likelihood.max()
    at = np.abs(FINE - 8.0).argmin()
    assert wide[at] == pytest.approx(-0.5 / 0.8**2, abs=0.05) and wide[at] > sharp[at]


def test_what_a_kind_of_goods_has_to_say() -> None:
    """Equivalents per kg: potassium nitrate 9.89, of molar mass 101.10 g/mol."""
    assert sold_for(SOURCES["potassium nitrate"]) == pytest.approx(2.0 * 9.891, rel=1e-3)
    assert 0.0 < sold_for(SOURCES["urea"]) < 1.0
    assert sold_for(SOURCES["potassium humate"]) >= 4.0


def test_how_much_unnamed_acid_or_base_is_usual() -> None:
    """Wider for more salts, for what is sold with free acid, and for a label without sources;
    crystals are all but neutral."""
    salts = product(sources=("potassium nitrate",))

    def width(p: Product = salts, **mol: float) -> float:
        return float(width_of(p, liquid(mol))[0])

    plain = width(K=1.0, NO3=1.0)
    two, three = width(K=2.0, NO3=2.0), width(K=3.0, NO3=3.0)
    assert two - plain == pytest.approx(three - two) and two > plain
    assert width(product(), K=1.0, NO3=1.0) - plain == pytest.approx(0.5)  # no source named
    dry = product(form="dry", sources=("potassium nitrate",))
    assert width(dry, K=1.0, NO3=1.0) == pytest.approx(plain / 200.0)
    metal, held = width(Fe2=1.0, SO4=1.0), width(Fe2=1.0, SO4=1.0, EDTA=1.0)
    salt = width(Mg=1.0, SO4=1.0)
    assert metal - salt == pytest.approx(0.14)  # 1 to 3 % of free acid
    assert held - salt > 0.3  # the agent's own, but no free metal
    assert width(K=1.0, NO3=1.0, citrate=1.0) - plain > width(K=1.0, NO3=1.0, acetate=1.0) - plain
    organic = replace(liquid({"K": 1.0}, sources={"potassium humate": 0.2}))
    urea = replace(liquid({"K": 1.0}, sources={"urea": 0.2}))
    both = [float(width_of(salts, x)[0]) for x in (organic, urea)]
    assert both[0] - both[1] == pytest.approx(0.2)


def test_the_charge_of_citric_acid() -> None:
    """A half at its first pK and two and a half at its last, less what the others share; three
    where all is gone, none where all is left (steps 1.63 and 1.64 apart)."""
    ph = np.array([-2.0, 3.13, 4.76, 6.40, 12.0])
    found = _citrate_charge(ph)
    assert found[[0, 4]] == pytest.approx([0.0, 3.0], abs=1e-4)
    apart = 10.0**-1.63
    assert found[1] == pytest.approx((1.0 + 2.0 * apart) / (2.0 + apart), abs=1e-3)
    assert found[2] == pytest.approx(1.5, abs=0.01)
    assert found[3] == pytest.approx((3.0 + 2.0) / 2.0 - apart * 0.75, abs=0.01)


def draw(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


@pytest.mark.parametrize("ph", [1.5, 4.0, 7.0, 8.9, 12.0])
@pytest.mark.parametrize("lacks", [0.3, -0.3])
@pytest.mark.parametrize(
    "mol",
    [
        {"K": 1.0, "Cl": 1.0}, {"NH4": 1.0, "NO3": 1.0}, {"Ca": 0.5, "NO3": 1.0},
        {"Ca": 0.03, "Cl": 0.06}, {"Ca": 0.5, "SO4": 0.5}, {"Mg": 0.5, "NO3": 1.0},
    ],
    ids="".join,
)  # fmt: skip
def test_acid_or_base_that_closes_a_jug_carries_what_it_lacks(
    mol: dict[str, float], lacks: float, ph: float
) -> None:
    """Ammonia by what is protonated at the pH (pK 9.25), citric acid by its charge there, all
    else by its full charge."""
    made, n = liquid(mol, rows=400), 400
    at = np.full(n, ph)
    found = _agents(made, np.full(n, lacks), at, draw(), n)
    signs = {"Na": 1.0, "K": 1.0, "Ca": 2.0, "Cl": -1.0, "NO3": -1.0, "SO4": -2.0}
    signs["NH4"] = 1.0 / (1.0 + 10.0 ** (ph - 9.25))
    signs["citrate"] = -float(_citrate_charge(np.array([ph]))[0])
    carried = sum(signs[c] * x for c, x in found.items())
    strong = found.get("citrate", np.zeros(n)) == 0.0
    assert np.asarray(carried)[strong] == pytest.approx(lacks)
    if ph > 3.0:
        assert carried == pytest.approx(np.full(n, lacks))
    assert all((x >= 0.0).all() for x in found.values())
    one = sum((x > 0.0).astype(int) for x in found.values())
    if lacks > 0.0:
        assert (np.asarray(one) == 1).all()  # one base a jug
        assert ("NH4" in found) is ("NH4" in mol and ph < 8.5)
        assert ("Ca" in found) is (mol.get("Ca", 0.0) > 0.05 and "SO4" not in mol)
    else:
        calcic = mol.get("Ca", 0.0) > 0.02
        assert ("SO4" in found) is (not calcic and ph > 2.5)
        assert ("citrate" in found) is not calcic
        weak = mol.get("NO3", 0.0) > mol.get("Cl", 0.0)
        assert ("NO3" in found, "Cl" in found) == (weak, not weak)


def test_how_often_each_acid_and_base_is_taken() -> None:
    """Common practice, no source: in three jugs of ten citric acid, of ten with ammonium and in
    want of base six get ammonia."""
    n = 4000
    made = liquid({"NH4": 1.0, "NO3": 1.0}, rows=n)
    base = _agents(made, np.full(n, 0.1), np.full(n, 6.0), draw(), n)
    assert (base["NH4"] > 0.0).mean() == pytest.approx(0.6, abs=0.03)
    acid = _agents(made, np.full(n, -0.1), np.full(n, 6.0), draw(), n)
    assert (acid["citrate"] > 0.0).mean() == pytest.approx(0.3, abs=0.03)
    assert (acid["SO4"] > 0.0).mean() == pytest.approx(0.5, abs=0.03)


def test_unlisted_buffers_stand_about_the_ph_of_their_jug() -> None:
    n = 4000
    made = liquid({"K": 1.0, "Cl": 1.0}, rows=n)
    found = buffers(product(), made, np.full(n, 6.0), draw())
    row = unlisted_buffers()["mineral"]
    some = found.sum(axis=1) > 0.0
    put = judged("set_buffer")  # on purpose, beside the leavings; evenly over its logarithm
    assert some.mean() == pytest.approx(1.0 - row.none * (1.0 - put["chance"]), abs=0.03)
    usual = max(row.least_eq_per_kg, row.share_of_charge * 1.0)
    with_some = found[some]
    assert (found >= 0.0).all() and (found > 0.0).sum(axis=1).max() <= 4
    # a log-normal of 0.84: its mean is 1.423 times its median
    each = (put["most"] - put["least"]) / np.log(put["most"] / put["least"])
    mean = (1.0 - row.none) * 1.423 * usual + put["chance"] * each
    assert found.sum(axis=1).mean() == pytest.approx(mean, rel=0.1)
    middle = (with_some * np.arange(2, 12)).sum(axis=1) / with_some.sum(axis=1)
    assert np.median(middle) == pytest.approx(6.0, abs=0.15)
    assert np.std(middle) == pytest.approx(1.2, abs=0.15)
    assert not buffers(product(form="dry"), made, np.full(n, 6.0), draw()).any()
    ends = buffers(product(), made, np.full(n, 13.0), draw())
    assert ends[:, :4].sum() < ends[:, -1].sum()


@pytest.mark.parametrize(
    ("kind", "mol", "sources"),
    [
        ("mineral", {"K": 1.0, "Cl": 1.0}, {}), ("chelates", {"Fe3": 0.1, "EDTA": 0.1}, {}),
        ("mixed", {"K": 1.0, "PO4": 1.0}, {}), ("mixed", {"urea": 1.0}, {"urea": 0.06}),
        ("matter", {"K": 1.0, "PO4": 1.0}, {"potassium humate": 0.1}),
        ("mixed", {"K": 1.0, "PO4": 1.0}, {"potassium humate": 0.009}),
        ("chelates", {"PO4": 1.0, "citrate": 0.1}, {}),
    ],
)  # fmt: skip
def test_which_kind_of_goods_a_jug_is(
    kind: str, mol: dict[str, float], sources: dict[str, float]
) -> None:
    row = unlisted_buffers()[kind]
    none, usual = _usual_buffers(liquid(mol, sources=sources), np.array([2.0]))
    assert none[0] == row.none
    assert usual[0] == pytest.approx(max(row.share_of_charge * 2.0, row.least_eq_per_kg))


def test_a_closed_jug_is_neutral_at_its_ph() -> None:
    """Solved again as it stands, without a pH asked for, it reads the pH that it was closed at."""
    n = 6
    made = liquid({"K": 1.0, "PO4": 0.6, "NO3": 0.3, "urea": 1.0}, rows=n)
    ph = np.array([4.0, 5.0, 6.0, 7.0, 8.0, 9.0])
    acids = np.zeros((n, 10))
    acids[:, 4] = 0.05
    lacking = np.array([
        np.interp(p, np.arange(3.5, 10.0, 0.5),
                  charge_curves(made, 0.1, np.arange(3.5, 10.0, 0.5)).lacking[0]) for p in ph
    ])  # fmt: skip
    chosen = Chosen(np.arange(n), ph, lacking, 0.1, False, 0.0, ())
    components, matrix = closed(made, chosen, acids, draw())
    assert (matrix >= 0.0).all() and "acid_6" in components
    system, totals = in_water(components, matrix, per_kgw(made, 0.1), 0.1, 0.0)
    state = solve(system, totals, Conditions.nominal(system))
    assert state.converged.all() and state.ph == pytest.approx(ph, abs=1e-3)
    assert (np.abs(charges(components) @ matrix.T) < 5.0).all()


# --- amounts -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("percent", "step"),
    [(5.0, 0.5), (12.0, 1.0), (5.5, 0.1), (0.05, 0.005), (0.25, 0.01), (0.0, 0.0)],
)
def test_the_last_digit_of_a_percent(percent: float, step: float) -> None:
    assert _step(percent) == pytest.approx(step)


def lines_of(*sources: str, **guarantee: float) -> Any:
    told = {k.replace("_", " "): v for k, v in guarantee.items()}
    return label_lines(product(sources=sources, guarantee=told))


@given(st.lists(st.floats(0.0, 1.0), min_size=3, max_size=3), st.floats(1.0, 12.0))
def test_nearest_amounts_are_the_least_squares(wish: list[float], percent: float) -> None:
    """Karush, Kuhn and Tucker: no slope where an amount is free, none downwards where it is 0."""
    lines = lines_of("urea", "potassium nitrate", "potassium chloride",
                     total_nitrogen=percent, soluble_potash=3.0)  # fmt: skip
    wanted, wished = lines.printed[None, :], np.array([wish])
    found = nearest(lines, wanted, np.ones((1, 3), bool), wished)[0] / lines.cap

    def cost(x: Any) -> float:
        scale = 0.005 * np.maximum(lines.printed, 0.05)
        off = (lines.gives @ (x * lines.cap) - wanted[0]) / scale
        return float(0.5 * off @ off + 0.5 * ((x - wish) ** 2).sum())

    for j in range(3):
        h = 1e-6 * np.eye(3)[j]
        slope = (cost(found + h) - cost(found - h)) / 2e-6
        assert slope >= -0.05 and (found[j] <= 1e-9 or slope <= 0.05)
    barred = nearest(lines, wanted, np.array([[True, False, True]]), wished)[0]
    assert barred[1] == 0.0 and (barred >= 0.0).all()


def test_lines_and_what_misses_them() -> None:
    """46.65 % of nitrogen in urea (60.06 g/mol)."""
    lines = lines_of("urea", total_nitrogen=10.0)
    assert lines.gives[0, 0] == pytest.approx(46.65, abs=0.02)
    assert lines.least[0] < 10.0 and lines.step[0] == 1.0 and bool(lines.over[0])
    short, right, over = misses(lines, np.array([[8.0], [10.0], [14.0]]) / lines.gives[0, 0])[:, 0]
    assert short == pytest.approx((10.0 - 1.0 - 8.0) / 10.0) and right == 0.0 < over
    equivalents = _missed_equivalents(lines, np.array([[8.0], [10.0]]) / lines.gives[0, 0])
    assert equivalents == pytest.approx([1.0 * 10.0 / 14.007, 0.0], rel=1e-3)
    assert dissolved_share([SOURCES["urea"]], False) == pytest.approx([1.0])
    hydrate = SOURCES["magnesium sulfate heptahydrate"]  # 126.1 of 246.5 are water
    assert dissolved_share([hydrate], False) == pytest.approx([1.0 - 126.1 / 246.5], abs=1e-3)
    assert dissolved_share([hydrate], True) == [1.0]


def test_a_guarantee_out_of_reach_is_a_problem() -> None:
    def told(**guarantee: float) -> list[str]:
        named = {k.replace("_", " "): v for k, v in guarantee.items()}
        some = product(sources=("potassium nitrate",), guarantee=named)
        return [p.key or "" for p in misfits(some, label_lines(some))]

    assert told(soluble_potash=10.0, total_nitrogen=3.0) == []  # 13.85 of N go with 46.6 of K2O
    assert told(soluble_potash=10.0, total_nitrogen=6.0) == ["guarantee.total nitrogen"]
    assert told(soluble_potash=60.0) == ["guarantee"]  # more than all of it


def test_candidates_are_shared_out_by_their_chances() -> None:
    some = [Reading(frozenset(), p, ()) for p in (0.5, 0.3, 0.2)]
    found = _shared_out(some, 10)
    assert np.bincount(found).tolist() == [5, 3, 2]


def test_what_lines_may_truly_hold() -> None:
    """Over-formulation is one factor for all; no line below its allowance."""
    lines = lines_of("urea", "potassium nitrate", total_nitrogen=10.0, soluble_potash=4.0)
    found = _wanted(replace(lines, sd=np.zeros(2), step=np.zeros(2)), 64, draw())
    assert found[:, 0] / 10.0 == pytest.approx(found[:, 1] / 4.0)
    assert found[:, 0].min() >= 10.0 and 1.0 < np.median(found[:, 0]) / 10.0 < 1.1
    loose = _wanted(replace(lines, sd=np.full(2, 0.5)), 256, draw())
    assert (loose >= lines.least).all() and (loose == lines.least).any()
    rounded = _wanted(replace(lines, sd=np.zeros(2), over=np.zeros(2, bool)), 256, draw())
    assert (rounded >= lines.printed).all() and (rounded <= lines.printed + lines.step).all()


def test_what_is_mostly_printed_is_rarely_left_out() -> None:
    lines = lines_of("potassium nitrate", soluble_potash=5.0)
    some = product(sources=("potassium nitrate",), guarantee={"soluble potash": 5.0})
    assert _unprinted(some, lines, np.array([[0.02], [0.2]])) == pytest.approx([1.0, 0.05])
    nitrate = product(guarantee={"nitrate nitrogen": 2.0})
    assert _unprinted(nitrate, lines, np.array([[0.2]]))[0] == pytest.approx(0.05)  # its potash
    assert _unprinted(product(), lines, np.array([[0.2]]))[0] == 1.0


def test_how_much_of_a_source_without_a_percent() -> None:
    def of(key: str, *beside: str) -> tuple[float, float]:
        some = product(sources=(key, *beside))
        return _range_of(SOURCES[key], some, [SOURCES[k] for k in (key, *beside)])

    alone, beside = of("citric acid"), of("citric acid", "potassium nitrate")
    assert of("citric acid", "urea") == alone and of("citric acid", "phosphoric acid") == alone
    assert alone[1] > beside[1] and alone[0] > beside[0]
    assert of("potassium nitrate")[1] < alone[1]


# --- readings of the words -----------------------------------------------------------------------


def test_chances_of_readings_add_up_and_multiply() -> None:
    some = product(sources=("urea",))
    slots = (
        Slot("a", ((("potassium nitrate",), 0.7), (("potassium chloride",), 0.3))),
        Slot("b", (((), 0.5), (("potassium nitrate",), 0.5))),
    )
    found = readings_of(some, slots)
    assert sum(r.chance for r in found) == pytest.approx(1.0) and len(found) == 4
    assert [round(r.chance, 6) for r in found] == [0.35, 0.35, 0.15, 0.15]
    assert found[0].sources >= {"urea", "potassium nitrate"}
    assert {r.taken for r in found} == {(0, 0), (0, 1), (1, 0), (1, 1)}
    many = tuple(Slot(str(n), (((), 0.6), (("urea",), 0.4))) for n in range(9))
    most = readings_of(some, many)
    assert len(most) == 96 and sum(r.chance for r in most) == pytest.approx(1.0)


def test_which_lines_need_a_source() -> None:
    def slots(*sources: str, name: str = "A jug, invented", **guarantee: float) -> dict[str, Slot]:
        told = {k.replace("_", " "): v for k, v in guarantee.items()}
        return {s.name: s for s in slots_of(product(name, sources=sources, guarantee=told))}

    forms = {"total nitrogen": 5.0, "urea nitrogen": 5.0, "iron": 0.0}
    assert open_lines(product(guarantee=forms)) == ["urea nitrogen"]
    assert open_lines(product(guarantee={"total nitrogen": 5.0})) == ["total nitrogen"]
    assert "soluble potash" not in slots("potassium nitrate", soluble_potash=5.0)
    assert "soluble potash" in slots("urea", soluble_potash=5.0)
    kelp = slots("molasses", soluble_potash=5.0)["soluble potash"]
    assert kelp.options == ((("potassium hydroxide",), 1.0),)
    assert len(slots("molasses", soluble_potash=7.0)["soluble potash"].options) > 1
    sour = slots("urea", name="Acidifier, invented", total_nitrogen=5.0)
    assert sum(p for _, p in sour["acid"].options) == pytest.approx(1.0)
    named = slots("urea", "sulfuric acid", name="Acidifier, invented", total_nitrogen=5.0)["acid"]
    assert named.options[0][0] == () and sum(p for _, p in named.options) == pytest.approx(1.0)
    assert "acid" not in slots("citric acid", name="Acidifier, invented")
    assert "acid" not in slots("urea", name="Acid lover, invented")
    phosphate = slots("monopotassium phosphate")["forms of its phosphate"]
    assert phosphate.options[1][0] == ("phosphoric acid", "potassium hydroxide")
    assert sum(p for _, p in phosphate.options) == pytest.approx(1.0)
    assert "forms of its phosphate" not in slots("potassium nitrate")


def test_ions_of_living_matter_stand_for_themselves_alone() -> None:
    kelp = product(sources=("molasses",), guarantee={"soluble potash": 5.0})
    found = readings_of(kelp, slots_of(kelp))
    assert bare_ions(kelp, found) == {"potassium hydroxide"}
    salts = product(sources=("urea",), guarantee={"soluble potash": 5.0})
    assert bare_ions(salts, readings_of(salts, slots_of(salts))) == frozenset()
    lye = product(sources=("seaweed extract", "potassium hydroxide"))
    assert bare_ions(lye, readings_of(lye, slots_of(lye))) == frozenset()
    assert named_sources(lye) == ("seaweed extract", "potassium hydroxide")
