"""Where each ion comes from, who holds it, who moves the pH: facts of one tank."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from chem.doubts import median
from chem.equilibrium.activity import Floats
from chem.forecast import Prepared, State, Study, Variant
from chem.forecast.clouding import Bools
from chem.forecast.crystals import soluble_salts
from chem.reference import tables
from chem.reference.colloids import colloids

WATER = "water"
DRIVES_PH = 0.3
IRON = frozenset({"Fe2", "Fe3"})
"""Called by one name, so shares taken of it are of both."""


def origins(
    ready: Prepared, component: str, t_s: float = 0.0, where: Bools | None = None
) -> dict[str, float]:
    """Product name or `water` -> share of a component, medians made to add up to 1.

    Iron that the air has turned by t [s] is counted where its ferrous iron comes from. Where most
    versions of the tank hold none any more, shares are of all that was poured of it. where: (N,)
    versions that it is asked of, such as those in which a solid shows; none or all False for all.
    """
    finished = ready.finished
    names = [a.product.name for a in ready.mix.additions]
    groups = [finished.from_product, finished.from_water[None]]
    last = [WATER]
    if finished.from_leftover is not None:
        groups.append(finished.from_leftover)
        last += [left.mix.name for left in ready.mix.leftovers if left.share > 0.0]
    rows = np.arange(ready.draws.count)
    if where is not None and where.any():
        rows = np.flatnonzero(where)
    parts = np.concatenate(groups)[:, rows]

    def of(key: str) -> Floats:
        if key not in finished.components:
            return np.zeros(parts.shape[:2])
        return np.asarray(parts[:, :, finished.components.index(key)])

    amounts = of(component)
    if component in IRON and "Fe2" in finished.components:
        ferrous = finished.totals[rows, finished.components.index("Fe2")]
        turned = ready.aged.oxidised(t_s)[rows] / np.maximum(ferrous, 1e-30)
        amounts = amounts + (turned if component == "Fe3" else -turned) * of("Fe2")
    total = np.maximum(amounts.sum(axis=0), 1e-300)
    shares: dict[str, float] = {}
    for name, amount in zip([*names, *last], amounts, strict=True):
        shares[name] = shares.get(name, 0.0) + median(amount / total)
    if not any(shares.values()):
        poured = of(component) if component not in IRON else of("Fe2") + of("Fe3")
        shares = dict.fromkeys(shares, 0.0)
        for name, amount in zip([*names, *last], poured, strict=True):
            shares[name] += float(amount.mean())
    whole = sum(shares.values())
    return {name: share / whole for name, share in shares.items() if share > 0.0}


def chief(shares: Mapping[str, float]) -> tuple[str, float] | None:
    """The jug, or `water`, that brings the most, and its share."""
    best = max(shares, key=lambda name: shares[name], default=None)
    return None if best is None else (best, shares[best])


def components_of_part(key: str) -> list[str]:
    """Components of a solid, a very soluble salt or a colloid."""
    if key in colloids():
        return [colloids()[key].component]
    solids = tables().solids
    reaction = solids[key].reaction if key in solids else soluble_salts()[key].reaction
    masters = {c.master: k for k, c in tables().components.items()}
    return [masters[m] for m in reaction if m in masters]


def holders(state: State, component: str, count: int) -> tuple[Floats, Floats, dict[str, Floats]]:
    """A component's total (N,) [mol/kg water], its free share, and the share each partner holds.

    A form with more than one partner counts for the first; chelates that don't exchange count for
    their agent.
    """
    system, molality = state.clear.system, state.clear.molality
    row = system.components.index(component)
    master = tables().components[component].master
    amounts: dict[str, Floats] = {}
    free = np.zeros(count)
    for k in map(int, np.flatnonzero(system.nu[row] > 0.0)):
        held = system.nu[row, k] * molality[:, k]
        if system.species[k] == master:
            free = free + held
            continue
        by = _partner(system.nu[:, k], system.components, row)
        amounts[by] = amounts.get(by, np.zeros(count)) + held
    for k, key in enumerate(system.components):
        metal, _, agent = key.partition(":")
        if agent and component in (metal, agent):
            by = agent if component == metal else metal
            here = system.nu[k] @ molality.T
            amounts[by] = amounts.get(by, np.zeros(count)) + here
    total = free + sum(amounts.values(), np.zeros(count))
    safe = np.maximum(total, 1e-300)
    return total, free / safe, {by: part / safe for by, part in amounts.items()}


def _partner(column: Floats, components: Sequence[str], row: int) -> str:
    """Who else is in a species: a component, else `H+` or `OH-`, else more of its own kind."""
    others = [int(i) for i in np.flatnonzero(column[:-1] > 0.0) if i != row]
    if others:
        return components[others[0]].partition(":")[0]
    if column[-1]:
        return "H+" if column[-1] > 0.0 else "OH-"
    return components[row]


def ph_driver(ready: Prepared, towards: float, study: Study) -> tuple[str, float] | None:
    """The product that moves the pH most in one direction (sign of `towards`).

    With it, the pH that the tank would have without it, at the middle of every doubt.
    """
    mix = ready.mix
    if len(mix.additions) < 2:
        return None
    middle = study.middle()
    with_all = float(middle.fresh(mix).ph[0])
    found = []
    for i, addition in enumerate(mix.additions):
        rest = tuple(j for j in range(len(mix.additions)) if j != i)
        ph = float(middle.fresh(Variant(mix, rest)).ph[0])
        found.append((np.sign(towards) * (with_all - ph), addition.product.name, ph))
    found = [f for f in found if np.isfinite(f[0])]
    most = max(found, default=(0.0, "", 0.0))
    return (most[1], most[2]) if most[0] > DRIVES_PH else None
