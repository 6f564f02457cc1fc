"""What a label leaves unsaid, source by source, in small cases by hand."""

from __future__ import annotations

from typing import Any, cast

import numpy as np
import pytest

from chem.doubts import Draws, doubts
from chem.label import Product, make_product
from chem.label.candidates import Candidates
from chem.label.draws import _density, _stated
from chem.label.vat import Vat, litres_per_kg
from chem.reference import catalogue, judged, living, volumes

SOURCES = catalogue().sources
N = 64


def product(**told: Any) -> Product:
    return make_product("A jug, invented", **({"density": "unknown"} | told))


def vat(sources: dict[str, float], jug: Product | None = None) -> Vat:
    """N like liquids of kg/kg of sources, before anything unsaid."""
    found = Candidates(
        tuple(SOURCES[k] for k in sources),
        np.tile(np.array(list(sources.values())), (N, 1)),
        cast(Any, None), np.zeros(N), (), (), np.zeros(N, dtype=np.int64), (), frozenset(),
    )  # fmt: skip
    return Vat(jug or product(), found, Draws(N, 1), [])


def poured(sources: dict[str, float], jug: Product | None = None) -> Vat:
    out = vat(sources, jug)
    for source, amount in zip(out.found.sources, out.found.amounts.T, strict=True):
        out._pour(source, amount)
    return out


def test_a_source_brings_its_moles_its_mass_and_its_water() -> None:
    """100 g of magnesium sulfate heptahydrate (246.5 g/mol, 7 * 18.015 of it water)."""
    found = poured({"magnesium sulfate heptahydrate": 0.1})
    assert found.mol["Mg"] == pytest.approx(0.1 * 1000.0 / 246.47, rel=1e-3)
    assert found.water == pytest.approx(1.0 - 0.1 * (1.0 - 126.1 / 246.47), rel=1e-3)
    twice = poured({"potassium nitrate": 0.1, "potassium chloride": 0.1})
    assert twice.mol["K"] == pytest.approx(100.0 / 101.103 + 100.0 / 74.551, rel=1e-3)
    assert twice.volume == pytest.approx(
        0.1 * sum(litres_per_kg(SOURCES[k]) for k in ("potassium nitrate", "potassium chloride"))
    )
    chelate = poured({"iron EDTA": 0.1})
    assert chelate.held[("Fe3", "EDTA")] == pytest.approx(chelate.mol["Fe3"])
    assert poured({"ferrous sulfate heptahydrate": 0.1}).held == {}


def test_grains_of_a_suspension_stay_grains() -> None:
    told = product(form="suspension")
    found = poured({"zinc oxide": 0.3, "urea": 0.1}, told)
    assert "Zn" not in found.mol and "urea" in found.mol and len(found.notes) == 1
    assert found.water == pytest.approx(0.6)
    assert "Zn" in poured({"zinc oxide": 0.3}).mol


def test_a_chelated_metal_without_an_agent_gets_one() -> None:
    """2 % of iron is 20 / 55.845 mol/kg; so much of it is bound as a doubt has it."""
    of = doubts()["chelate_bound"]
    found = poured({"ferrous sulfate heptahydrate": 0.1})
    found._agent("iron", "EDTA", 2.0)
    least, most = found.mol["EDTA"].min(), found.mol["EDTA"].max()
    assert of.a * 20.0 / 55.845 <= least < most <= of.b * 20.0 / 55.845 * 1.0001
    before = found.water.copy()
    found._agent("iron", "EDTA", 2.0)  # it is there already
    assert (found.water == before).all()
    many = poured({"ferrous sulfate heptahydrate": 0.1})
    many._agent("iron", None, 2.0)
    agents = {a: (many.mol[a] > 0.0).mean() for a in judged("chelated_by")}
    assert sum(agents.values()) == pytest.approx(1.0)
    for name, chance in judged("chelated_by").items():
        assert agents[name] == pytest.approx(chance, abs=0.15)
    held = poured({"iron EDTA": 0.1})
    held._agent("iron", None, 2.0)
    assert set(held.mol) == set(poured({"iron EDTA": 0.1}).mol)


def test_what_is_weighed_in_takes_the_place_of_water() -> None:
    """A tenth of a mole of citrate is 18.9 g as C6H5O7."""
    found = vat({})
    found._weigh("citrate", np.full(N, 0.1))
    assert found.water == pytest.approx(1.0 - 0.0189, abs=2e-4)
    litres = volumes().get(("component", "citrate"), 0.0)
    assert found.volume == pytest.approx(0.1 * litres / 1000.0)


def test_ferrous_iron_turns_in_part_and_sugar_acid_holds_more() -> None:
    def turned(jug: Product | None = None, **sources: float) -> Any:
        named = {k.replace("_", " "): v for k, v in sources.items()}
        found = poured(named, jug)
        before = found.mol["Fe2"].copy()
        found._shift_forms()
        assert found.mol["Fe2"] + found.mol["Fe3"] == pytest.approx(before)
        return found.mol["Fe3"] / before

    of, dry = doubts()["ferric_share"], doubts()["ferric_share_dry"]
    plain = turned(ferrous_sulfate_heptahydrate=0.1)
    assert of.a <= plain.min() < plain.max() <= of.b
    assert plain.mean() == pytest.approx(0.5 * (of.a + of.b), rel=0.05)
    crystals = make_product("Crystals, invented", form="dry")
    solid = turned(crystals, ferrous_sulfate_heptahydrate=0.1)
    assert dry.a <= solid.min() < solid.max() <= dry.b


def test_slow_nitrogen_is_urea_in_part() -> None:
    """A mole of urea holds two of nitrogen."""
    found = vat({})
    found._add("slow_N", np.full(N, 2.0))
    found._shift_forms()
    assert 2.0 * found.mol["urea"] + found.mol["slow_N"] == pytest.approx(2.0)
    of = doubts()["organic_as_urea"]
    assert found.mol["urea"].mean() == pytest.approx(0.5 * (of.a + of.b), rel=0.05)


def test_chains_of_phosphate_keep_their_phosphorus() -> None:
    """Two atoms in pyrophosphate, three in tripolyphosphate; a share of all stands alone."""
    key = next(
        k for k, s in SOURCES.items() if {"PO4", "P2O7"} <= set(s.components)
    )  # a polyphosphate liquor
    found = poured({key: 0.3})

    def atoms() -> Any:
        mol = found.mol
        return mol["PO4"] + 2.0 * mol["P2O7"] + 3.0 * mol.get("P3O10", 0.0)

    before = atoms()
    found._split_chains()
    assert atoms() == pytest.approx(before)
    of = doubts()["ortho_share"]
    share = found.mol["PO4"] / before
    assert of.a <= share.min() < share.max() <= of.b
    ortho = poured({"monopotassium phosphate": 0.2})
    alone = ortho.mol["PO4"].copy()
    ortho._split_chains()
    assert (ortho.mol["PO4"] == alone).all() and "P2O7" not in ortho.mol


def test_salt_that_no_label_names() -> None:
    """As much sodium as chloride, 58.44 g/mol; where it is stated, that much."""
    plain = poured({"potassium nitrate": 0.1})
    plain._unsaid()
    of = doubts()["undeclared_sodium_chloride"]
    assert (plain.mol["Na"] == plain.mol["Cl"]).all()
    grams = plain.mol["Na"] * 58.443 / 1000.0
    assert of.a <= grams.min() + 1e-9 and grams.max() <= of.b
    dry_side = poured({"potassium nitrate": 0.1}).water - plain.water
    assert dry_side == pytest.approx(grams, rel=1e-3)
    stated = product(known={"undeclared sodium chloride": 1.0})
    sure = poured({"potassium nitrate": 0.1}, stated)
    sure._unsaid()
    assert sure.mol["Cl"] == pytest.approx(10.0 / 58.443, rel=1e-3)


def test_agents_come_with_some_of_their_own_and_soda() -> None:
    found = poured({"iron EDTA": 0.1})
    agent, soda = found.mol["EDTA"].copy(), found.mol.get("Na", np.zeros(N)).copy()
    found._unsaid()
    free = found.mol["EDTA"] - agent
    assert (free >= 0.0).all() and free.max() > 0.0
    assert found.mol["Na"] - soda - found.mol["Cl"] == pytest.approx(2.0 * free)


def test_iron_salts_hold_citric_acid_now_and_then() -> None:
    """In half of the jugs 0.4 to 6 % (common practice, no source); none beside named citrate, none
    in a trace of iron."""
    found = poured({"ferrous sulfate heptahydrate": 0.1})
    found._unsaid()
    percent = found.hidden["unnamed citric acid"]
    assert (percent > 0.0).mean() == pytest.approx(0.5, abs=0.15)
    some = percent[percent > 0.0]
    assert some.min() >= 0.4 and some.max() <= 6.0
    assert found.mol["citrate"] == pytest.approx(10.0 * percent / 192.12, rel=1e-3)
    for sources in ({"ferrous sulfate heptahydrate": 0.01}, {"iron EDTA": 0.2},
                    {"ferrous sulfate heptahydrate": 0.1, "citric acid": 0.01}):  # fmt: skip
        none = poured(sources)
        none._unsaid()
        assert "unnamed citric acid" not in none.hidden


def test_living_matter_brings_its_ions_but_for_those_that_are_guaranteed() -> None:
    key = next(k for k in living() if k in SOURCES)
    component, low, high = living()[key][0]
    plain, with_it = poured({key: 0.2}), poured({key: 0.2})
    with_it._unsaid()
    brought = with_it.mol[component] - plain.mol.get(component, np.zeros(N))
    if component not in {"Na", "Cl"}:
        assert (brought >= 0.2 * low * 0.999).all() and (brought <= 0.2 * high * 1.001).all()


def test_free_calcium_leaves_little_room_for_sulfate() -> None:
    """A product of 2e-3 mol2/kg2 (values from memory): 0.01 beside 0.2 mol/kg, any beside none."""
    found = vat({})
    assert np.isinf(found._gypsum()).all()
    found._add("Ca", np.full(N, 0.2))
    assert found._gypsum() == pytest.approx(0.01)
    found._add("EDTA", np.full(N, 0.1))
    assert found._gypsum() == pytest.approx(0.02)
    found._add("citrate", np.full(N, 0.06))
    assert np.isinf(found._gypsum()).all()


def test_the_density_of_what_is_dissolved() -> None:
    """0.7 kg of water at 0.998 kg/L and 0.12 L: 1 / 0.8214 L; a printed one as it is read."""
    water, volume = np.full(N, 0.7), np.full(N, 0.12)
    notes: list[str] = []
    plain = _density(product(), water, volume, Draws(N, 1), notes)
    assert np.median(plain) == pytest.approx(1.0 / 0.8214, rel=0.01) and "1.22" in notes[0]
    printed = _density(product(density="1.30 kg/L"), water, volume, Draws(N, 1), [])
    assert np.median(printed) == pytest.approx(1.30, rel=1e-3)
    span = _density(product(density="1.2-1.3 kg/L"), water, volume, Draws(N, 1), [])
    assert 1.2 <= span.min() < 1.21 and 1.29 < span.max() <= 1.3
    dry = _density(make_product("Crystals", form="dry"), water, volume, Draws(N, 1), [])
    assert np.isnan(dry).all()


def test_a_reagent_is_what_its_strength_says() -> None:
    """10 % potassium hydroxide: 100 g of 56.11 g/mol in 900 g of water."""
    known = product(sources=("potassium hydroxide",), known={"potassium hydroxide": 10.0})
    found = _stated(known, Draws(N, 1), [])
    assert found.of("K") == pytest.approx(100.0 / 56.106, rel=1e-3)
    assert found.water_kg_per_kg == pytest.approx(0.9)
    assert found.sources_percent["potassium hydroxide"] == pytest.approx(10.0)
    assert found.of("Cl") == pytest.approx(0.0) and np.isnan(found.ph).all()
    few = found.first(16)
    assert len(few.ph) == len(few.mol_per_kg) == len(few.density_kg_per_L) == 16
    assert found.first(N) is found
