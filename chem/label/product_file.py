"""A product file read and checked, with every problem at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from chem.errors import InputProblem, Problem
from chem.files import (
    Collector,
    FileText,
    ProductForm,
    as_found,
    find_file,
    load_bytes,
    read_bytes,
    validate,
)
from chem.label.known import read_clear_at, read_ec, read_known, read_ph_by, read_ph_in
from chem.label.product import MEASURED_AT, NITROGEN_FORMS, NOT_JUDGED, Chelated, Product, Says
from chem.label.resolving import like, resolve_guarantee, resolve_source
from chem.reference import Source, catalogue, ingredient, vague_sources
from chem.units import (
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
    read_volume,
)

DENSITY_WAYS = (
    "the label's net weight with its net volume (`net_weight`, `net_volume`); or weigh 500 mL in "
    'a container never used for food; or `density = "unknown"`'
)


def product_schema() -> dict[str, Any]:
    """JSON Schema of a product file."""
    return ProductForm.model_json_schema()


def read_product(path: Path | str, key: str | None = None) -> Product:
    """Read and check a product file.

    Raises: InputProblem with every problem of the file.
    """
    path = Path(path)
    return _product_of_bytes(path, read_bytes(path, "product"), key or path.stem)


@lru_cache(maxsize=256)
def _product_of_bytes(path: Path, data: bytes, key: str) -> Product:
    raw, read_from = load_bytes(path, "product", data)
    return product_of(validate(ProductForm, raw, path.name), path.name, key, read_from)


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
    known = read_known(form, found)
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
    ph_sd = read_ph_by(form, found)
    clear_at, ph_in_eq, ec = (
        read_clear_at(form, found),
        read_ph_in(form, found),
        read_ec(form, found),
    )
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
        elif plain in known.source_names or like(plain, known.source_names):
            out += resolve_source(name, f"sources[{i}]", found)
        else:
            unplaced.append(name)
    return out, vague, others, unplaced


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
