"""A mix: what goes into the tank, in the order poured. `mix_file.py` reads one."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

from chem.files import FileText
from chem.label import NameWord, Product, phrases, read_name
from chem.tank.sprayer import Sprayer
from chem.tank.water import Water
from chem.units import Measure, Rate

Spray = tuple[float | None, float | None, tuple[FileText, ...]]
"""Spray volume [L/m2], its relative error, and the file of the catch test that gave it."""


@dataclass(frozen=True)
class Addition:
    """One product in the order poured."""

    product: Product
    rate: Rate

    def amount_per_L(self, carrier_L_per_m2: float) -> float:
        """[mL] or [g] per litre of the spray volume that the rate speaks of."""
        if self.rate.per == "area":
            return self.rate.value / carrier_L_per_m2
        if self.rate.per == "volume":
            return self.rate.value
        return 1000.0 * self.rate.value

    @property
    def by_mass(self) -> bool:
        """Whether the rate is a weight."""
        return self.rate.kind == "mass"


@dataclass(frozen=True)
class Window:
    """What an adjuvant wants of the tank: pH from low to high for some time [s].

    limits: None where its label's window was not told; good_for_s: None likewise; place: of a
    product in the mix, None for an `[adjuvant]`.
    """

    name: str
    limits: tuple[float, float] | None
    good_for_s: float | None = None
    place: int | None = None


def window_of(product: Product, place: int | None = None) -> Window:
    """What an adjuvant's label wants."""
    return Window(product.name, product.ph_window, product.good_for_s, place)


@dataclass(frozen=True)
class Leftover:
    """What is left of an earlier tank, poured in before the water.

    mix: as it was poured; share: of the tank it goes into, by volume; age_s: since it was mixed.
    """

    mix: Mix
    share: float
    age_s: float


@dataclass(frozen=True)
class Adjuvant:
    """An adjuvant of which only the pH window is judged."""

    name: str
    rate: Rate | None
    ph_low: float
    ph_high: float

    @cached_property
    def by_name(self) -> tuple[NameWord, ...]:
        """What its name alone tells of it."""
        return read_name(self.name)

    @cached_property
    def hazards(self) -> frozenset[str]:
        """Hazard words of its name."""
        return frozenset(word.means for word in self.by_name)

    @cached_property
    def answers_to(self) -> frozenset[str]:
        """What a label's rule may call it, as `door.plain` writes it."""
        return frozenset(phrases(self.name))


@dataclass(frozen=True)
class Mix:
    """A mix in numbers: carrier [L/m2], its text as printed (empty where it was reckoned) and its
    relative error where a catch test gave it, tank [L], temperatures [degC], area [m2].

    sprayer: the one of its shed, if any; measures: what its shed has. read_from: the mix's own file
    as it was read, and those of its shed and sprayer.
    """

    name: str
    file: str
    water: Water
    carrier_L_per_m2: float
    fill: str
    tank_L: float | None
    t_celsius: float
    coldest_celsius: float | None
    additions: tuple[Addition, ...]
    adjuvant: Adjuvant | None
    notes: tuple[str, ...] = ()
    carrier_error: float | None = None
    carrier_text: str = ""
    sprayer: Sprayer | None = None
    area_m2: float | None = None
    measures: tuple[Measure, ...] = field(default=(), compare=False)
    leftovers: tuple[Leftover, ...] = ()
    read_from: tuple[FileText, ...] = field(default=(), compare=False, repr=False)

    def __repr__(self) -> str:
        names = " + ".join(a.product.name for a in self.additions)
        return f"<Mix {self.name!r}: {names} in {self.water.name}>"

    @cached_property
    def met(self) -> Mix:
        """With every product that is in a leftover after its own, for what must not meet."""
        if not self.leftovers:
            return self
        others = [a for left in self.leftovers for a in left.mix.additions]
        return replace(self, additions=(*self.additions, *others), leftovers=())

    @property
    def windows(self) -> tuple[Window, ...]:
        """Of every adjuvant in it."""
        own = [
            window_of(a.product, i)
            for i, a in enumerate(self.additions)
            if a.product.form == "adjuvant"
        ]
        if self.adjuvant is not None:
            own.append(Window(self.adjuvant.name, (self.adjuvant.ph_low, self.adjuvant.ph_high)))
        return tuple(own)

    @property
    def fresh_share(self) -> float:
        """Of the tank, what is not left of an earlier one; rates speak of it alone."""
        return 1.0 - sum(left.share for left in self.leftovers)

    @property
    def files(self) -> tuple[FileText, ...]:
        """Every file that was read for it, its own first: enough to read it again."""
        named = [*self.water.files, *(a.product.read_from for a in self.additions)]
        named += [file for left in self.leftovers for file in left.mix.files]
        return tuple(dict.fromkeys([*self.read_from, *(f for f in named if f is not None)]))
