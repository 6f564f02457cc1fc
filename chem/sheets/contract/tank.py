"""`forecast`, `pour`, `jar` and `calibrate`."""

from __future__ import annotations

from collections.abc import Sequence

from chem.sheets.contract.parts import (
    Between,
    ByTime,
    DoubtEntry,
    EvolvedEntry,
    Figure,
    LearnedEntry,
    LoadEntry,
    OfMix,
    Part,
    RangeEntry,
    ReadEntry,
    Ruled,
    SaltEntry,
    TankLine,
    WindowEntry,
)


class SolidEntry(Part):
    """A solid that may form; its class: prompt, slow or dormant."""

    key: str
    formula: str
    of_class: str
    decides: bool
    si: RangeEntry
    probability: ByTime
    clouds_after_s: RangeEntry | None
    amount_g_per_L: Figure


class ColloidEntry(Part):
    """A colloid that may gel or flocculate: its chance in a day, and after how long."""

    key: str
    risk: Figure
    because: str
    after_s: Figure


class Window(Part):
    """The adjuvant's pH window and the chance that the tank suits it."""

    suited: Figure
    window: tuple[float, float]


class ForecastDoubt(DoubtEntry):
    """A doubt with its shares of the variance of pH and of the odds."""

    share_of_ph: Figure
    share_of_odds: Figure


class AloneEntry(Part):
    """A product that hazes or curdles by itself in the same water."""

    product: str
    answer: str
    probability: Figure


class Forecast(OfMix):
    """Will it stay clear? solids: most pressing first; tank: none where it must never be poured."""

    answer: str
    chance: Figure
    judged_at: str
    because: str | None
    probability: ByTime
    clogs: ByTime
    ph: RangeEntry
    ph_aired: Figure
    ph_settled: Figure
    ionic_strength_mol_per_kg: Figure
    conductivity_mS_per_cm: RangeEntry | None
    salt: SaltEntry
    density_kg_per_L: Figure
    coverage: Figure
    totals_mol_per_L: dict[str, Figure]
    solids: Sequence[SolidEntry]
    colloids: Sequence[ColloidEntry]
    gases: Sequence[EvolvedEntry]
    not_judged: Sequence[str]
    tank: Sequence[TankLine]
    loads: Sequence[LoadEntry]
    spray_within_minutes: Figure
    alone: Sequence[AloneEntry]
    delivered_kg_per_ha: dict[str, Figure]
    adjuvant: Window | None
    adjuvants: Sequence[WindowEntry]
    read: ReadEntry | None
    doubts: Sequence[ForecastDoubt]
    cautions: Sequence[str]
    notes: Sequence[str]
    learned: Sequence[LearnedEntry]
    failed_rows: int
    versions: dict[str, str]


class OrderEntry(Part):
    """One order: products by name, chance of clouding by 15 min after each step, at the worst."""

    sequence: Sequence[str]
    worst_step: int
    probability: Figure
    after_step: Sequence[Figure]
    culprit: str | None
    breaks: Sequence[str]


class Pour(OfMix):
    """Orders to pour in, best first; asked: the mix's own; least, most: over all that may be;
    tank: everything poured, in the order advised; number: of the mix in this order."""

    orders: Sequence[OrderEntry]
    asked: OrderEntry
    advised: Sequence[str] | None
    order_matters: bool
    orders_that_keep_every_rule: int
    least: Figure
    most: Figure
    because: str | None
    gases: Sequence[str]
    not_judged: Sequence[str]
    all_water_first: Figure
    number: str | None
    tank: Sequence[TankLine]
    learned: Sequence[LearnedEntry]


class LookEntry(Part):
    """When to look at the jar, and what for."""

    minutes: float
    what_for: str


class JarBeside(Part):
    """A jar of several: what tells it apart, its rates over those of the mix, what to expect."""

    name: str
    factor: float
    order: str
    answer: str
    chance: Figure
    ph: Between
    steps: Sequence[TankLine]
    number: str | None


class RungEntry(Part):
    """A step of a ladder: stock in all, what of the agent that is in the tank (a litre where the
    mix names none), in words and in g or mL; pH expected."""

    stock_mL: float
    in_tank: Figure
    unit: str
    text: str
    ph: RangeEntry | None


class LadderEntry(Part):
    """An agent added to the jar from a thin stock, a millilitre at a time."""

    agent: str
    form: str
    stock: Sequence[str]
    steps: Sequence[RungEntry]


class Jar(Ruled):
    """The jar test; steps: in the order poured, water among them; scale: tank over jar.

    number: the sheet's; blanks: what it leaves room to write down; jars: where several stand side
    by side; ladder: of an acid or base.
    """

    mix: str
    jar_mL: float
    vessel_mL: float
    order: str
    steps: Sequence[TankLine]
    look: Sequence[LookEntry]
    between: str
    fine: str
    gases: Sequence[str]
    ph: Between
    cautions: Sequence[str]
    notes: Sequence[str]
    scale: Figure
    number: str | None
    blanks: Sequence[str]
    jars: Sequence[JarBeside]
    ladder: LadderEntry | None
    learned: Sequence[LearnedEntry]


class UnevenNozzle(Part):
    """A nozzle off the mean, counted from 1; deviation: as a share of the mean."""

    nozzle: int
    deviation: float


class Calibrate(Part):
    """A catch test; relative_error: of the spray volume."""

    carrier_L_per_m2: float
    carrier_L_per_ha: float
    relative_error: Figure
    uneven: Sequence[UnevenNozzle]
