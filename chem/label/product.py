"""A product file: what is printed on the jug, read into numbers."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from functools import cached_property

from chem.errors import Problem
from chem.files import FileText, UnreadForm
from chem.label.door import NameWord, answers_to, read_name
from chem.reference import IngredientClass, Source, catalogue, ingredient, judged, vague_sources
from chem.units import Number, Price, Rate

NOT_JUDGED = {"suspension", "emulsion", "pesticide"}
UNDECLARED_SALT = "undeclared sodium chloride"
MEASURED_AT = "10 %"
"""How a jug's pH is measured: 1 g in 9 g of distilled water."""
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


LIKELY_ENOUGH = 0.3
