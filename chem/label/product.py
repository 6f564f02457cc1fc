"""A product file: what is printed on the jug, read into numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from chem.errors import InputProblem, Problem
from chem.label.price import Price, read_price
from chem.label.reading import Collector, FormModel, Name, find_file, load_toml, validate
from chem.reference import Guarantee, Source, catalogue
from chem.units import (
    Number,
    Rate,
    read_carrier,
    read_density_range,
    read_mass,
    read_percent,
    read_ph,
    read_rate,
    read_rate_range,
    read_specific_gravity,
    read_volume,
)

FormName = Literal["solution", "suspension", "emulsion", "pesticide", "dry"]
NOT_JUDGED = {"suspension", "emulsion", "pesticide"}
DENSITY_WAYS = (
    "the label's net weight with its net volume (`net_weight`, `net_volume`); or weigh 500 mL in "
    'a container never used for food; or `density = "unknown"`'
)
UNDECLARED_SALT = "undeclared sodium chloride"
NITROGEN_FORMS = (
    "nitrate nitrogen",
    "ammoniacal nitrogen",
    "urea nitrogen",
    "other water soluble nitrogen",
    "water insoluble nitrogen",
)


class ChelatedForm(FormModel):
    """`[chelated]`: percent of the product that is metal held by an agent."""

    percent: str
    agent: str | None = None


class SaysForm(FormModel):
    """`[says]`: the label's own rules."""

    pour: Literal["first", "last"] | None = None
    never_with: tuple[str, ...] = ()
    carrier_at_least: str | None = None
    carrier_at_most: str | None = None


class UnreadForm(FormModel):
    """`unread`: a line of the label that its reader could not use, and what it speaks of."""

    line: str
    text: str
    kind: Literal["composition", "rule", "rate", "reading", "other"]


class ProductForm(FormModel):
    """A product file as written."""

    name: Name
    density: str | None = None
    specific_gravity: str | None = None
    net_weight: str | None = None
    net_volume: str | None = None
    ph: str | None = None
    ph_at: Literal["neat", "1 %", "10 %"] = "neat"
    sources: tuple[str, ...] = ()
    form: FormName = "solution"
    basis: Literal["w/w", "w/v"] = "w/w"
    usual_rate: str | None = None
    rate_range: str | None = None
    price: str | None = None
    care: tuple[str, ...] = ()
    lot: str | None = None
    unread: tuple[UnreadForm, ...] = ()
    guarantee: Mapping[str, str] = {}
    chelated: Mapping[str, str | ChelatedForm] = {}
    also: Mapping[str, str] = {}
    says: SaysForm = SaysForm()
    known: Mapping[str, str] = {}


@dataclass(frozen=True)
class Chelated:
    """A metal declared chelated: percent by mass and the agent if stated."""

    percent: float
    agent: str | None


@dataclass(frozen=True)
class Says:
    """The label's own rules; carrier limits in [L/m2]."""

    pour: str | None = None
    never_with: tuple[str, ...] = ()
    carrier_at_least: float | None = None
    carrier_at_most: float | None = None


@dataclass(frozen=True)
class Product:
    """A product, in numbers.

    density: (low, high) [kg/L], None where unknown or dry; ph: as read at `ph_at`;
    guarantee, also, known: percent by mass; known: what the maker answered or was measured, by
    guarantee line, source or `undeclared sodium chloride`, besides pH and density.
    """

    key: str
    file: str
    name: str
    form: str
    density: tuple[float, float] | None
    ph: Number | None
    ph_at: str
    sources: tuple[Source, ...]
    guarantee: Mapping[str, float]
    chelated: Mapping[str, Chelated]
    also: Mapping[str, float]
    known: Mapping[str, float]
    says: Says
    usual_rate: Rate | None
    rate_range: tuple[Rate, Rate] | None
    price: Price | None
    care: tuple[str, ...] = ()
    lot: str | None = None
    unread: tuple[UnreadForm, ...] = ()

    @property
    def dry(self) -> bool:
        """Sold dry, measured by weight."""
        return self.form == "dry"

    @property
    def has_composition(self) -> bool:
        """Whether the label says what is in it."""
        return bool(self.sources or self.also or self.guarantee)

    @property
    def judged(self) -> bool:
        """Whether the salts are the whole story."""
        return self.has_composition and self.form not in NOT_JUDGED


def product_schema() -> dict[str, Any]:
    """JSON Schema of a product file."""
    return ProductForm.model_json_schema()


def read_product(path: Path | str, key: str | None = None) -> Product:
    """Read and check a product file.

    Raises: InputProblem with every problem of the file.
    """
    path = Path(path)
    file = path.name
    form = validate(ProductForm, load_toml(path, "product"), file)
    found = Collector(file)
    sources = _sources(form, found)
    guarantee = _guarantee(form, found)
    also = _also(form, found)
    chelated = _chelated(form, found)
    density = _density(form, found)
    if form.basis == "w/v" and density is not None:
        middle = 0.5 * (density[0] + density[1])
        guarantee = {k: v / middle for k, v in guarantee.items()}
        also = {k: v / middle for k, v in also.items()}
        chelated = {k: Chelated(c.percent / middle, c.agent) for k, c in chelated.items()}
    elif form.basis == "w/v":
        found.add("basis", form.basis, "percent by volume needs a density", DENSITY_WAYS)
    known = _known(form, found)
    ph_text = form.known.get("ph") or form.ph
    ph = found.attempt(read_ph, ph_text, "ph") if ph_text else None
    _supplied(sources, guarantee, also, found)
    dry = form.form == "dry"
    rate = form.usual_rate
    usual = found.attempt(read_rate, rate, "usual_rate", dry=dry) if rate else None
    limits = form.rate_range
    span = found.attempt(read_rate_range, limits, "rate_range", dry=dry) if limits else None
    found_price = found.attempt(read_price, form.price, "price") if form.price else None
    says = Says(
        form.says.pour,
        form.says.never_with,
        *(
            found.attempt(read_carrier, text, f"says.{name}") if text else None
            for name, text in (
                ("carrier_at_least", form.says.carrier_at_least),
                ("carrier_at_most", form.says.carrier_at_most),
            )
        ),
    )
    least, most = says.carrier_at_least, says.carrier_at_most
    if least is not None and most is not None and least > most:
        found.add(
            "says.carrier_at_most",
            form.says.carrier_at_most,
            f"less than carrier_at_least = {form.says.carrier_at_least!r}",
            "the smaller spray volume under carrier_at_least",
        )
    found.done()
    return Product(
        key=key or path.stem,
        file=file,
        name=form.name,
        form=form.form,
        density=density,
        ph=ph,
        ph_at=form.ph_at,
        sources=tuple(dict.fromkeys(sources)),
        guarantee=guarantee,
        chelated=chelated,
        also=also,
        known=known,
        says=says,
        usual_rate=usual,
        rate_range=span,
        price=found_price,
        care=form.care,
        lot=form.lot,
        unread=form.unread,
    )


def find_product(name: str, beside: Path | None, where: str = "") -> Product:
    """A product named in a mix, at `where` (file and key, for messages). Raises: InputProblem."""
    return read_product(find_file(name, beside, "products", "product", where))


def read_shelf(folder: Path) -> tuple[Product, ...]:
    """Every product file of a folder, by name.

    Raises: InputProblem with the problems of all files, or where the folder holds none.
    """
    problems: list[Problem] = []
    products = []
    paths = sorted(folder.glob("*.toml")) if folder.is_dir() else []
    for path in paths:
        try:
            products.append(read_product(path))
        except InputProblem as problem:
            problems.extend(problem.problems)
    if not paths:
        problems.append(
            Problem(f"`{folder}`", "no product file stands there", "a folder of product files")
        )
    if problems:
        raise InputProblem(problems)
    return tuple(products)


def resolve_source(name: str, key: str, found: Collector) -> list[Source]:
    """A name on the "derived from" line -> sources; problems go to `found`."""
    known = catalogue()
    plain = " ".join(name.lower().split())
    if plain in known.ambiguous:
        choices = known.ambiguous[plain]
        found.add(
            key,
            name,
            "this name is used for more than one compound",
            "which one? " + ", ".join(f"`{c}`" for c in choices),
        )
        return []
    if plain not in known.source_names:
        near = known.near(plain, known.source_names)
        found.add(
            key,
            name,
            "no source of that name",
            f"did you mean {', '.join(f'`{n}`' for n in near)}?"
            if near
            else "the plain chemical name, such as `calcium nitrate`",
        )
        return []
    source = known.sources[known.source_names[plain]]
    if source.mixture_of:
        return [known.sources[s] for s in source.mixture_of]
    return [source]


def resolve_guarantee(name: str) -> Guarantee | None:
    """A guarantee line as printed -> the line, or None."""
    known = catalogue()
    if name in known.guarantees:
        return known.guarantees[name]
    key = known.guarantee_names.get(" ".join(name.lower().split()))
    return known.guarantees[key] if key else None


def _sources(form: ProductForm, found: Collector) -> list[Source]:
    out: list[Source] = []
    for i, name in enumerate(form.sources, start=1):
        out += resolve_source(name, f"sources[{i}]", found)
    return out


def _guarantee(form: ProductForm, found: Collector) -> dict[str, float]:
    out: dict[str, float] = {}
    for name, text in form.guarantee.items():
        key = f"guarantee.{name}"
        line = resolve_guarantee(name)
        if line is None:
            known = catalogue()
            near = known.near(name, known.guarantee_names)
            found.add(
                key,
                text,
                "no such line of a guaranteed analysis",
                f"did you mean {', '.join(f'`{n}`' for n in near)}?"
                if near
                else "a line as DEVELOPERS.md lists them, such as `soluble potash`",
            )
            continue
        number = found.attempt(read_percent, text, key)
        if number is None:
            continue
        resolved, factor = _line(name) or (line.key, 1.0)
        if resolved in out:
            found.add(key, text, f"`{resolved}` is given twice", "one of the two")
        out[resolved] = number.value * factor
    nitrogen = sum(out.get(n, 0.0) for n in NITROGEN_FORMS)
    if nitrogen and "total nitrogen" in out and nitrogen > 1.1 * out["total nitrogen"] + 0.1:
        found.add(
            "guarantee.total nitrogen",
            out["total nitrogen"],
            f"its forms add up to {nitrogen:g} %",
            "the figures as printed: the total first, then the forms it is made of",
        )
    if sum(v for k, v in out.items() if k not in NITROGEN_FORMS) > 100.0:
        found.add("guarantee", dict(out), "more than 100 % in all", "percent by mass as printed")
    return out


def _also(form: ProductForm, found: Collector) -> dict[str, float]:
    out = {}
    for name, text in form.also.items():
        for source in resolve_source(name, f"also.{name}", found)[:1]:
            number = found.attempt(read_percent, text, f"also.{name}")
            if number is not None:
                out[source.key] = number.value
    if sum(out.values()) > 100.0:
        found.add("also", dict(form.also), "more than 100 % in all", "percent by mass")
    return out


def _known(form: ProductForm, found: Collector) -> dict[str, float]:
    out = {}
    for name, text in form.known.items():
        if name in {"ph", "density"}:
            continue
        key = f"known.{name}"
        number = found.attempt(read_percent, text, key)
        line = resolve_guarantee(name)
        if name == UNDECLARED_SALT or line is not None:
            target = name if line is None else line.key
        else:
            target = next((s.key for s in resolve_source(name, key, found)), "")
        if number is not None and target:
            out[target] = number.value
    return out


def _line(name: str) -> tuple[str, float] | None:
    """A guarantee line and what a percent of it is in the US line of the same element."""
    line = resolve_guarantee(name)
    if line is None:
        return None
    if line.same_as is None:
        return line.key, 1.0
    other = catalogue().guarantees[line.same_as]
    return other.key, other.grams_per_mole / line.grams_per_mole


def _chelated(form: ProductForm, found: Collector) -> dict[str, Chelated]:
    out = {}
    agents = {"EDTA", "DTPA", "HEDTA", "EDDHA", "citrate", "gluconate", "glycine", "tartrate"}
    spelled = {a.lower(): a for a in agents} | {
        "citric acid": "citrate",
        "glucoheptonate": "gluconate",
        "glucoheptonic acid": "gluconate",
        "gluconic acid": "gluconate",
        "amino acids": "glycine",
        "lignosulfonate": "lignosulfonate",
    }
    for name, entry in form.chelated.items():
        key = f"chelated.{name}"
        resolved = _line(name)
        guaranteed = {r[0] for r in map(_line, form.guarantee) if r}
        if resolved is None or resolved[0] not in guaranteed:
            found.add(
                key, name, "chelated, but not guaranteed", f"also a line `{name}` in [guarantee]"
            )
            continue
        text = entry if isinstance(entry, str) else entry.percent
        agent = None if isinstance(entry, str) else entry.agent
        number = found.attempt(read_percent, text, key)
        if agent is not None and agent.lower() not in spelled:
            found.add(
                f"{key}.agent",
                agent,
                "no chelating agent of that name",
                ", ".join(sorted(agents)) + ", or no agent if the label names none",
            )
        if number is not None:
            named = spelled.get(agent.lower()) if agent else None
            out[resolved[0]] = Chelated(number.value * resolved[1], named)
    return out


def _density(form: ProductForm, found: Collector) -> tuple[float, float] | None:
    if form.form == "dry":
        return None
    text = form.known.get("density") or form.density
    if text and text.strip().lower() != "unknown":
        return found.attempt(read_density_range, text, "density")
    if form.density:
        return None
    if form.specific_gravity:
        value = found.attempt(read_specific_gravity, form.specific_gravity, "specific_gravity")
        return None if value is None else (value, value)
    if form.net_weight and form.net_volume:
        mass = found.attempt(read_mass, form.net_weight, "net_weight")
        volume = found.attempt(read_volume, form.net_volume, "net_volume")
        if mass is None or volume is None:
            return None
        return found.attempt(read_density_range, f"{mass / volume} kg/L", "net_weight/net_volume")
    if form.form in NOT_JUDGED and not form.sources:
        return None
    found.add("density", form.density, "a liquid needs a density", DENSITY_WAYS)
    return None


def _supplied(
    sources: list[Source],
    guarantee: Mapping[str, float],
    also: Mapping[str, float],
    found: Collector,
) -> None:
    """Every guaranteed nutrient needs a source that holds it."""
    known = catalogue()
    held = {c for s in sources for c in s.components}
    held |= {c for key in also for c in known.sources[key].components}
    if not held:
        return
    for key, percent in guarantee.items():
        if percent > 0.0 and not held & set(known.guarantees[key].counts):
            supply = sorted(s.key for s in known.sources.values() if key in s.supplies)
            found.add(
                f"guarantee.{key}",
                percent,
                "none of the sources supplies it",
                "its source on the `derived from` line, such as "
                + ", ".join(f"`{s}`" for s in supply[:4]),
            )
