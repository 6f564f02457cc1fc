"""What was seen of a tank beside its draws, and gas that it gives, in small cases by hand."""

from __future__ import annotations

from math import exp
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from chem.forecast.off_gas import _ammonia_ppm, _heat_kelvin, _millilitres, _sulfurs
from chem.forecast.sight import (
    DISAGREES,
    LOOKS,
    PH_ASTRAY,
    Sight,
    _look,
    _most,
    _seen_chance,
    _strip,
    kind_of,
    state_at,
)
from chem.reference import tables


def part(key: str, kind: str = "salt", decides: bool = True) -> Any:
    return SimpleNamespace(key=key, kind=kind, decides=decides)


SOLIDS = tables().solids
IRON = next(k for k, s in SOLIDS.items() if s.curve == "ferric_hydroxide")
WHITE = next(k for k, s in SOLIDS.items() if s.curve == "gypsum")


def test_an_eye_sees_half_of_the_time_at_the_limit() -> None:
    """x^2 / (1 + x^2): a half at the limit, nine in ten at thrice it, a tenth at a third."""
    total = np.array([0.0, 0.1, 0.3, 0.1 / 3.0])
    assert _seen_chance(total, 0.1) == pytest.approx([0.0, 0.5, 0.9, 0.1])


def test_a_strip_reads_what_stands_over_the_solids() -> None:
    """Half out: half of the way from 8 to 7; two standard deviations of 0.3 off are e^-2."""
    state = SimpleNamespace(
        settled=np.array([[1.0, 1.0]] * 4), clear=SimpleNamespace(ph=np.full(4, 8.0)),
        ph_settled=np.array([7.0, 7.0, 7.0, np.nan]),
    )  # fmt: skip
    total = np.array([0.0, 1.0, 4.0, 1.0])
    at_8, at_75 = (_strip(cast(Any, state), total, ph) for ph in (8.0, 7.5))
    assert at_8[0] == pytest.approx(1.0) and at_75[1] == pytest.approx(1.0)
    off = PH_ASTRAY + (1.0 - PH_ASTRAY) * exp(-0.5 * (1.0 / 0.3) ** 2)
    assert at_8[2] == pytest.approx(off)  # all is out: 7
    two = _strip(cast(Any, state), np.zeros(4), 8.6)
    assert two[0] == pytest.approx(PH_ASTRAY + (1.0 - PH_ASTRAY) * exp(-2.0))
    assert at_8[3] == pytest.approx(PH_ASTRAY)


def test_what_is_out_is_called_by_its_mass() -> None:
    parts = [part(IRON), part(WHITE)]
    out = np.array([[0.0, 2.0], [2.0, 0.0], [1.0, 1.0], [0.02, 0.02], [0.0, 0.0]])
    most = np.array([[0.0, 1.0]] * 5)
    white, rust, both, slight, none = _look(parts, out, most, ["flakes"])
    of = {k: LOOKS[kind_of(p)]["flakes"] for k, p in zip(("rust", "white"), parts, strict=True)}
    untold = np.array([1.0 - 0.08, 1.0 - 0.65])  # of a colour: white, coloured
    assert white == pytest.approx(of["white"] * untold[0])
    assert rust == pytest.approx(of["rust"] * untold[1])
    assert both == pytest.approx(0.5 * (of["rust"] + of["white"]) * untold[1])
    assert slight == pytest.approx(LOOKS["slight"]["flakes"] * untold[1])
    assert none == pytest.approx(LOOKS["slight"]["flakes"] * untold[0])
    coloured = _look(parts, out, most, ["colour"])
    assert coloured[:2] == pytest.approx([0.08, 0.65])
    tenth = _look(parts, np.array([[0.15, 0.85]]), most[:1], ["colour"])
    assert tenth[0] == pytest.approx(0.08 + 0.57 * 0.5)  # half of the share that colours all
    two = _look(parts, out[:1], most[:1], ["haze", "flakes"])
    mean = np.mean([LOOKS[kind_of(parts[1])][w] for w in ("haze", "flakes")])
    assert two[0] == pytest.approx(mean * untold[0])
    assert _look([], np.zeros((3, 0)), np.zeros((3, 0)), ["haze"]).tolist() == [1.0, 1.0, 1.0]


def test_how_each_solid_looks() -> None:
    assert kind_of(part(IRON)) == "floc" and kind_of(part("x", "crystals")) == "grains"
    assert kind_of(part(WHITE)) == "grains"
    silica = next(k for k, s in SOLIDS.items() if "Si(OH)4" in s.reaction)
    assert kind_of(part(silica)) == "gel"
    kinds = {kind_of(part(k)) for k in SOLIDS}
    assert kinds == {"floc", "grains", "gel", "powder"}
    assert all(sum(of.values()) == pytest.approx(1.0) for of in LOOKS.values())


def test_versions_by_how_well_they_fit() -> None:
    """Weights 1/2, 1/4, 1/4 are worth 1 / (1/4 + 2/16) = 2.67 equal draws."""
    found = SimpleNamespace(ok=np.ones(3, dtype=bool))
    none = np.zeros((3, 0))
    some = Sight(
        cast(Any, found), (), none, none, np.array([2.0, 1.0, 1.0]), np.array([True, True, False]),
        True,
    )  # fmt: skip
    assert some.weights == pytest.approx([0.5, 0.25, 0.25])
    assert some.effective == pytest.approx(8.0 / 3.0)
    assert some.expected == pytest.approx(2.0 / 3.0)
    assert 0.0 < DISAGREES < 0.1


def test_what_has_the_most_mass_stands_for_a_tank() -> None:
    """What is out; else what will be; else the salt nearest its limit, per two ions."""
    state = SimpleNamespace(
        settled=np.array([[0.0, 0.0], [0.0, 3.0], [0.0, 0.0]]),
        cold=SimpleNamespace(amount_g_per_L=np.zeros((3, 0))),
        si=np.array([[-1.0, -0.5], [-1.0, -0.5], [-1.0, -1.2]]),
        phases=SimpleNamespace(keys=("a", "b"), ions=np.array([2.0, 4.0])),
    )
    parts = (part("a"), part("b"))
    found = SimpleNamespace(colloids=(), parts=parts)
    out = SimpleNamespace(each=np.array([[0.2, 0.0], [0.0, 0.0], [0.0, 0.0]]))
    picked = _most(cast(Any, found), cast(Any, state), cast(Any, out))
    assert picked.tolist() == [[1.0, 0.0], [0.0, 1.0], [0.0, 1.0]]  # -0.5 a, -0.3 b
    mute = SimpleNamespace(colloids=(), parts=(part("a"), part("b", decides=False)))
    assert _most(cast(Any, mute), cast(Any, state), cast(Any, out))[2].tolist() == [1.0, 0.0]


def test_the_state_nearest_in_time_speaks() -> None:
    """Within a quarter of a time that was followed it is that time; beyond the last, the last."""
    states = {name: name for name in ("15min", "4h", "24h")}
    tank = SimpleNamespace(
        aged=SimpleNamespace(changes=True), at=lambda t_s, driven: f"followed to {t_s:g}"
    )
    found = SimpleNamespace(tank=tank, states=states, driven=None, fresh="fresh")

    def at(t_s: float) -> Any:
        return state_at(cast(Any, found), t_s)

    assert [at(t) for t in (900.0, 1100.0, 730.0, 14400.0, 86400.0, 2e5)] == [
        "15min", "15min", "15min", "4h", "24h", "24h",
    ]  # fmt: skip
    assert at(1200.0) == "followed to 1200" and at(700.0) == "followed to 700"
    tank.aged.changes = False
    assert at(900.0) == "fresh"
    found.driven = SimpleNamespace(by=lambda t_s: None)
    assert at(900.0) == "15min" and at(1200.0) == "followed to 1200"


# --- gas -----------------------------------------------------------------------------------------


def test_a_mole_of_gas_is_24_litres_at_20_degrees() -> None:
    """R T / p = 8.314462 * 293.15 / 101325 m3."""
    assert _millilitres(0.001) == pytest.approx(24.055, rel=0.01)
    assert _sulfurs("ammonium thiosulfate") == 2 and _sulfurs("ammonium sulfate") == 1


def test_ammonia_over_a_tank_is_its_activity_over_its_henry_constant() -> None:
    """About 60 mol/(kg atm) at 25 degC (value from memory): 1e-3 mol/kg stands with 17 ppm."""
    activity = np.log(np.array([[1e-3], [1e-3], [1e-3], [1e-2]]))

    def over(strength: float, index: dict[str, int]) -> tuple[float, float]:
        clear = SimpleNamespace(
            system=SimpleNamespace(index=index), ln_activity=activity,
            ionic_strength=np.full(4, strength),
        )  # fmt: skip
        return _ammonia_ppm(cast(Any, SimpleNamespace(clear=clear)))

    middle, upper = over(0.1, {"NH3": 0})
    assert middle == pytest.approx(17.0, rel=0.15) and upper == pytest.approx(10.0 * middle)
    assert over(0.1, {}) == (0.0, 0.0) == over(1e3, {"NH3": 0})


def test_acid_and_base_warm_a_tank_by_the_lesser_of_them() -> None:
    """1 mol of strong acid and base give 55.8 kJ (value from memory); a litre of water takes 4.18
    for a kelvin; besides what dilution gives."""

    def warmer(**percent: float) -> float:
        keys = {"nitric": "nitric acid", "lye": "potassium hydroxide", "salt": "potassium nitrate"}
        inside = SimpleNamespace(
            density_kg_per_L=np.ones(3),
            sources_percent={keys[k]: np.full(3, v) for k, v in percent.items()},
        )
        addition = SimpleNamespace(amount_per_L=lambda carrier: 100.0, by_mass=True)
        mix = SimpleNamespace(additions=[addition], carrier_L_per_m2=1.0)
        finished = SimpleNamespace(density_kg_per_L=np.ones(3))
        return _heat_kelvin(
            cast(Any, SimpleNamespace(mix=mix, contents=[inside], finished=finished))
        )

    both, acid, base = warmer(nitric=6.3, lye=5.61), warmer(nitric=6.3), warmer(lye=5.61)
    assert both - acid - base == pytest.approx(0.1 * 55.8 / 4.18, rel=0.03)
    more = warmer(nitric=12.6, lye=5.61)
    assert more - 2.0 * acid - base == pytest.approx(0.1 * 55.8 / 4.18, rel=0.03)
    assert warmer(salt=10.0) == 0.0
