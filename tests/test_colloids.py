"""Colloids: risks apart from salts, counted into the odds."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import pytest
from test_forecast import mix, product

from chem.forecast import forecast
from chem.reference import tables
from chem.reference.colloids import colloids
from chem.tank import Adjuvant, change_mix, grams_per_litre, read_mix, with_rate

ROOT = Path(__file__).parent.parent


def risks(path: Path, **options: object) -> dict[str, float]:
    result = forecast(read_mix(path), count=128, **options)  # type: ignore[arg-type]
    return {c.key: c.risk for c in result.colloids}


def test_kelp_gels_with_calcium_and_not_with_nitrate_of_magnesium(tmp_path: Path) -> None:
    """All divalent salts of alginate but magnesium's are insoluble (common practice, no source)."""
    calcium = forecast(read_mix(ROOT / "examples" / "kelp-and-calcium.toml"), count=128)
    assert calcium.answer == "curdle"
    # even odds at best: half the extracts hold an alginate too short to gel
    assert 0.3 < {c.key: c.risk for c in calcium.colloids}["alginate_by_calcium"] <= 0.5
    path = mix(
        tmp_path, ("kelp-extract", "4 fl oz/1000 sq ft"),
        ("magnesium-nitrate-liquor", "4 fl oz/1000 sq ft"),
    )  # fmt: skip
    assert risks(path).get("alginate_by_calcium", 0.0) < 0.05


def test_humic_falls_out_in_acid_and_with_calcium(tmp_path: Path) -> None:
    """Humic acid is soluble in alkali only; calcium coagulates it (common practice, no source)."""
    alone = mix(tmp_path, ("humic-extract", "4 fl oz/1000 sq ft"))
    assert max(risks(alone).values(), default=0.0) < 0.05
    acid = mix(
        tmp_path, ("humic-extract", "4 fl oz/1000 sq ft"), ("ph-buffer", "6 fl oz/1000 sq ft")
    )
    assert risks(acid)["humate_by_acid"] > 0.8
    calcium = mix(
        tmp_path, ("humic-extract", "4 fl oz/1000 sq ft"),
        ("calcium-chloride-liquor", "4 fl oz/1000 sq ft"),
    )  # fmt: skip
    assert risks(calcium)["humate_by_hardness"] > 0.8


def silicate(folder: Path) -> str:
    return product(
        folder, "silicate", density="1.30 kg/L", ph=11.3, sources=["potassium silicate"],
        guarantee={"soluble potash": 10.0},
    )  # fmt: skip


def test_silicate_gels_with_acid_and_with_ammonium(tmp_path: Path) -> None:
    """Kept in solution by alkali alone; acid and ammonium salts take that (common practice)."""
    name = silicate(tmp_path)
    strong = mix(tmp_path, (name, "40 mL/L"))
    assert risks(strong).get("silicate_by_dilution", 0.0) < 0.5
    acid = mix(tmp_path, (name, "40 mL/L"), ("ph-buffer", "100 mL/L"))
    assert risks(acid)["silicate_by_dilution"] > 0.65
    ammonium = mix(tmp_path, (name, "40 mL/L"), ("ammonium-sulfate-liquor", "20 mL/L"))
    assert risks(ammonium)["silicate_by_ammonium"] > 0.7


def test_borate_gels_a_film_or_guar_and_nothing_else(tmp_path: Path) -> None:
    """Borate cross-links polyvinyl alcohol and guar (common practice, no source)."""
    boron = product(
        tmp_path, "boron", density="1.10 kg/L", sources=["boric acid"], guarantee={"boron": 1.0}
    )
    packet = product(
        tmp_path, "urea in a packet", form="dry", sources=["urea"],
        guarantee={"total nitrogen": 46.0},
    )  # fmt: skip
    alone = mix(tmp_path, (boron, "10 mL/L"))
    assert "borate_film" not in risks(alone)
    beside = mix(tmp_path, (packet, "5 g/L"), (boron, "10 mL/L"))
    assert risks(beside)["borate_film"] > 0.8
    guar = replace(read_mix(alone), adjuvant=Adjuvant("guar thickener", None, 0.0, 14.0))
    assert {c.key: c.risk for c in forecast(guar, count=128).colloids}["borate_film"] > 0.8


def test_lignosulfonate_bears_calcium_and_is_salted_out_of_brine(tmp_path: Path) -> None:
    """Sold as its calcium salt; salted out only at high ionic strength (common practice)."""
    ligno = product(
        tmp_path, "ligno", density="1.25 kg/L", sources=["calcium lignosulfonate"],
        guarantee={"calcium": 2.0},
    )  # fmt: skip
    dilute = mix(tmp_path, (ligno, "10 mL/L"), ("calcium-chloride-liquor", "10 mL/L"))
    assert "lignosulfonate_by_salt" not in risks(dilute)
    brine = mix(tmp_path, (ligno, "10 mL/L"), ("calcium-chloride-liquor", "600 mL/L"))
    assert risks(brine)["lignosulfonate_by_salt"] > 0.5


@pytest.mark.parametrize("partner", ["iron-citric", "magnesium-nitrate-liquor"])
def test_humate_falls_out_with_iron_and_with_much_magnesium(tmp_path: Path, partner: str) -> None:
    """Divalent metals coagulate humate, by charge and affinity (common practice, no source)."""
    path = mix(tmp_path, ("humic-extract", "15 mL/L"), (partner, "40 mL/L"))
    assert max(risks(path).get(k, 0.0) for k in ("humate_by_hardness", "humate_by_acid")) > 0.8


def test_colloids_count_into_the_odds_and_are_listed_apart() -> None:
    result = forecast(read_mix(ROOT / "examples" / "kelp-and-calcium.toml"), count=128)
    worst = max(c.risk for c in result.colloids)
    assert result.probability["15min"] >= worst - 1e-9
    assert result.clogs["15min"] >= worst - 0.1
    salts = max((s.probability["15min"] for s in result.solids), default=0.0)
    assert salts < worst
    assert not {c.key for c in result.colloids} & {s.key for s in result.solids}


def test_hard_water_matters_for_humate_less_than_soft(tmp_path: Path) -> None:
    path = mix(tmp_path, ("humic-extract", "4 fl oz/1000 sq ft"))
    base = read_mix(path)
    hard = forecast(change_mix(base, tmp_path, water="hard-alkaline.toml"), count=128)
    soft = forecast(base, count=128)
    risk = [
        max((c.risk for c in r.colloids if c.key == "humate_by_hardness"), default=0.0)
        for r in (soft, hard)
    ]
    assert risk[1] > risk[0]


def test_risk_falls_with_less_of_the_colloid() -> None:
    base = read_mix(ROOT / "examples" / "kelp-and-calcium.toml")
    tiny = with_rate(base, 0, 0.001)
    assert all(c.risk == 0.0 for c in forecast(tiny, count=64).colloids)
    assert grams_per_litre(1.0).value == 1.0


def test_every_threshold_has_unit_source_and_component() -> None:
    references = {
        r["key"] for r in csv.DictReader((ROOT / "data" / "references.csv").open(encoding="utf-8"))
    }
    for rule in colloids().values():
        assert rule.source in references
        assert rule.unit and rule.because and rule.where
        assert rule.component in tables().components
        assert rule.threshold > 0.0 and rule.factor > 0.0


@pytest.mark.parametrize("key", ["humate_by_acid", "alginate_by_acid"])
def test_acid_thresholds_lie_where_the_handbooks_put_them(key: str) -> None:
    """Humic acid falls out from about pH 5 down, alginic acid below 3.5-4 (value from memory)."""
    assert 3.4 <= colloids()[key].threshold <= 5.0


def test_traces_of_kelp_gel_no_tank_of_calcium(tmp_path: Path) -> None:
    """Under 0.05 % of alginate there is no network, at most threads (value from memory)."""
    path = mix(
        tmp_path, ("kelp-extract", "0.5 fl oz/1000 sq ft"),
        ("calcium-nitrate-liquor", "8 fl oz/1000 sq ft"),
    )  # fmt: skip
    assert risks(path).get("alginate_by_calcium", 0.0) < 0.1


def test_silica_gels_by_its_own_clock(tmp_path: Path) -> None:
    """Sooner where there is more of it, fastest at pH 7 to 9, slower in acid (Iler 1979)."""
    name = silicate(tmp_path)
    after = {}
    for amount in ("20 mL/L", "60 mL/L"):
        path = mix(tmp_path, (name, amount), ("ammonium-sulfate-liquor", "60 mL/L"))
        found = forecast(read_mix(path), count=128).colloids
        after[amount] = next(c.after_s for c in found if c.key.startswith("silicate"))
    assert after["20 mL/L"] > 3.0 * after["60 mL/L"] > 0.0
