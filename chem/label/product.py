"""A product file: what is printed on the jug, read into numbers."""

from __future__ import annotations

import difflib
import hashlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from chem.errors import InputProblem, Problem
from chem.files import (
    Collector,
    FileText,
    ProductForm,
    UnreadForm,
    as_found,
    find_file,
    load_file,
    validate,
)
from chem.label.door import NameWord, answers_to, read_name
from chem.reference import (
    Guarantee,
    IngredientClass,
    Source,
    catalogue,
    ingredient,
    judged,
    vague_sources,
)
from chem.units import (
    Number,
    Price,
    Rate,
    read_alkalinity,
    read_carrier,
    read_density_range,
    read_duration,
    read_mass,
    read_percent,
    read_ph,
    read_ph_window,
    read_price,
    read_rate,
    read_rate_range,
    read_specific_gravity,
    read_temperature,
    read_volume,
)

NOT_JUDGED = {"suspension", "emulsion", "pesticide"}
DENSITY_WAYS = (
    "the label's net weight with its net volume (`net_weight`, `net_volume`); or weigh 500 mL in "
    'a container never used for food; or `density = "unknown"`'
)
UNDECLARED_SALT = "undeclared sodium chloride"
MEASURED_AT = "10 %"
"""How a jug's pH is measured: 1 g in 9 g of distilled water."""
PURE_WATERS = {"distilled", "demineralised", "demineralized", "deionised", "deionized", "rain"}
MEASURED = {"ph", "ph_in", "ph_by", "density", "clear", "ec"}
"""Keys of [known] that are no percents."""
EC_UNITS = {"ms/cm": 1.0, "ds/m": 1.0, "us/cm": 0.001}
_EC = re.compile(r"([\d.]+)\s*(mS/cm|dS/m|[uµ]S/cm)(?:\s*at\s*([\d.]+)\s*%)?", re.IGNORECASE)
LIKE_A_SLIP = 0.93
"""Names this like a known one are taken for a slip of the pen and asked about."""
LIKELY_ENOUGH = 0.3
NITROGEN_FORMS = (
    "nitrate nitrogen",
    "ammoniacal nitrogen",
    "urea nitrogen",
    "other water soluble nitrogen",
    "water insoluble nitrogen",
)


@dataclass(frozen=True)
class Chelated:
    """A metal declared chelated: percent by mass and the agent if stated."""

    percent: float
    agent: str | None


@dataclass(frozen=True)
class Says:
    """The label's own rules; carrier limits in [L/m2], each with its text as printed."""

    pour: str | None = None
    never_with: tuple[str, ...] = ()
    carrier_at_least: float | None = None
    carrier_at_most: float | None = None
    least_text: str = ""
    most_text: str = ""


@dataclass(frozen=True)
class Product:
    """A product, in numbers.

    density: (low, high) [kg/L], None where unknown or dry; ph: as read at `ph_at`;
    guarantee, also, known: percent by mass; known: what the maker answered or was measured, by
    guarantee line, source or `undeclared sodium chloride`, besides pH and density; ph_measured:
    its pH is this jug's own, else it is printed, of another lot; ph_sd: error of that; ph_in_eq:
    alkalinity [eq/L] of the water that it was read in, 0 for distilled; ec: conductivity [mS/cm]
    that a share by mass of it in pure water was measured to have; clear_at: it was seen to stay
    clear there [degC]; net_volume_L: of a full jug; ph_window, good_for_s: of an adjuvant, what its
    label wants of a tank, None where that is not told; vague: names that fit several sources
    (`vague_sources.csv`); ingredients: names of a class with a known effect (`ingredients.csv`);
    unplaced: names that fit none; unread: lines of the label that its reader
    could not use; read_from: the file as it was read.
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
    vague: tuple[str, ...] = ()
    ingredients: tuple[str, ...] = ()
    unplaced: tuple[str, ...] = ()
    care: tuple[str, ...] = ()
    lot: str | None = None
    unread: tuple[UnreadForm, ...] = ()
    ph_measured: bool = False
    ph_sd: float = field(default_factory=lambda: judged("ph_reading")["jug_unnamed"])
    ph_in_eq: float = 0.0
    ec: tuple[float, float] | None = None
    clear_at: float | None = None
    net_volume_L: float | None = None
    ph_window: tuple[float, float] | None = None
    good_for_s: float | None = None
    read_from: FileText | None = field(default=None, compare=False, repr=False)

    def __repr__(self) -> str:
        return f"<Product {self.name!r}, {self.form}>"

    @cached_property
    def by_name(self) -> tuple[NameWord, ...]:
        """What its name alone tells of it."""
        return read_name(self.name)

    @cached_property
    def hazards(self) -> frozenset[str]:
        """Hazard words of everything on the label, and of its name."""
        known = catalogue()
        found = {h for s in self.sources for h in s.hazard}
        found |= {h for key in self.also for h in known.sources[key].hazard}
        found |= {h for key in self.may_be for h in known.sources[key].hazard}
        return frozenset(found | {word.means for word in self.by_name})

    @cached_property
    def answers_to(self) -> frozenset[str]:
        """What another label's rule may call it, as `door.plain` writes it."""
        held = [*(s.key for s in self.sources), *self.also, *self.may_be]
        return answers_to(self.name, self.key, held, (k for k, v in self.guarantee.items() if v))

    @cached_property
    def may_be(self) -> tuple[str, ...]:
        """Sources that its vague names are likely to mean, for rules and hazards."""
        options = (o for name in self.vague for o in vague_sources()[name])
        likely = (key for keys, chance in options if chance >= LIKELY_ENOUGH for key in keys)
        return tuple(dict.fromkeys(likely))

    @cached_property
    def identity(self) -> str:
        """A hash of everything that its contents rest on: the jug as read."""
        parts = []
        for one in fields(self):
            value = getattr(self, one.name)
            if one.name in ("read_from", "care", "lot", "net_volume_L", "ph_window", "good_for_s"):
                continue
            if one.name == "sources":
                value = [s.key for s in value]
            parts.append(f"{one.name}={dict(value) if isinstance(value, Mapping) else value!r}")
        return hashlib.sha256("\n".join(parts).encode()).hexdigest()

    @property
    def dry(self) -> bool:
        """Sold dry, measured by weight."""
        return self.form == "dry"

    @property
    def has_composition(self) -> bool:
        """Whether the label says what is in it."""
        return bool(self.sources or self.also or self.guarantee or self.vague)

    @cached_property
    def classes(self) -> Mapping[str, IngredientClass]:
        """What each of its ingredients that are no salts can do in a tank, by name."""
        found = {name: ingredient(name) for name in self.ingredients}
        return {name: one for name, one in found.items() if one is not None}

    @property
    def is_anionic(self) -> bool:
        """Whether it holds an anionic surfactant."""
        return any(one.kind == "anionic" for one in self.classes.values())

    @property
    def ingredient_notes(self) -> tuple[str, ...]:
        """What its ingredients may do that is not computed, in words."""
        return tuple(
            f"{self.name}: holds {name} ({one.key}), not computed: {one.what}"
            for name, one in self.classes.items()
            if one.kind == "doubt"
        )

    @property
    def unread_notes(self) -> tuple[str, ...]:
        """What of its label was not read, or is not computed, and may matter, in words."""
        rules = (u.text for u in self.unread if u.kind == "rule")
        return (
            *(f"{self.name}: not read: {text}; it may hold anything" for text in self.half_read),
            *(
                f"{self.name}: a line of its label not read, perhaps a rule, read it yourself: "
                f"{text}"
                for text in rules
            ),
            *self.ingredient_notes,
        )

    @property
    def whole(self) -> bool:
        """Whether [known] tells all that is in it: nothing is then left to draw."""
        left = self.guarantee or self.chelated or self.also or self.vague or self.half_read
        sure = {s.key for s in self.sources} <= set(self.known)
        salt = self.dry or UNDECLARED_SALT in self.known
        return bool(self.sources) and sure and salt and not left and self.ph is None

    @property
    def judged(self) -> bool:
        """Whether the salts are the whole story, all of the label's contents and rules read.

        Of an adjuvant only the window counts, which is told apart.
        """
        unread = self.half_read or any(u.kind == "rule" for u in self.unread)
        known = self.has_composition or self.form == "adjuvant"
        return known and self.form not in NOT_JUDGED and not unread

    @property
    def half_read(self) -> tuple[str, ...]:
        """What the label says of the contents that fits nothing: it may hold anything."""
        lines = tuple(u.text for u in self.unread if u.kind == "composition")
        return tuple(dict.fromkeys((*self.unplaced, *lines)))


def product_schema() -> dict[str, Any]:
    """JSON Schema of a product file."""
    return ProductForm.model_json_schema()


def read_product(path: Path | str, key: str | None = None) -> Product:
    """Read and check a product file.

    Raises: InputProblem with every problem of the file.
    """
    path = Path(path)
    file = path.name
    raw, read_from = load_file(path, "product")
    form = validate(ProductForm, raw, file)
    return product_of(form, file, key or path.stem, read_from)


def product_of(
    form: ProductForm, file: str, key: str, read_from: FileText | None = None
) -> Product:
    """The product of a form; file: as messages name it. Raises: InputProblem with every problem."""
    found = Collector(file)
    sources, vague, ingredients, unplaced = _sources(form, found)
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
    measured = form.known.get("ph")
    ph_text = measured or form.ph
    ph = found.attempt(read_ph, ph_text, "known.ph" if measured else "ph") if ph_text else None
    dry = form.form == "dry"
    rate = form.usual_rate
    usual = found.attempt(read_rate, rate, "usual_rate", dry=dry) if rate else None
    limits = form.rate_range
    span = found.attempt(read_rate_range, limits, "rate_range", dry=dry) if limits else None
    found_price = found.attempt(read_price, form.price, "price") if form.price else None
    least, most = (
        found.attempt(read_carrier, text, f"says.{name}") if text else None
        for name, text in (
            ("carrier_at_least", form.says.carrier_at_least),
            ("carrier_at_most", form.says.carrier_at_most),
        )
    )
    says = Says(
        form.says.pour,
        form.says.never_with,
        least,
        most,
        form.says.carrier_at_least or "",
        form.says.carrier_at_most or "",
    )
    if least is not None and most is not None and least > most:
        found.add(
            "says.carrier_at_most",
            form.says.carrier_at_most,
            f"less than carrier_at_least = {form.says.carrier_at_least!r}",
            "the smaller spray volume under carrier_at_least",
        )
    ph_sd = _ph_by(form, found)
    clear_at, ph_in_eq, ec = _clear_at(form, found), _ph_in(form, found), _ec(form, found)
    window = found.attempt(read_ph_window, form.ph_window, "ph_window") if form.ph_window else None
    good_for = found.attempt(read_duration, form.good_for, "good_for") if form.good_for else None
    for own in ("ph_window", "good_for"):
        text = getattr(form, own)
        if text and form.form != "adjuvant":
            found.add(own, text, "only an adjuvant has it", '`form = "adjuvant"`')
    net = form.net_volume
    net_volume = found.attempt(read_volume, net, "net_volume") if net else None
    found.done()
    return Product(
        key=key,
        file=file,
        name=form.name,
        form=form.form,
        density=density,
        ph=ph,
        ph_at=MEASURED_AT if measured else form.ph_at,
        sources=tuple(dict.fromkeys(sources)),
        guarantee=guarantee,
        chelated=chelated,
        also=also,
        known=known,
        says=says,
        usual_rate=usual,
        rate_range=span,
        price=found_price,
        vague=tuple(dict.fromkeys(vague)),
        ingredients=tuple(dict.fromkeys(ingredients)),
        unplaced=tuple(dict.fromkeys(unplaced)),
        care=form.care,
        lot=form.lot,
        unread=form.unread,
        ph_measured=bool(measured),
        ph_sd=ph_sd,
        ph_in_eq=ph_in_eq,
        ec=ec,
        clear_at=clear_at,
        net_volume_L=net_volume,
        ph_window=window,
        good_for_s=good_for,
        read_from=read_from,
    )


def find_product(
    name: str, beside: Path | None, where: str = "", places: Sequence[Path] = ()
) -> Product:
    """A product named in a mix, at `where` (file and key, for messages). Raises: InputProblem.

    places: folders to look in besides that of the mix.
    """
    path = find_file(name, beside, "products", "product", where, places)
    product = read_product(path)
    assert product.read_from is not None
    return replace(product, read_from=replace(product.read_from, name=as_found(name, path)))


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
        near = known.look_alikes(plain, known.source_names)
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


def _sources(
    form: ProductForm, found: Collector
) -> tuple[list[Source], list[str], list[str], list[str]]:
    """Sources named without doubt, vague names, other ingredients, and names that are not read."""
    known = catalogue()
    out: list[Source] = []
    vague, others, unplaced = [], [], []
    for i, name in enumerate(form.sources, start=1):
        plain = " ".join(name.lower().split())
        if not plain:
            found.add(f"sources[{i}]", name, "nothing is written here", "a compound of the label")
        elif plain in vague_sources():
            vague.append(plain)
        elif plain not in known.source_names and (other := ingredient(plain)) is not None:
            if other.kind == "source":
                out.append(known.sources[other.counts_as])
            else:
                others.append(name)
        elif plain in known.source_names or _like(plain, known.source_names):
            out += resolve_source(name, f"sources[{i}]", found)
        else:
            unplaced.append(name)
    return out, vague, others, unplaced


def _like(name: str, among: Mapping[str, str]) -> bool:
    return bool(difflib.get_close_matches(name, list(among), n=1, cutoff=LIKE_A_SLIP))


def _guarantee(form: ProductForm, found: Collector) -> dict[str, float]:
    out: dict[str, float] = {}
    for name, text in form.guarantee.items():
        key = f"guarantee.{name}"
        line = resolve_guarantee(name)
        if line is None:
            known = catalogue()
            near = known.look_alikes(name, known.guarantee_names)
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
        if name in MEASURED:
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


def _ph_in(form: ProductForm, found: Collector) -> float:
    """`ph_in`: alkalinity [eq/L] of the water that a jug's pH was measured in."""
    text = form.known.get("ph_in", "distilled")
    if text.strip().lower() in PURE_WATERS:
        return 0.0
    alkalinity = found.attempt(read_alkalinity, text, "known.ph_in")
    return 0.0 if alkalinity is None else 0.0005 * (alkalinity.low + alkalinity.high)


def _ph_by(form: ProductForm, found: Collector) -> float:
    """`ph_by`: standard deviation of what a jug's pH was measured with."""
    text = form.known.get("ph_by")
    by = "unnamed" if text is None else text.strip().lower()
    if text is not None and by not in {"meter", "strip"}:
        found.add("known.ph_by", text, "nothing that reads a pH", "`meter` or `strip`")
        by = "unnamed"
    return judged("ph_reading")[f"jug_{by}"]


def _ec(form: ProductForm, found: Collector) -> tuple[float, float] | None:
    """`ec = "2.1 mS/cm at 1 %"`: conductivity [mS/cm] of a share by mass in distilled water."""
    text = form.known.get("ec")
    if not text:
        return None
    match = _EC.fullmatch(text.strip())
    value = float(match[1]) * EC_UNITS[match[2].lower().replace("µ", "u")] if match else 0.0
    share = float(match[3] or 1.0) / 100.0 if match else 0.0
    if not (value > 0.0 and 0.0 < share < 1.0):
        found.add("known.ec", text, "no conductivity of a dilution", "such as `2.1 mS/cm at 1 %`")
        return None
    return value, share


def _clear_at(form: ProductForm, found: Collector) -> float | None:
    """`clear = "after a month at 40 F"`: where a jug was seen to stay clear [degC]."""
    text = form.known.get("clear")
    if not text:
        return None
    return found.attempt(read_temperature, text.rpartition(" at ")[2], "known.clear")


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
    if form.form in {*NOT_JUDGED, "adjuvant"} and not form.sources:
        return None
    found.add("density", form.density, "a liquid needs a density", DENSITY_WAYS)
    return None


def unsupplied(product: Product) -> list[Problem]:
    """Guaranteed lines that nothing named on the label supplies: a doubt, worth asking about."""
    known = catalogue()
    named = [*(s.key for s in product.sources), *product.also]
    named += [k for name in product.vague for keys, _ in vague_sources()[name] for k in keys]
    held = {c for key in named for c in known.sources[key].components}
    problems = []
    for key, percent in product.guarantee.items():
        if held and percent > 0.0 and not held & set(known.guarantees[key].counts):
            supply = sorted(s.key for s in known.sources.values() if key in s.supplies)
            problems.append(
                Problem(
                    f"{product.file}, guarantee.{key} = {percent!r}",
                    "none of the sources supplies it",
                    "its source on the `derived from` line, such as "
                    + ", ".join(f"`{s}`" for s in supply[:4]),
                    f"guarantee.{key}",
                )
            )
    return problems
