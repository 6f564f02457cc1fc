"""Every reason that there can be has words, and every ion a jug."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from chem.advice import why as room
from chem.advice.origins import origins
from chem.advice.reasons import Hold, reason
from chem.advice.why import why
from chem.forecast import Study
from chem.reference import catalogue, tables
from chem.reference.colloids import colloids
from chem.sheets.blocks import as_text
from chem.sheets.why import _other, plain, reason_sentence, why_sheet
from chem.tank import read_mix

MIX = (
    'name = "Test, invented"\nwater = "unknown"\ncarrier = "2 gal/1000 sq ft"\n'
    'temperature = "60 F"\n'
)


@pytest.mark.parametrize("judged_at", ["15min", "4h", "24h"])
def test_iron_that_the_air_has_taken_still_has_its_jug(tmp_path: Path, judged_at: str) -> None:
    """Ferrous iron in strong alkali is gone within the hour in most versions of the tank (Stumm
    and Lee, Ind. Eng. Chem. 53 (1961) 143: a hundredfold faster per pH unit), not in all."""
    path = tmp_path / "mix.toml"
    path.write_text(
        f'{MIX}[[add]]\nproduct = "iron-partly-chelated.toml"\nrate = "2 fl oz/1000 sq ft"\n'
        '[[add]]\nproduct = "potassium-carbonate-liquor.toml"\nrate = "4 fl oz/1000 sq ft"\n'
    )
    study = Study(64, 1)
    mix = read_mix(path)
    ready = study.look(mix).ready
    for component in ("Fe2", "Fe3"):
        shares = origins(ready, component, 86400.0)
        assert shares == {"Iron, partly chelated, invented": pytest.approx(1.0)}
    text = as_text(why_sheet(why(mix, judged_at=judged_at, study=study))).replace("\n", " ")
    assert "Iron, partly chelated, invented" in text


def test_every_reason_that_there_can_be_has_words(tmp_path: Path) -> None:
    """One tank of every component: each solid and each colloid of the tables, threatening or not,
    held back by anything or nothing."""
    chosen: dict[str, str] = {}
    for source in catalogue().sources.values():
        for component in source.components:
            chosen.setdefault(component, source.key)
    also = "\n".join(f'"{key}" = 0.2' for key in dict.fromkeys(chosen.values()))
    (tmp_path / "all.toml").write_text(
        f'name = "Everything, invented"\ndensity = "1.1 kg/L"\n[also]\n{also}\n'
    )
    path = tmp_path / "mix.toml"
    path.write_text(f'{MIX}[[add]]\nproduct = "all.toml"\nrate = "100 mL/L"\n')
    study = Study(3, 1)
    seen = study.look(read_mix(path))
    solids = {s.key: m for m, s in enumerate(seen.fresh.phases.solids)}
    assert solids.keys() == tables().solids.keys()
    partners = [*tables().components, "H+", "OH-"]
    assert all(plain(key) and ":" not in plain(key) for key in partners)
    for later in (900.0, 86400.0):
        for component in tables().components:
            if component.startswith("acid_"):
                continue  # what a label leaves out: not every version of a jug has each
            shares = origins(seen.ready, component, later)
            assert sum(shares.values()) == pytest.approx(1.0), (later, component)
    for k, m in enumerate(solids.values()):
        found = reason(study, seen, m, "4h", True)
        held = (Hold(found.ions[0].component, partners[k % len(partners)], 0.9),)
        for one in (found, replace(found, held_back_by=held), replace(found, held_back_by=())):
            for threatens in (True, False):
                for chance in (0.0, 0.2, 0.9):
                    chances = dict.fromkeys(one.probability, chance)
                    known = replace(one, threatens=threatens, probability=chances)
                    text = reason_sentence(known, "4h")
                    assert text.endswith(".") and "nan" not in text
    for key, rule in colloids().items():
        other = room._gelling(study, seen, key, 0.5)
        assert rule.because in _other(other) and "Everything, invented" in _other(other), key
        assert all(sum(s.values()) == pytest.approx(1.0) for s in other.shares.values())
