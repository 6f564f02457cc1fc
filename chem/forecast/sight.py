"""How well versions of a tank fit what was seen: one likelihood for `diagnose` and `saw`.

A version counts by whether as much has come out by then as an eye sees, whether such solids look
so, and whether a strip would read so in what stands over them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chem.doubts import chance
from chem.equilibrium.activity import Floats
from chem.forecast.course import Followed
from chem.forecast.out import Out, Part, show_limit
from chem.forecast.state import State
from chem.forecast.times import TIMES_S
from chem.reference import judged, tables
from chem.reference.colloids import colloids

Bools = NDArray[np.bool_]
_SAID = judged("sight")
PH_SD, PH_ASTRAY, DISAGREES = _SAID["ph_sd"], _SAID["ph_astray"], _SAID["disagrees"]
SLIGHT_G_PER_L, SAME_TIME = _SAID["slight"], _SAID["same_time"]
OF_SOLIDS = {"haze", "flakes", "grit", "gel", "colour", "layers"}
LOOKS = {k: judged(f"look_{k}") for k in ("slight", "powder", "grains", "floc", "gel")}
"""How often each kind is called so."""
GELLING = {"alginate", "Si", "B"}
"""Components of colloids that gel; the others fall as flocs."""
GRAINS = {"gypsum", "struvite", "generic_slow", "calcium_citrate", "magnesium_phosphate"}
TINTING = ("Fe", "Cu")
TINTED, UNTINTED, TINT_SHARE = _SAID["tinted"], _SAID["untinted"], _SAID["tint_share"]


@dataclass(frozen=True)
class Sight:
    """Versions of a tank beside what was seen of it.

    found: the tank followed; parts: K things that may be out; amounts: (N, K) [g/L] by then; most:
    (N, K) 1 where it has the most mass; fits: (N,) how likely each version makes what was seen;
    shows: (N,) whether anything does; solids: whether what was seen tells of any.
    """

    found: Followed
    parts: tuple[Part, ...]
    amounts: Floats
    most: Floats
    fits: Floats
    shows: Bools
    solids: bool

    @property
    def weights(self) -> Floats:
        """(N,) versions by how well they fit, their sum 1."""
        return np.asarray(self.fits / max(float(self.fits.sum()), 1e-300))

    @property
    def effective(self) -> float:
        """How many equal draws these weights are worth (Kish, Survey Sampling (1965))."""
        weights = self.weights
        return float(1.0 / max(float(weights @ weights), 1e-300))

    @property
    def expected(self) -> float:
        """Chance by the forecast alone that solids show by then, as they did, or don't."""
        return chance(self.shows == self.solids, self.found.ok)


def sight(found: Followed, seen: Sequence[str], t_s: float, ph: float | None = None) -> Sight:
    """Hold what was seen of a tank at t [s] after the last pour, and a strip's pH, to its draws."""
    state = state_at(found, t_s)
    out = found.out_by(t_s, state)
    amounts = out.each
    total = amounts.sum(axis=1)
    limit = show_limit()
    most = _most(found, state, out)
    fits = np.where(found.ok & state.ok, 1.0, 0.0)
    if OF_SOLIDS & set(seen):
        fits = fits * np.maximum(_seen_chance(total, limit), DISAGREES)
        fits = fits * _look(found.parts, amounts, most, seen)
    elif "clear" in seen:
        fits = fits * np.maximum(1.0 - _seen_chance(total, limit), DISAGREES)
    if ph is not None:
        fits = fits * _strip(state, total, ph)
    solids = bool(OF_SOLIDS & set(seen))
    return Sight(found, found.parts, amounts, most, fits, total > limit, solids)


def state_at(found: Followed, t_s: float) -> State:
    """The tank as it is at a time [s], followed there if it changes by then."""
    same = next((n for n, s in TIMES_S.items() if s / SAME_TIME <= t_s <= s * SAME_TIME), None)
    if not found.tank.aged.changes and found.driven is None:
        return found.fresh
    if same is not None or t_s > TIMES_S["24h"]:
        return found.states[same or "24h"]
    return found.tank.at(t_s, driven=None if found.driven is None else found.driven.by(t_s))


def _most(found: Followed, state: State, out: Out) -> Floats:
    """(N, K) 1 for what has the most mass by then; if nothing is out, what will have, or may."""
    now = out.each
    if not now.shape[1]:
        return now
    none = np.zeros((len(now), 0))
    later = np.hstack(
        [
            np.nan_to_num(state.settled),
            np.nan_to_num(state.cold.amount_g_per_L),
            none,
            *(c.amount_g_per_L[:, None] for c in found.colloids),
        ]
    )
    rank = now + 1e-6 * later
    # Where nothing should show at all, the salt nearest its limit stands in.
    near = np.full(now.shape, -50.0)
    salts = len(state.phases.keys)
    near[:, :salts] = np.nan_to_num(state.si, nan=-50.0) / state.phases.ions
    may = np.array([p.kind == "salt" and p.decides for p in found.parts])
    rank = np.where((rank.sum(axis=1) <= 0.0)[:, None], np.where(may, near, -50.0), rank)
    picked = np.zeros_like(rank)
    picked[np.arange(len(rank)), rank.argmax(axis=1)] = 1.0
    return picked


def _seen_chance(total: Floats, limit: float) -> Floats:
    """(N,) chance that an eye sees so much [g/L]: a half at the limit, nine in ten at thrice it."""
    square = total**2
    return np.asarray(square / (square + limit**2))


def _strip(state: State, total: Floats, ph: float) -> Floats:
    """(N,) how well a strip fits the pH of what stands over the solids out so far."""
    settled = np.nan_to_num(state.settled).sum(axis=1)
    share = np.clip(total / np.maximum(settled, 1e-12), 0.0, 1.0)
    then = state.clear.ph + share * (state.ph_settled - state.clear.ph)
    off = (np.nan_to_num(then, nan=-9.0) - ph) / PH_SD
    return np.asarray(PH_ASTRAY + (1.0 - PH_ASTRAY) * np.exp(-0.5 * off**2))


def _look(parts: Sequence[Part], out: Floats, most: Floats, seen: Sequence[str]) -> Floats:
    """(N,) how often what is out is called by the words seen, each part by its mass."""
    if not parts:
        return np.ones(len(out))
    total = out.sum(axis=1)
    share = np.where((total > 0.0)[:, None], out / np.maximum(total, 1e-300)[:, None], most)
    words = [w for w in seen if w in LOOKS["slight"]]
    fits = np.ones(len(out))
    if words:
        kinds = np.array([np.mean([LOOKS[kind_of(p)][w] for w in words]) for p in parts])
        slight = float(np.mean([LOOKS["slight"][w] for w in words]))
        fits = np.where(total < SLIGHT_G_PER_L, slight, share @ kinds)
    tinting = np.array([_tints(p) for p in parts], dtype=float)
    tinted = np.minimum(share @ tinting / TINT_SHARE, 1.0)
    told = UNTINTED + (TINTED - UNTINTED) * tinted
    return np.asarray(fits * (told if "colour" in seen else 1.0 - told))


def kind_of(part: Part) -> str:
    """How a solid or colloid looks, a word of LOOKS."""
    if part.kind == "colloid":
        return "gel" if colloids()[part.key].component in GELLING else "floc"
    if part.kind == "crystals":
        return "grains"
    solid = tables().solids[part.key]
    if "Si(OH)4" in solid.reaction:
        return "gel"
    if solid.curve in {"amorphous", "ferric_hydroxide"}:
        return "floc"
    return "grains" if solid.curve in GRAINS else "powder"


def _tints(part: Part) -> bool:
    solid = tables().solids.get(part.key)
    return solid is not None and any(metal in solid.formula for metal in TINTING)
