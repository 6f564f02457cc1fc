"""The simulated worlds of the benches: independent, true to their word, reproducible."""

from __future__ import annotations

import ast
import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from chem.doubts import Draws
from chem.equilibrium import build_phases, water_density_g_per_mL
from chem.forecast.clouding import clouding_time_s, delay_factor
from chem.label import contents, read_product
from chem.reference import catalogue, tables
from chem.tank import read_mix

BENCH = Path(__file__).parent / "bench"
ROOT = BENCH.parents[1]
sys.path.insert(0, str(BENCH))

import bench_jugs  # noqa: E402
import world  # noqa: E402
import world_chemistry  # noqa: E402
import world_labels  # noqa: E402
import world_liquids  # noqa: E402

ALLOWED = {"chem.equilibrium", "chem.reference"}
FORBIDDEN = ("chem.label", "chem.doubts", "chem.tank", "chem.forecast", "chem.advice")


def liquids(count: int) -> list[world.Liquid]:
    """Some liquids of every family in turn."""
    rng = np.random.default_rng(5)
    families = list(world.RECIPES)
    return [
        world.draw_liquid(rng, world.Nature(rng), families[i % len(families)], f"Liquid {i}")
        for i in range(count)
    ]


@pytest.fixture(scope="module")
def many() -> list[world.Liquid]:
    return liquids(4 * len(world.RECIPES))


def test_world_reads_no_label() -> None:
    tree = ast.parse((BENCH / "world.py").read_text())
    named = {n.name for node in ast.walk(tree) if isinstance(node, ast.Import) for n in node.names}
    named |= {str(node.module) for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {n for n in named if n.split(".")[0] == "chem"} == ALLOWED
    # Nor does anything that it imports.
    code = "import sys, world; print(*sorted(m for m in sys.modules if m.startswith('chem')))"
    loaded = subprocess.run(
        [sys.executable, "-c", code],
        env={"PYTHONPATH": f"{ROOT}:{BENCH}"},
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()
    assert "chem.equilibrium" in loaded
    assert not [m for m in loaded if m.startswith(FORBIDDEN)]


@pytest.mark.parametrize("curve", sorted(tables().clouding))
def test_both_clocks_agree(curve: str) -> None:
    si = np.array([-0.5, 0.0, 0.03, 0.12, 0.31, 0.77, 1.4, 2.3, 6.0])
    theirs = clouding_time_s(tables().clouding[curve], si)
    ours = [world.clouds_after_s(curve, float(s)) for s in si]
    assert ours == pytest.approx(theirs, rel=1e-9)
    beside = {"citrate": 1.5, "P2O7": 0.2, "PO4": 3.0, "Ca": 10.0}
    arrays = {c: np.array([m]) for c, m in beside.items()}
    assert world.retarded(curve, beside) == pytest.approx(
        float(np.max(delay_factor(curve, arrays))), rel=1e-12
    )


def test_labels_are_rounded_minimums(many: list[world.Liquid], tmp_path: Path) -> None:
    known = catalogue()
    for i, liquid in enumerate(many):
        path = tmp_path / f"liquid-{i}.toml"
        path.write_text(liquid.label)
        product = read_product(path)
        assert product.guarantee or liquid.family == "buffer"
        held: dict[str, float] = {}
        for source, amount in liquid.amounts.items():
            assert 0.0 <= liquid.over[source] <= world.OVER
            for component, mol in known.sources[source].mol_per_kg().items():
                held[component] = held.get(component, 0.0) + amount * mol
        for line, printed in product.guarantee.items():
            true = known.guarantees[line].percent_of(held)
            last = 1.0 if printed == round(printed) else 0.1
            forms = 3 if line == "total nitrogen" else 1  # the sum of its rounded forms
            assert printed <= true + 1e-9
            assert true <= (printed + forms * last) * (1.0 + world.OVER)
        assert product.density is not None
        assert product.density[0] == pytest.approx(liquid.density, rel=0.02)
        if product.ph is not None:
            assert product.ph.value == pytest.approx(liquid.ph_tenth, abs=0.5)


def test_the_true_liquid_is_among_those_that_the_forecast_tries(
    many: list[world.Liquid], tmp_path: Path
) -> None:
    """Main ion of single-source products: truth inside the whole span of the draws."""
    checked = 0
    for i, liquid in enumerate(many):
        if len(liquid.amounts) != 1 or liquid.family in {"buffer", "polyphosphate"}:
            continue
        path = tmp_path / f"liquid-{i}.toml"
        path.write_text(liquid.label)
        held = contents(read_product(path), Draws(64, 1))
        (source,) = liquid.amounts
        component = next(iter(catalogue().sources[source].components))
        values = held.of(component)
        true = liquid.mol_per_kg[component]
        assert 0.9 * values.min() < true < 1.1 * values.max()
        checked += 1
    assert checked >= 20


def test_liquids_close_mass_and_hold_little_free_acid(many: list[world.Liquid]) -> None:
    printed = sum("\nph = " in liquid.label for liquid in many)
    assert printed / len(many) == pytest.approx(world.PH_ON_LABEL, abs=0.15)
    for liquid in many:
        dissolved = sum(
            amount * (1.0 - catalogue().sources[s].water_share)
            for s, amount in liquid.amounts.items()
        )
        salt = 1.0 - dissolved - liquid.water
        assert 0.0 <= salt <= world.SODIUM_CHLORIDE + 1e-12
        anions = sum(
            -tables().components[c].charge * m
            for c, m in liquid.mol_per_kg.items()
            if tables().components[c].charge < 0
        )
        assert abs(liquid.free) <= world.FREE_ACID * anions + 1e-12


def test_constants_scatter_by_their_stated_uncertainty() -> None:
    components = ["Ca", "Na", "Cl", "SO4"]
    rng = np.random.default_rng(3)
    natures = [world.Nature(rng) for _ in range(400)]
    system = natures[0].system(components)
    phases = build_phases(system, ("gypsum",))
    ksp = np.array([n.log_ksp(phases, 25.0)[0, 0] for n in natures])
    middle, u = phases.log_k(25.0)[0], phases.log_k_u()[0]
    assert ksp.mean() == pytest.approx(middle, abs=4.0 * u / 20.0)
    assert ksp.std() == pytest.approx(u, rel=0.15)
    i, j = system.index["Ca+2"], system.index["Cl-"]
    row = tables().interactions[frozenset(("Ca+2", "Cl-"))]
    eps = np.array([n.system(components).eps[i, j] for n in natures])
    assert eps.mean() == pytest.approx(row.eps, abs=4.0 * row.u / 20.0)
    assert eps.std() == pytest.approx(row.u, rel=0.15)


def test_one_world_has_one_set_of_constants() -> None:
    nature = world.Nature(np.random.default_rng(8))
    small, large = nature.system(["Ca", "Cl"]), nature.system(["Na", "Ca", "Mg", "Cl", "SO4"])
    pair = "Ca+2", "Cl-"
    assert small.eps[[small.index[p] for p in pair], [small.index[p] for p in pair[::-1]]] == (
        pytest.approx(
            large.eps[[large.index[p] for p in pair], [large.index[p] for p in pair[::-1]]]
        )
    )
    for key in small.species:
        one = nature.conditions(small, 20.0).log_k[0, small.index[key]]
        assert nature.conditions(large, 20.0).log_k[0, large.index[key]] == one
    assert (large.eps == large.eps.T).all()


def test_tank_is_filled_to_the_mark(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two equal liquids, each 1/64 of the tank, in a water that holds nothing but calcium."""
    monkeypatch.setattr(world, "METERING", 0.0)
    rng = np.random.default_rng(2)
    liquid = world.draw_liquid(rng, world.Nature(rng), "potassium nitrate", "Liquid")
    well = world.Well({"Ca": 0.001}, "")
    totals, water, _ = world._fill(rng, [liquid, liquid], [4.0, 4.0], 2.0, well, 20.0)
    share = 2.0 * 4.0 / (2.0 * 128.0)
    in_litre = share * liquid.density * liquid.mol_per_kg["NO3"]
    plain = (1.0 - share) * water_density_g_per_mL(20.0)
    assert water == pytest.approx(plain + share * liquid.density * liquid.water, rel=1e-12)
    assert totals["NO3"] * water == pytest.approx(in_litre, rel=1e-12)
    assert totals["Ca"] * water == pytest.approx(0.001 * (1.0 - share), rel=1e-12)


def test_iron_never_rusts_beyond_what_there_is() -> None:
    nature = world.Nature(np.random.default_rng(1))
    for hydroxide in (1e-10, 1e-7, 1e-4):
        turned = [world._rusted(nature, 0.002, hydroxide, t) for t in world.TIMES_S.values()]
        assert turned == sorted(turned)
        assert turned[0] >= 0.0 and turned[-1] <= 0.002
    assert world._rusted(nature, 0.0, 1e-4, 900.0) == 0.0


def test_tanks_can_be_drawn_again_and_only_grow_cloudier(tmp_path: Path) -> None:
    for seed in range(6):
        first = world.draw_tank(seed, tmp_path / "a" / str(seed))
        again = world.draw_tank(seed, tmp_path / "b" / str(seed))
        assert (first.ph, first.si, first.shows) == (again.ph, again.si, again.shows)
        assert math.isfinite(first.ph) and first.si["4h"]
        for key, grams in first.out["15min"].items():
            assert 0.0 <= grams <= first.out["4h"][key] <= first.out["24h"][key]
        mix = read_mix(first.mix)
        assert len(mix.additions) == len(first.families)
        assert not mix.water.unknown


def test_scores() -> None:
    # Brier, Monthly Weather Review 78 (1950) 1, in the one-class form: mean (odds - outcome)^2.
    odds, shows = np.array([0.8, 0.4, 1.0]), np.array([True, False, True])
    assert bench_jugs.brier(odds, shows) == pytest.approx((0.04 + 0.16 + 0.0) / 3.0)
    # CRPS, Gneiting and Raftery, J. Am. Stat. Assoc. 102 (2007) 359: one draw is |x - y|; two draws
    # a and b around y give (|a - y| + |b - y|) / 2 - |a - b| / 4.
    assert bench_jugs.crps(np.array([3.0]), 5.0) == pytest.approx(2.0)
    assert bench_jugs.crps(np.array([1.0, 4.0]), 2.0) == pytest.approx(1.5 - 0.75)
    assert bench_jugs.log_score(np.array([0.5]), np.array([True])) == pytest.approx(math.log(2.0))


@pytest.mark.parametrize(
    "module", ["world_chemistry", "world_liquids", "world_labels", "world_tanks"]
)
def test_sold_liquids_know_nothing_of_the_program(module: str) -> None:
    code = f"import sys, {module}; print(*[m for m in sys.modules if m.split('.')[0] == 'chem'])"
    loaded = subprocess.run(
        [sys.executable, "-c", code],
        env={"PYTHONPATH": f"{ROOT}:{BENCH}"},
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split()
    assert not loaded


# pH of 0.1 mol/kg at 25 degC: CRC Handbook of Chemistry and Physics, approximate pH of common
# reagents at 0.1 N and of standard solutions (values from memory; citric 0.1 N is 2.2).
@pytest.mark.parametrize(
    ("held", "ph", "within"),
    [
        ({"acetate": 0.1}, 2.9, 0.1),
        ({"citrate": 0.1}, 2.1, 0.1),
        ({"B": 0.1}, 5.1, 0.2),
        ({"NH4": 0.1}, 11.1, 0.1),
        ({"PO4": 0.025, "K": 0.0375}, 6.9, 0.15),
        ({"CO3": 0.1, "K": 0.1}, 8.3, 0.25),
        ({"NH4": 0.1, "SO4": 0.05}, 5.5, 0.2),
    ],
)
def test_both_databases_give_the_ph_of_plain_solutions(
    held: dict[str, float], ph: float, within: float
) -> None:
    for database in (world_chemistry.stock(), bench_jugs.own_database(25.0)):
        state = world_chemistry.Lab(database).solve(held)
        assert state is not None and state.ph == pytest.approx(ph, abs=within)


def test_labels_of_sold_liquids_promise_no_more_than_is_there(tmp_path: Path) -> None:
    labs = {"stock": world_chemistry.Lab(world_chemistry.stock())}
    found = world_liquids.liquids(len(world_liquids.FAMILIES), labs, 3)
    names = {"available phosphate", "soluble potash", "calcium", "magnesium", "boron"}
    held = 0
    for liquid in found:
        label = world_labels.write_label(np.random.default_rng(liquid.number), liquid)
        true = {k: v * liquid.over for k, v in world_labels.percents(liquid).items()}
        for line in label.text.splitlines():
            key = line.split(" = ")[0].strip('"')
            if key in names and "{" not in line:
                assert float(line.split(" = ")[1]) <= true[key] + 1e-9
                held += 1
        if label.ph_printed:
            assert "ph = " in label.text
    assert held > 40
    assert {x.family for x in found} == set(world_liquids.FAMILIES)


def test_the_world_looks_at_milky_sulfur_too() -> None:
    """Sulfur of thiosulfate in acid is no row of solids.csv; it is a milk, and has no colour."""
    words = [world.look(np.random.default_rng(n), {"sulfur_by_acid": 1.0}) for n in range(200)]
    assert sum(w[0] == "haze" for w in words) > 140
    assert sum("colour" in w for w in words) < 30
