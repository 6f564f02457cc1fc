"""A printed number walked back: activity, species, totals, contents, label line, constant, source.

The numbers are those of the middle of every doubt (one draw at the median of each).
"""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from chem.equilibrium import LN10, Equilibrium, build_phases, one_thread
from chem.errors import InputProblem, Problem
from chem.forecast import Prepared, Study
from chem.label import Contents
from chem.reference import Constant, catalogue, molar_mass_g_per_mol, tables
from chem.tank import Addition, Mix
from chem.units import format_carrier, format_rate

SHARE_SHOWN = 0.01


@dataclass(frozen=True)
class Step:
    """One line of the walk: what it is, value, unit, the citation behind it, what it is of."""

    text: str
    value: float | None = None
    unit: str = ""
    source: str = ""
    parts: tuple[Step, ...] = field(default=())


@dataclass(frozen=True)
class Trace:
    """The walk of one number of one mix."""

    mix: str
    what: str
    step: Step
    notes: tuple[str, ...]


@one_thread()
def trace(mix: Mix, what: str) -> Trace:
    """Walk `ph`, `si:KEY`, `total:COMPONENT` or `species:KEY` back to constants and label lines.

    Raises: InputProblem for something that this mix doesn't have, with near names.
    """
    walk = _Walk(Study(1, 1).stand(mix))
    kind, _, key = what.strip().partition(":")
    if kind.lower() == "ph" and not key:
        step = walk.ph()
    elif kind == "si":
        step = walk.saturation(_known(key, walk.solids(), "solid", what))
    elif kind == "total":
        step = walk.total(_known(key, list(walk.ready.finished.components), "component", what))
    elif kind == "species":
        step = walk.activity(_known(key, list(walk.state.system.species), "species", what))
    else:
        raise InputProblem(
            Problem(
                f"`{what}`",
                "no such number to trace",
                "`ph`, `si:gypsum`, `total:PO4` or `species:Ca+2`",
            )
        )
    return Trace(
        mix.name,
        what,
        step,
        ("Numbers at the middle of every doubt; the forecast shows their range.",),
    )


def _known(key: str, known: Sequence[str], kind: str, what: str) -> str:
    for name in known:
        if name.lower() == key.lower():
            return name
    near = difflib.get_close_matches(key, known, n=3, cutoff=0.4)
    offer = ", ".join(f"`{what.partition(':')[0]}:{n}`" for n in near or list(known)[:6])
    raise InputProblem(Problem(f"`{what}`", f"this mix holds no {kind} of that name", offer))


def cited(key: str, where: str = "", kind: str = "") -> str:
    """A source key as its full citation, with place and kind of value."""
    text = tables().references.get(key, key)
    extras = [e for e in (where, kind) if e]
    return f"{text} ({'; '.join(extras)})" if extras else text


class _Walk:
    """Looks up the pieces of one prepared tank."""

    def __init__(self, ready: Prepared) -> None:
        self.ready = ready
        self.t = ready.mix.t_celsius
        self.tank = ready.at(0.0)
        self.state: Equilibrium = self.tank.clear
        if not bool(self.state.converged[0]):
            raise InputProblem(
                Problem(
                    f"`{ready.mix.file}`", "no equilibrium was found", "a less concentrated mix"
                )
            )
        self.molality = self.state.molality[0]
        self.log_gamma = (self.state.ln_activity[0] - self.state.ln_molality[0]) / LN10

    def solids(self) -> list[str]:
        return list(self.tank.phases.keys)

    def constant(self, constant: Constant, name: str) -> Step:
        """A constant at the tank's temperature."""
        value = constant.at(self.t)
        detail = (
            f"log K at 25 C {constant.log_k:g} +- {constant.u:g}, enthalpy {constant.delta_h:g} "
            f"kJ/mol, heat capacity {constant.delta_cp:g} J/mol/K, good for {constant.t_min:g} to "
            f"{constant.t_max:g} C"
        )
        if constant.note:
            detail += f"; {constant.note}"
        return Step(
            f"log K of {name} at {self.t:.1f} C",
            value,
            "",
            cited(constant.source, constant.where, constant.kind),
            (Step(detail),),
        )

    def saturation(self, key: str) -> Step:
        """SI = log10(IAP) - log10(Ksp)."""
        solid = tables().solids[key]
        phases = build_phases(self.state.system, [key])
        si = float(self.state.saturation_index(phases)[0, 0])
        parts = []
        log_iap = 0.0
        for name, count in solid.reaction.items():
            if name == "H2O":
                log_a = float(self.state.ln_water_activity[0]) / LN10
                parts.append(Step(f"{count:+g} log10 a(water)", log_a))
            else:
                log_a = float(self.state.ln_activity[0, self.state.system.index[name]]) / LN10
                inner = self.activity(name)
                parts.append(Step(f"{count:+g} log10 a({name})", log_a, "", "", (inner,)))
            log_iap += count * log_a
        product = Step("log10 of the ion activity product", log_iap, "", "", tuple(parts))
        return Step(
            f"saturation index of {solid.name}, {solid.formula}",
            si,
            "",
            "",
            (product, self.constant(solid.constant, f"{key} (dissolving)")),
        )

    def activity(self, name: str, *, deep: bool = True) -> Step:
        """Activity = molality x activity coefficient, each with what it rests on."""
        system = self.state.system
        i = system.index[name]
        value = float(np.exp(self.state.ln_activity[0, i]))
        parts = [self.gamma(name)]
        molality = float(self.molality[i])
        constant = system.constants[i]
        if constant is not None:
            parts.append(self.constant(constant, f"{name} (forming)"))
        owners = [c for c, row in zip(system.components, system.nu, strict=False) if row[i] > 0.0]
        if deep:
            parts += [self.shares(c) for c in owners]
        text = f"activity of {name} = {molality:.4g} mol/kg x {10 ** self.log_gamma[i]:.4f}"
        return Step(text, value, "", "", tuple(parts))

    def gamma(self, name: str) -> Step:
        """log10 gamma: Debye-Hueckel and the largest interactions."""
        system = self.state.system
        i = system.index[name]
        z = float(system.charge[i])
        ionic = float(self.state.ionic_strength[0])
        a = system.debye_hueckel(self.t)
        root = ionic**0.5
        electric = -(z**2) * a * root / (1.0 + system.ba * root)
        eps = system.eps_at(self.t, ionic)[i]
        terms = eps * self.molality
        parts = [
            Step(
                f"Debye-Hueckel term, z = {z:+g}, I = {ionic:.4f} mol/kg, A = {a:.4f}",
                electric,
                "",
                cited(tables().physical["sit_Ba"].source),
            )
        ]
        guessed = system.estimated.sum(axis=0)[i]
        for j in np.argsort(-np.abs(terms))[:5]:
            if abs(terms[j]) < 5e-4:
                break
            other = system.species[j]
            row = tables().interactions.get(frozenset((name.rstrip("*"), other.rstrip("*"))))
            source = (
                cited(row.source, row.where, row.kind)
                if row
                else "charge rule of interaction_rules.csv, estimate"
            )
            mark = " (estimate)" if guessed[j] else ""
            parts.append(
                Step(
                    f"eps({name}, {other}) {eps[j]:+.3f} kg/mol{mark} "
                    f"x {self.molality[j]:.4g} mol/kg",
                    float(terms[j]),
                    "",
                    source,
                )
            )
        return Step(
            f"log10 activity coefficient of {name}", float(self.log_gamma[i]), "", "", tuple(parts)
        )

    def shares(self, component: str) -> Step:
        """Where a component's total stands: its largest species, then where it comes from."""
        system = self.state.system
        row = system.nu[system.components.index(component)]
        held = row * self.molality
        total = float(held.sum())
        parts = []
        for i in np.argsort(-held):
            if held[i] < SHARE_SHOWN * total:
                break
            parts.append(
                Step(
                    f"{system.species[i]}: {100 * held[i] / total:.1f} %", float(held[i]), "mol/kg"
                )
            )
        if component in self.ready.finished.components:
            parts.append(self.total(component))
        return Step(f"{component}, all its forms", total, "mol/kg water", "", tuple(parts))

    def total(self, component: str) -> Step:
        """A total: from which jug and from the water, down to label lines."""
        finished = self.ready.finished
        j = finished.components.index(component)
        per_L = float(finished.totals_mol_per_L[0, j])
        parts = []
        for k, (addition, inside) in enumerate(
            zip(self.ready.mix.additions, self.ready.contents, strict=True)
        ):
            part = float(finished.from_product[k, 0, j])
            if part > 0.0:
                parts.append(self.product(addition, inside, component, part))
        water = float(finished.from_water[0, j])
        if water > 0.0:
            report = self.ready.water.water
            stated = report.ions.get(component)
            text = f"from {report.name}"
            text += f": reported {stated.value:.4g} mmol/L" if stated else ": not reported as such"
            if component == "CO3":
                text += ", from its alkalinity and pH"
            parts.append(Step(text, 1000.0 * water, "mmol/L"))
        return Step(
            f"total {component} in the finished solution",
            1000.0 * per_L,
            "mmol/L",
            "",
            tuple(parts),
        )

    def product(
        self, addition: Addition, inside: Contents, component: str, mol_per_L: float
    ) -> Step:
        """One jug's share: rate, density, sources and the label lines that set them."""
        product = addition.product
        mol = float(inside.of(component)[0])
        parts = [
            Step(
                f"rate {format_rate(addition.rate)} into "
                f"{format_carrier(self.ready.mix.carrier_L_per_m2)}, as written in the mix"
            )
        ]
        if not product.dry:
            density = float(inside.density_kg_per_L[0])
            parts.append(Step(f"density {density:.3f} kg/L, from {product.file}"))
        known = catalogue()
        for key, percent in inside.sources_percent.items():
            source = known.sources[key]
            if component not in source.components or percent[0] <= 0.0:
                continue
            parts.append(
                Step(
                    f"{percent[0]:.3g} % {key}, {source.formula}, "
                    f"{molar_mass_g_per_mol(source.formula):.2f} g/mol, holds "
                    f"{source.components[component]:g} {component}",
                    10.0
                    * float(percent[0])
                    * source.components[component]
                    / molar_mass_g_per_mol(source.formula),
                    "mol/kg product",
                    source.source,
                    tuple(
                        Step(f"label line: {line} {product.guarantee[line]:g} %, {product.file}")
                        for line in product.guarantee
                        if set(known.guarantees[line].counts) & set(source.components)
                    ),
                )
            )
        closing = float(inside.closing_eq_per_kg[0])
        if component in {"Na", "Cl"} and closing:
            parts.append(
                Step(
                    "closing base" if closing > 0 else "closing acid, to meet the stated pH",
                    abs(closing),
                    "eq/kg product",
                )
            )
        return Step(
            f"from {product.name}: {mol:.4g} mol/kg product",
            1000.0 * mol_per_L,
            "mmol/L",
            "",
            tuple(parts),
        )

    def ph(self) -> Step:
        """pH: the proton's activity, the charge balance that sets it, and who buffers."""
        system = self.state.system
        finished = self.ready.finished
        charges = []
        for j, component in enumerate(finished.components):
            z = tables().components[component].charge
            amount = float(finished.totals[0, j]) * z
            if z and abs(amount) > 1e-5:
                charges.append(Step(f"{component}, charge {z:+d}", amount, "eq/kg water"))
        charges.sort(key=lambda s: -abs(s.value or 0.0))
        need = float(-sum(c.value or 0.0 for c in charges))
        balance = Step(
            "H+ that electroneutrality asks for over the totals as listed",
            need,
            "mol/kg water",
            "",
            tuple(charges[:10]),
        )
        takers = system.nu[-1] * self.molality
        holders = [
            Step(system.species[i], float(takers[i]), "mol/kg water of H+")
            for i in np.argsort(-np.abs(takers))[:8]
            if abs(takers[i]) > 1e-8
        ]
        buffers = []
        for i in np.argsort(-np.abs(takers))[:4]:
            constant = system.constants[i]
            if constant is not None and abs(takers[i]) > 1e-6:
                buffers.append(self.constant(constant, f"{system.species[i]} (forming)"))
        return Step(
            "pH = -log10 a(H+)",
            float(self.state.ph[0]),
            "",
            "",
            (
                self.activity("H+", deep=False),
                balance,
                Step("where that H+ is held", None, "", "", tuple(holders)),
                Step("constants that hold most of it", None, "", "", tuple(buffers)),
            ),
        )
