"""From label to liquids: the polytope, its sampler, and what a label leaves open."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from chem.doubts import Draws
from chem.errors import InputProblem
from chem.label import contents, read_product
from chem.label.amounts import best_fit, label_lines
from chem.label.nnls import nnls
from chem.label.polytope import Polytope, centre, sample
from chem.reference import catalogue, tables

DEMO = Path(__file__).parent.parent / "data" / "demo" / "products"


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "p.toml"
    path.write_text('name = "Test, invented"\n' + text)
    return path


def test_sampler_matches_an_exactly_known_set() -> None:
    """Two sources, one line: a slab between two parallels; slices grow with their height.

    With y the height, f the share of the first source on a slice: y has density ~ y between the
    ends, f is even on 0..1 and independent of y (elementary geometry).
    """
    gives, low, high = np.array([[24.4, 36.1]]), np.array([9.0]), np.array([9.9])
    polytope = Polytope.of_label(gives, low, high, np.ones(2), 0.98, np.ones(2))
    start, slack = centre(polytope)
    assert slack > 0.0
    points = sample(polytope, start, 20_000, np.random.default_rng(1))
    height = points @ gives[0]
    share = points[:, 0] * gives[0, 0] / height
    assert (height >= 9.0 - 1e-9).all() and (height <= 9.9 + 1e-9).all()
    assert share.mean() == pytest.approx(0.5, rel=0.01)
    assert np.quantile(share, [0.05, 0.95]) == pytest.approx([0.05, 0.95], abs=0.01)
    levels = np.array([0.05, 0.5, 0.95])
    exact = np.sqrt(81.0 + levels * (9.9**2 - 81.0))
    assert np.quantile(height, levels) == pytest.approx(exact, rel=0.01)
    mean = (9.9**3 - 9.0**3) * 2.0 / 3.0 / (9.9**2 - 81.0)
    assert height.mean() == pytest.approx(mean, rel=0.01)
    assert abs(np.corrcoef(share, height)[0, 1]) < 0.03


def test_sampler_on_a_simplex() -> None:
    """Even points of the unit simplex in 3 dimensions: every coordinate is Beta(1, 3), mean 1/4."""
    polytope = Polytope.of_label(
        np.zeros((0, 3)), np.zeros(0), np.zeros(0), np.ones(3), 1.0, np.ones(3)
    )
    start, _ = centre(polytope)
    points = sample(polytope, start, 20_000, np.random.default_rng(2))
    assert points.mean(axis=0) == pytest.approx([0.25] * 3, abs=0.005)
    beta = 1.0 - (1.0 - np.array([0.05, 0.5, 0.95])) ** (1.0 / 3.0)
    for column in points.T:
        assert np.quantile(column, [0.05, 0.5, 0.95]) == pytest.approx(beta, abs=0.01)


@pytest.mark.parametrize("n", [1, 2, 4])
def test_sampler_of_a_set_of_one_point_gives_that_point(n: int) -> None:
    """n independent lines printed without any width leave one liquid (linear algebra).

    Halves and whole numbers, so that rounding leaves no width either.
    """
    gives = 20.0 + 10.0 * np.eye(n)
    point = 0.125 * np.arange(1, n + 1)
    printed = gives @ point
    polytope = Polytope.of_label(gives, printed, printed, np.ones(n), 1.5, np.ones(n))
    for sets in (1, 3):
        points = sample(polytope, point, 256, np.random.default_rng(4), sets)
        assert points == pytest.approx(np.tile(point, (sets * 256, 1)), abs=1e-12)


def test_nnls_against_a_case_solved_by_hand() -> None:
    """min |w1 + 2 w2 - 2|^2 + |w1 - 1|^2 with w >= 0: w = (1, 1/2); forced to the edge: w2 = 0."""
    matrix = np.array([[1.0, 2.0], [1.0, 0.0]])
    assert nnls(matrix, np.array([2.0, 1.0]), np.full(2, 1e-12)) == pytest.approx([1.0, 0.5])
    edge = nnls(matrix, np.array([0.5, 1.0]), np.full(2, 1e-12))
    assert edge == pytest.approx([0.75, 0.0])


@pytest.mark.parametrize("path", sorted(DEMO.glob("*.toml")), ids=lambda p: p.stem)
def test_every_makeup_is_neutral_no_heavier_than_the_product_and_as_guaranteed(path: Path) -> None:
    product = read_product(path)
    draws = Draws(128, 3)
    inside = contents(product, draws)
    assert (inside.mol_per_kg >= 0.0).all()
    assert (inside.water_kg_per_kg >= 0.0).all() and (inside.water_kg_per_kg <= 1.0).all()
    charge = inside.mol_per_kg @ [tables().components[c].charge for c in inside.components]
    protons = (
        -charge
    )  # what electroneutrality leaves to H+ (or OH-) must be held by an acid or base
    holders = inside.mol_per_kg @ [
        abs(tables().components[c].charge) + 3.0 for c in inside.components
    ]
    assert (np.abs(protons) <= holders + 1e-9).all()
    made = {c: inside.of(c) for c in inside.components}
    for line, percent in product.guarantee.items():
        if line.endswith("nitrogen") and "slow_N" in made:
            continue
        row = catalogue().guarantees[line]
        reached = sum(n * made.get(c, 0.0) for c, n in row.counts.items()) * row.grams_per_mole / 10
        assert np.median(reached) >= percent * 0.99
        assert np.median(reached) <= percent * 1.35 + 0.1
        assert reached.min() >= percent - row.allowance(percent) * 1.01 - 0.02 * percent


def test_a_label_with_a_free_direction_is_wide_and_known_narrows_it(tmp_path: Path) -> None:
    text = (
        'density = "1.3 kg/L"\nsources = ["calcium nitrate", "calcium chloride"]\n'
        "[guarantee]\ncalcium = 9.0\n"
    )
    wide = contents(read_product(write(tmp_path, text)), Draws(256, 1))
    assert wide.of("Cl").std() > 0.4 * wide.of("Cl").mean()
    known = text + '[known]\n"calcium chloride" = 10.0\n'
    narrow = contents(read_product(write(tmp_path, known)), Draws(256, 1))
    assert narrow.of("Cl").std() < 0.1 * narrow.of("Cl").mean()
    assert narrow.sources_percent["calcium chloride"].mean() == pytest.approx(10.0, rel=0.03)
    draws = Draws(256, 1)
    contents(read_product(write(tmp_path, text)), draws)
    assert "product:p:source:calcium chloride" in draws.columns


def test_ph_narrows_the_split_of_phosphates(tmp_path: Path) -> None:
    """Mono- and diammonium phosphate in one label: the printed pH tells them apart."""
    text = (
        'density = "1.26 kg/L"\nph = {ph}\nph_at = "10 %"\n'
        'sources = ["monoammonium phosphate", "diammonium phosphate"]\n'
        '[guarantee]\n"available phosphate" = 20.0\n'
    )
    acid = contents(read_product(write(tmp_path, text.format(ph=5.6))), Draws(256, 1))
    base = contents(read_product(write(tmp_path, text.format(ph=7.2))), Draws(256, 1))
    ratio = [np.median(c.of("NH4") / c.of("PO4")) for c in (acid, base)]
    # H2PO4-/HPO4-2 at pK2' about 6.5-6.7 in such a solution (NIST pK2 7.2 less the Debye-Hueckel
    # term): little HPO4-2 at 5.6, mostly HPO4-2 at 7.2.
    assert 1.0 < ratio[0] < 1.3
    assert 1.6 < ratio[1] < 1.95


def test_no_sources_named_tries_the_common_ones(tmp_path: Path) -> None:
    text = 'density = "1.3 kg/L"\n[guarantee]\ncalcium = 9.0\n'
    inside = contents(read_product(write(tmp_path, text)), Draws(256, 1))
    tried = {k for k, v in inside.sources_percent.items() if v.any()}
    assert {"calcium nitrate", "calcium chloride"} <= tried
    assert any("no source named" in n for n in inside.notes)


def test_lines_that_contradict_are_refused_not_averaged(tmp_path: Path) -> None:
    text = (
        'density = "1.3 kg/L"\nsources = ["calcium nitrate"]\n'
        '[guarantee]\n"nitrate nitrogen" = 12.0\ncalcium = 2.0\n'
    )
    with pytest.raises(InputProblem, match="its sources reach only"):
        contents(read_product(write(tmp_path, text)), Draws(16, 1))


def test_eu_terms_and_units(tmp_path: Path) -> None:
    """CaO 14 % is Ca 10.006 %, MgO 2 % is Mg 1.206 % (IUPAC atomic masses)."""
    text = (
        'density = "1.4 kg/L"\nsources = ["calcium nitrate", "magnesium nitrate"]\n'
        "[guarantee]\nCaO = 14.0\nMgO = 2.0\n"
    )
    product = read_product(write(tmp_path, text))
    assert product.guarantee["calcium"] == pytest.approx(10.006, abs=0.003)
    assert product.guarantee["magnesium"] == pytest.approx(1.2061, abs=0.0005)
    lines = label_lines(product)
    assert lines.gives @ best_fit(lines) == pytest.approx(lines.printed, rel=1e-2)


def test_one_draw_is_the_middle() -> None:
    product = read_product(DEMO / "calcium-nitrate-liquor.toml")
    middle = contents(product, Draws(1, 1)).of("Ca")
    many = contents(product, Draws(512, 1)).of("Ca")
    assert middle[0] == pytest.approx(many.mean(), rel=0.02)


def test_percent_by_volume_is_divided_by_density_for_every_line(tmp_path: Path) -> None:
    text = (
        'density = "1.25 kg/L"\nbasis = "w/v"\nsources = ["zinc EDTA", "zinc sulfate"]\n'
        '[guarantee]\nzinc = 5.0\n[chelated]\nzinc = 2.5\n[also]\n"citric acid" = 5.0\n'
    )
    product = read_product(write(tmp_path, text))
    assert product.guarantee["zinc"] == pytest.approx(4.0)
    assert product.chelated["zinc"].percent == pytest.approx(2.0)
    assert product.also["citric acid"] == pytest.approx(4.0)


def test_a_source_without_any_percent_is_tried_and_said_never_taken_for_water(
    tmp_path: Path,
) -> None:
    text = 'density = "1.15 kg/L"\nsources = ["citric acid"]\n'
    inside = contents(read_product(write(tmp_path, text)), Draws(256, 1))
    assert inside.of("citrate").mean() > 0.05
    assert inside.sources_percent["citric acid"].max() <= 5.0 + 1e-9
    assert any("no amount on the label for citric acid" in n for n in inside.notes)
    beside = contents(
        read_product(write(tmp_path, text + '[also]\n"citric acid" = 30.0\n')), Draws(64, 1)
    )
    assert not any("no amount on the label" in n for n in beside.notes)
