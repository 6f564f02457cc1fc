"""Acids and bases in the forms in which they are sold, as products that a mix can take."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np

from chem.errors import InputProblem, Problem
from chem.files import is_file, rewritten
from chem.files.table import figure
from chem.forecast.hazards import is_acid
from chem.label import Product, Says, find_product, read_product
from chem.reference import catalogue, read_toml
from chem.tank.pouring import kind_of
from chem.units import read_percent

ONLY_LABELLED = "Use only a product labelled for spray or irrigation water"
LICENCE = "Follow the label and safety data sheet; a licence may be required."
NO_SALT = "undeclared sodium chloride"
_PERCENT = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:%|percent\b)", re.IGNORECASE)


@dataclass(frozen=True)
class DryForm:
    """A dry form: percent by mass of a source material."""

    name: str
    source: str
    percent: float
    aliases: tuple[str, ...]


@dataclass(frozen=True)
class Dissolved:
    """Solutions of a source: usual strengths [percent by mass] and density at 20 degC.

    density: rows of (percent, kg/L, citation key), rising in percent.
    """

    source: str
    usual: tuple[float, ...]
    density: tuple[tuple[float, float, str], ...]
    named: Mapping[str, float]

    @property
    def strongest(self) -> float:
        """The highest strength whose density is known [percent]."""
        return self.density[-1][0]

    def density_kg_per_L(self, percent: float) -> float:
        """Density at 20 degC, straight lines between the rows."""
        rows = self.density
        return float(np.interp(percent, [r[0] for r in rows], [r[1] for r in rows]))

    def cited(self, percent: float) -> str:
        """Citation key of the density: that of the less certain row used."""
        i = int(np.searchsorted([r[0] for r in self.density], percent))
        rows = self.density[max(i - 1, 0) : i + 1] if self.density[i][0] != percent else ()
        used = [r[2] for r in rows] or [self.density[i][2]]
        return next((k for k in ("memory", "perry", "crc") if k in used), used[0])


@dataclass(frozen=True)
class Agent:
    """An acid or base; named_only: never proposed, dosed only when a user names it."""

    key: str
    kind: str
    named_only: bool
    hazard_class: str
    care: tuple[str, ...]
    aliases: tuple[str, ...]
    prefers: str
    dry: tuple[DryForm, ...]
    solution: Dissolved | None


@dataclass(frozen=True)
class Reagent:
    """What is dosed: an agent in one form, or a product of the shelf.

    agent: None for a product; form: its own form in words; density_source: citation, if any;
    taken: what was assumed for want of a strength, if anything.
    """

    name: str
    agent: Agent | None
    form: str
    product: Product
    density_source: str | None = None
    taken: str | None = None

    @property
    def dry(self) -> bool:
        """Weighed rather than measured."""
        return self.product.dry

    @property
    def own_form(self) -> str:
        """The agent in its own form: `citric acid (dry, anhydrous)`, `75 % phosphoric acid`."""
        if self.agent is None:
            return self.name
        if self.form.endswith(" solution"):
            return f"{self.form.removesuffix(' solution')} {self.name}"
        return f"{self.name} ({self.form})"

    @property
    def acid(self) -> bool:
        """Whether it is an acid by what it is made of (a product: by sources and stated pH)."""
        return self.agent.kind == "acid" if self.agent is not None else is_acid(self.product)


@cache
def agents() -> Mapping[str, Agent]:
    """Read `agents.toml` once."""
    raw = {k: v for k, v in read_toml("agents.toml").items() if not k.startswith("_")}
    return MappingProxyType({key: _agent(key, entry) for key, entry in raw.items()})


@cache
def citations() -> Mapping[str, str]:
    """Citation key -> full citation of the densities."""
    return MappingProxyType(read_toml("agents.toml")["_citations"])


def mild(kind: str) -> tuple[str, ...]:
    """Keys of the agents of a kind that may be proposed unasked."""
    return tuple(a.key for a in agents().values() if a.kind == kind and not a.named_only)


def mild_reagents() -> tuple[Reagent, ...]:
    """Citric acid and potassium bicarbonate: what may be tried unasked."""
    return tuple(choose_agent(name) for name in ("citric acid", "potassium bicarbonate"))


def shelf_agents(products: Sequence[Product]) -> tuple[Reagent, ...]:
    """The acids and bases among products of a shelf: what is bought for its pH alone, and says what
    is in it."""
    return tuple(
        Reagent(p.name, None, "as sold", p)
        for p in products
        if kind_of(p) == "agent" and p.has_composition
    )


def choose_agent(name: str, strength: str | None = None, beside: Path | None = None) -> Reagent:
    """An agent by name, in the strength asked for; a name ending in `.toml` is a product file.

    beside: folder to look for a product file in.

    Raises:
        InputProblem: pool, battery or cleaning acid; an unknown name, form or strength.
    """
    plain = " ".join(name.lower().split())
    refused = [w for w in read_toml("agents.toml")["_refused"]["words"] if _word(w, plain)]
    if refused:
        raise InputProblem(
            Problem(
                f"--with {name!r}",
                "sold for pools, batteries, drains or cleaning, with inhibitors, dyes, metals or "
                "bleach in it: never for a spray tank",
                ONLY_LABELLED,
            )
        )
    if plain.endswith(".toml"):
        return _shelf_product(name, strength, beside)
    percent = _PERCENT.search(plain)
    if percent is not None:
        strength = strength or f"{percent[1]} %"
        plain = " ".join((plain[: percent.start()] + plain[percent.end() :]).strip(" ,()").split())
    for agent in agents().values():
        if plain == agent.key or plain in agent.aliases:
            return _in_form(agent, strength)
        named = [f for f in agent.dry if plain in f.aliases and agent.key in plain]
        if named:
            return _in_form(agent, strength or named[0].aliases[0])
        if agent.solution is not None and plain in agent.solution.named:
            return _in_form(agent, strength or f"{agent.solution.named[plain]:g} %")
    raise InputProblem(
        Problem(
            f"--with {name!r}",
            "no acid or base of that name is known here",
            ", ".join(f"`{a}`" for a in (*mild("acid"), *mild("base")))
            + "; a strong one by its full chemical name; or the file of a product on your shelf, "
            "such as `ph-buffer.toml`",
        )
    )


def product_file(reagent: Reagent) -> str:
    """The product file of an agent, as TOML, for a mix file to take."""
    product = reagent.product
    raw: dict[str, Any] = {"name": product.name, "form": product.form}
    if product.density is not None:
        raw["density"] = f"{product.density[0]:.4f} kg/L"
    raw["sources"] = [source.key for source in product.sources]
    raw["known"] = {key: figure(f"{value:g}") for key, value in product.known.items()}
    return rewritten(raw)


def _agent(key: str, entry: dict[str, Any]) -> Agent:
    solution = None
    if "solution" in entry:
        held = entry["solution"]
        solution = Dissolved(
            held["source"],
            tuple(float(p) for p in held["usual"]),
            tuple((float(p), float(d), str(c)) for p, d, c in held["density"]),
            MappingProxyType({k: float(p) for k, p in held.get("as_solution", {}).items()}),
        )
    return Agent(
        key,
        entry["kind"],
        bool(entry["named_only"]),
        entry["class"],
        tuple(entry["care"]),
        tuple(entry["aliases"]),
        entry["prefers"],
        tuple(
            DryForm(f["name"], f["source"], float(f["percent"]), tuple(f["aliases"]))
            for f in entry.get("dry", ())
        ),
        solution,
    )


def _word(word: str, text: str) -> bool:
    return re.search(rf"\b{re.escape(word)}", text) is not None


def _in_form(agent: Agent, strength: str | None) -> Reagent:
    if strength is None:
        if agent.prefers == "dry":
            return _dry(agent, agent.dry[0])
        assert agent.solution is not None
        percent = agent.solution.usual[0]
        others = " or ".join(f"{p:g} %" for p in agent.solution.usual[1:])
        return replace(
            _solution(agent, agent.solution, percent),
            taken=f"Strength not given: {percent:g} % by weight taken. "
            f'The jug says otherwise? Add `--strength "..."` ({others}).',
        )
    words = " ".join(strength.lower().split())
    for form in agent.dry:
        if words == form.name or words in form.aliases:
            return _dry(agent, form)
    percent = read_percent(strength, "--strength").value
    for form in agent.dry:
        if percent == form.percent:
            return _dry(agent, form)
    if agent.solution is not None and 0.0 < percent <= agent.solution.strongest:
        return _solution(agent, agent.solution, percent)
    forms = [f"`{f.name}`" for f in agent.dry]
    if agent.solution is not None:
        forms.append(f"a solution up to `{agent.solution.strongest:g} %` by weight")
    raise InputProblem(
        Problem(
            f"--strength {strength!r}",
            f"{agent.key} is not sold or can't be reckoned in that form",
            ", or ".join(forms),
        )
    )


def _dry(agent: Agent, form: DryForm) -> Reagent:
    product = _product(agent, form.source, form.percent, None, f"{agent.key}, {form.name}")
    return Reagent(agent.key, agent, form.name, product)


def _solution(agent: Agent, held: Dissolved, percent: float) -> Reagent:
    density = held.density_kg_per_L(percent)
    form = f"{percent:g} % solution"
    product = _product(agent, held.source, percent, density, f"{agent.key}, {form}")
    return Reagent(agent.key, agent, form, product, citations()[held.cited(percent)])


def _product(
    agent: Agent, source: str, percent: float, density: float | None, name: str
) -> Product:
    """A jug of nothing but the agent and water, its strength known."""
    known = {source: percent}
    if density is not None:
        known[NO_SALT] = 0.0
    key = agent.key.replace(" ", "-")
    return Product(
        key=key,
        file=f"{key}.toml",
        name=name[0].upper() + name[1:],
        form="dry" if density is None else "solution",
        density=None if density is None else (density, density),
        ph=None,
        ph_at="neat",
        sources=(catalogue().sources[source],),
        guarantee={},
        chelated={},
        also={},
        known=known,
        says=Says(),
        usual_rate=None,
        rate_range=None,
        price=None,
    )


def _shelf_product(name: str, strength: str | None, beside: Path | None) -> Reagent:
    path = Path(name)
    product = read_product(path) if is_file(path) else find_product(name, beside)
    if strength is not None:
        raise InputProblem(
            Problem(
                f"--strength {strength!r}",
                f"{name} is a product: its label says what is in it",
                "no `--strength` beside a product file",
            )
        )
    if not product.has_composition:
        raise InputProblem(
            Problem(
                f"--with {name!r}",
                "its label doesn't say what is in it, so no dose can be reckoned",
                "a product whose file names its sources and guarantee",
            )
        )
    return Reagent(product.name, None, "as sold", product)
