"""`why`, `fix`, `ph` and `diagnose`."""

from __future__ import annotations

from collections.abc import Sequence

from chem.sheets.contract.parts import (
    Between,
    ByTime,
    EvolvedEntry,
    Figure,
    GasEntry,
    LearnedEntry,
    OfMix,
    Part,
    RangeEntry,
    SaltEntry,
    WindowEntry,
)


class IonEntry(Part):
    """An ion of a solid: its free share, and product name or `water` -> share of where it is from.

    taken_fraction: of the component, by the solid where it forms.
    """

    component: str
    free_fraction: Figure
    come_from: dict[str, Figure]
    taken_fraction: Figure


class HoldEntry(Part):
    """What keeps a component from the solid: which ligand, how much of it."""

    component: str
    by: str
    fraction: Figure


class PhMover(Part):
    """The product that moves the pH most, and what it would be without."""

    product: str
    ph_without: Figure


class ReasonEntry(Part):
    """One solid, its ions and what holds it back; si: median, and at a pH half a unit off."""

    key: str
    name: str
    threatens: bool
    si: Figure
    si_half_a_ph_lower: Figure
    si_half_a_ph_higher: Figure
    probability: ByTime
    clouds_after_s: Figure
    amount_g_per_L: Figure
    ions: Sequence[IonEntry]
    held_back_by: Sequence[HoldEntry]
    limited_by: str
    ph_moved_by: PhMover | None
    sentence: str


class OtherEntry(Part):
    """A colloid or cold crystal that shows; come_from: component -> product -> share."""

    key: str
    probability: Figure
    because: str
    come_from: dict[str, dict[str, Figure]]


class TurnEntry(Part):
    """Where the answer turns, and what then shows."""

    at: Figure
    culprit: str | None


class ProductTurns(Part):
    """How many times a product's rate turns the answer."""

    product: str
    more: TurnEntry | None
    less: TurnEntry | None


class PhTurns(Part):
    """The pH now, and those above and below at which the answer turns."""

    now: Figure
    above: TurnEntry | None
    below: TurnEntry | None


class EdgeEntry(Part):
    """How near the answer is to turning."""

    products: Sequence[ProductTurns]
    ph: PhTurns


class Why(OfMix):
    """What comes out, from whose ions, what holds it back."""

    judged_at: str
    answer: str
    probability: ByTime
    ph: Figure
    sentence: str
    solids: Sequence[ReasonEntry]
    others: Sequence[OtherEntry]
    edge: EdgeEntry | None
    gases: Sequence[GasEntry]
    not_judged: Sequence[str]
    notes: Sequence[str]
    learned: Sequence[LearnedEntry]


class FixEntry(Part):
    """A change that keeps it clear; tanks: products of each, in their pouring order."""

    lever: str
    change: str
    factor: Figure
    probability_after: ByTime
    sentence: str
    tanks: Sequence[Sequence[str]]
    on_the_way: Figure
    all_water_first: bool
    mind: Sequence[str]


class NoUseEntry(Part):
    """A lever that does not help, and why."""

    lever: str
    sentence: str


class Fix(OfMix):
    """The smallest changes that keep it clear."""

    judged_at: str
    probability: ByTime
    fixes: Sequence[FixEntry]
    no_use: Sequence[NoUseEntry]
    spray_within_minutes: Figure
    because: str | None
    on_the_way: Figure
    salt: SaltEntry
    gases: Sequence[str]
    not_judged: Sequence[str]
    learned: Sequence[LearnedEntry]


class Slopes(Part):
    """How fast the pH moves with the dose [per g/L], at the start and at the target."""

    start: Figure
    target: Figure


class MadeEntry(Part):
    """A solid whose chance the dose moves."""

    key: str
    before: Figure
    after: Figure
    of_the_agent: bool


class SuitedEntry(Part):
    """The adjuvant's pH window, and the chances that the tank suits it."""

    window: tuple[float, float]
    suited_before: Figure
    suited_before_settled: Figure
    suited_settled: Figure
    likely_dose_g_per_L: Figure
    suited_at_likely: Figure
    suited_settled_at_likely: Figure
    because: str | None


class AgentDose(Part):
    """The smallest dose of an acid or base with which a tank suits an adjuvant in 9 of 10."""

    agent: str
    dose_g_per_L: Figure
    suited_at_dose: Figure
    suited_at_dose_4h: Figure
    because: str | None


class AdjuvantEntry(WindowEntry):
    """An adjuvant beside the tank, and the smallest dose with which it suits it in 9 of 10."""

    in_mix: bool
    agent: str | None
    dose_g_per_L: Figure
    suited_at_dose: Figure
    suited_at_dose_4h: Figure
    because: str | None
    sentence: str
    other_agents: Sequence[AgentDose]


class Adjuvants(OfMix):
    """Every adjuvant of the mix and of a shelf, where no pH is asked for."""

    ph: RangeEntry
    adjuvants: Sequence[AdjuvantEntry]
    gases: Sequence[EvolvedEntry]


class FreeCopper(Part):
    """Free copper before and after the dose."""

    before: Figure
    after: Figure


class Ph(OfMix):
    """A dose of acid or base; curve: (dose g/L, pH); poured_as: its step, counted from 1."""

    agent: str
    form: str
    target_ph: float
    already: bool
    dose_g_per_L: Figure
    dose_range_g_per_L: Between
    dose_mL_per_L: Figure
    dose_text: str
    doses: dict[str, str]
    density_kg_per_L: Figure
    density_source: str | None
    reached: bool
    because: str | None
    tried_g_per_L: Figure
    ph_before: RangeEntry
    ph_after: RangeEntry
    ph_settled: Figure
    answer_before: str
    answer_after: str | None
    chance_after: Figure
    judged_at: str
    curve: Sequence[tuple[Figure, Figure]]
    ph_per_g_per_L: Slopes
    makes: Sequence[MadeEntry]
    suited: Figure
    adjuvant: SuitedEntry | None
    copper_free: FreeCopper | None
    gases: Sequence[EvolvedEntry]
    adds_kg_per_ha: dict[str, Figure]
    poured_as: int
    cautions: Sequence[str]
    learned: Sequence[LearnedEntry]


class CauseEntry(Part):
    """What it may be."""

    key: str
    probability: Figure
    sentence: str


class TryEntry(Part):
    """What may bring it back, and the chance that it does."""

    what: str
    works: Figure
    sentence: str


class CleanEntry(Part):
    """A step of cleaning out; what_for: keys of causes, none for all; litres: each time."""

    what: str
    what_for: Sequence[str]
    litres: Figure
    times: int
    minutes: int
    agent: str | None
    sentence: str


class MetalEntry(Part):
    """Metals of the sprayer that the tank may eat, and why."""

    key: str
    metals: str
    because: str


class Diagnose(OfMix):
    """It went wrong: likeliest causes first, what to try, whether it can be sprayed."""

    gases: Sequence[GasEntry]
    seen: Sequence[str]
    causes: Sequence[CauseEntry]
    tries: Sequence[TryEntry]
    sprayable: Figure
    clean_out: str
    cleaning: Sequence[CleanEntry]
    metals: Sequence[MetalEntry]
    remarks: Sequence[str]
    model_agrees: bool


class SumpEntry(Part):
    """Rinses needed where a share of the tank stays in the sump."""

    share: Figure
    rinses: int


class Rinse(Part):
    """From one tank to the next; clouds: where the two meet in equal parts, null if never to."""

    before: str
    after: str
    refused: str | None
    must_not_meet: Sequence[str]
    clouds: Figure
    culprit: str | None
    residue: Figure
    rinse_litres: Figure
    rinse_share: Figure
    sump_litres: Figure
    rinses: int | None
    by_sump: Sequence[SumpEntry]
    sentence: str
    draws: int
    seed: int
