"""The smallest change of each kind that keeps a mix clear, or that none does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from chem.advice.agents import Reagent, mild_reagents
from chem.advice.dosing import dosing_rules
from chem.advice.levers import (
    Carrier,
    Case,
    Dose,
    Fix,
    LessOf,
    NoUse,
    OneTank,
    OtherWater,
    SofterWater,
)
from chem.advice.passes import passes
from chem.advice.pour import pour, worst_on_the_way
from chem.advice.swaps import swaps
from chem.equilibrium import one_thread
from chem.errors import ToxicGas
from chem.forecast import (
    THRESHOLD,
    Evolved,
    Rule,
    Salt,
    Study,
    broken,
    known_time,
    never,
    salt,
)
from chem.forecast.search import SEARCH_DRAWS, search
from chem.label import Product
from chem.tank import Mix, Water, in_order

LEVERS = ("carrier", "rate", "water", "acid", "base", "swap", "order", "passes")


@dataclass(frozen=True)
class Fixes:
    """What works for a mix, the smallest change of each kind.

    answer: as `forecast` gives it; because: why nothing does: `nothing_to_change`, `forbidden`,
    `on_the_way`, `none`; no_use: kinds that don't; rules: that the mix as asked breaks; refused:
    the code by which it must never be poured, if any; on_the_way: chance of clouding while the mix
    as asked is poured; gases: what it gives off or heats; no proposal gives off another.
    """

    mix: Mix
    judged_at: str
    answer: str
    probability: dict[str, float]
    fixes: tuple[Fix, ...]
    no_use: tuple[NoUse, ...]
    rules: tuple[Rule, ...]
    refused: str | None
    on_the_way: float
    spray_within_minutes: float | None
    because: str | None
    gases: tuple[Evolved, ...]
    salt: Salt
    not_judged: tuple[str, ...]
    draws: int
    seed: int


@dataclass
class _Tried:
    """What was found so far, and what doesn't do."""

    fixes: list[Fix] = field(default_factory=list)
    no_use: list[NoUse] = field(default_factory=list)

    def add(self, fixes: Sequence[Fix], otherwise: NoUse) -> None:
        """Fixes of one kind, or why there are none."""
        self.fixes += fixes
        if not fixes:
            self.no_use.append(otherwise)


@one_thread()
def fix(
    mix: Mix,
    *,
    judged_at: str = "4h",
    count: int = 256,
    seed: int = 1,
    shelf: Sequence[Product] | None = None,
    agents: Sequence[Reagent] | None = None,
    waters: Sequence[Water] = (),
    study: Study | None = None,
) -> Fixes:
    """Search the levers of a mix.

    shelf: products that may stand in for one of the mix; agents: acids and bases that may be tried,
    as `choose_agent` gives them (default `mild_reagents`); waters: others of the shed, of which a
    share may be taken; study: what is believed and worked out already, in place of count and seed.

    Raises: InputProblem as `forecast`; ValueError for another `judged_at`.
    """
    known_time(judged_at)
    study = Study(count, seed) if study is None else study
    first = study.look(mix)
    rules = study.rules(mix, first)
    case = Case(study, mix, judged_at, first, rules)
    way = worst_on_the_way(study.few(SEARCH_DRAWS), mix)
    against = broken(rules)
    tried = _Tried()
    because = None
    if case.clear and not against and way < THRESHOLD:
        because = "nothing_to_change"
    elif case.clear and not against:
        _order(case, tried)
    else:
        _levers(case, shelf, mild_reagents() if agents is None else tuple(agents), waters, tried)
    if because is None and not tried.fixes:
        because = "forbidden" if against else "on_the_way" if case.clear else "none"
    return Fixes(
        mix=mix,
        judged_at=judged_at,
        answer=first.answer(judged_at).word,
        probability=dict(first.probability),
        fixes=tuple(tried.fixes),
        no_use=tuple(tried.no_use),
        rules=rules,
        refused=never(rules),
        on_the_way=way,
        spray_within_minutes=None if against else first.clear_minutes(),
        because=because,
        gases=tuple(case.gases),
        salt=salt(first),
        not_judged=first.not_judged,
        draws=study.count,
        seed=study.seed,
    )


def _levers(
    case: Case,
    shelf: Sequence[Product] | None,
    agents: Sequence[Reagent],
    waters: Sequence[Water],
    tried: _Tried,
) -> None:
    """What may help, a lever at a time.

    Only other company or none where a rule forbids these in one tank; only what mends the rule
    where the tank is clear.
    """
    kinds = {r.kind for r in broken(case.rules)}
    if "mix" not in kinds:
        if not case.clear or "carrier" in kinds:
            _carrier(case, tried)
        if not case.clear or "rate" in kinds:
            _rates(case, tried)
        if not case.clear:
            _water(case, waters, tried)
            _agents(case, agents, tried)
        if not case.clear or "order" in kinds:
            _order(case, tried)
        if case.clear and tried.fixes:
            return
    if never(case.rules) is None:
        _swaps(case, shelf, tried)
    parted = passes(case)
    if isinstance(parted, NoUse):
        tried.no_use.append(parted)
    else:
        tried.fixes.append(parted)


def _searched(case: Case, levers: Sequence[OneTank]) -> list[Fix]:
    """The fixes that levers of one kind come to."""
    found = search(case.study, levers)
    return [lever.fix(one) for lever, one in zip(levers, found, strict=True) if one is not None]


def _carrier(case: Case, tried: _Tried) -> None:
    if all(a.rate.per != "area" for a in case.mix.additions):
        tried.no_use.append(NoUse("carrier", "by_volume"))
        return
    lever = Carrier(case)
    if not lever.grid:
        tried.no_use.append(NoUse("carrier", "label"))
        return
    tried.add(_searched(case, [lever]), NoUse("carrier", "not_enough", lever.grid[-1]))


def _rates(case: Case, tried: _Tried) -> None:
    levers = [LessOf(case, i) for i in range(len(case.mix.additions))]
    found = _searched(case, [lever for lever in levers if lever.grid])
    least = min((lever.least for lever in levers), default=1.0)
    tried.add(sorted(found, key=lambda f: -(f.factor or 0.0)), NoUse("rate", "not_enough", least))


def _water(case: Case, waters: Sequence[Water], tried: _Tried) -> None:
    if case.mix.water.unknown:
        tried.no_use.append(NoUse("water", "water_unknown"))
        return
    tried.add(_searched(case, [SofterWater(case)]), NoUse("water", "not_enough"))
    own = {case.mix.water.identity, *(part.identity for part, _ in case.mix.water.parts)}
    others = [w for w in waters if w.identity not in own and not (w.unknown or w.parts)]
    tried.fixes += _searched(case, [OtherWater(case, water) for water in others])


def _agents(case: Case, agents: Sequence[Reagent], tried: _Tried) -> None:
    for reagent in agents:
        lever = Dose(case, reagent)
        try:
            against = dosing_rules(case.mix, reagent, lever.place, target=7.0)
        except ToxicGas:
            tried.no_use.append(NoUse(lever.name, "gas", reagent=reagent))
            continue
        if against:
            tried.no_use.append(NoUse(lever.name, "forbidden", reagent=reagent, rules=against))
            continue
        most = lever.grid[-1]
        tried.add(_searched(case, [lever]), NoUse(lever.name, "not_enough", most, reagent=reagent))


def _swaps(case: Case, shelf: Sequence[Product] | None, tried: _Tried) -> None:
    """A product of the shelf that brings the same main nutrient at the same weight per area."""
    if shelf is None:
        tried.no_use.append(NoUse("swap", "no_shelf"))
        return
    asked = swaps(case.mix, shelf)
    few = case.study.few(SEARCH_DRAWS)
    seen = few.follow([tank for *_, tank in asked], until=case.judged_at)
    order = sorted(range(len(asked)), key=lambda k: seen[k].cloudy(case.judged_at))
    found = []
    for k in order:
        place, other, rate, tank = asked[k]
        if seen[k].cloudy(case.judged_at) >= THRESHOLD or case.full([tank]) is None:
            continue
        one = case.fix("swap", [tank], [tank])
        found.append(replace(one, product=place, swap=(other, rate)))
    tried.add(found, NoUse("swap", "not_enough"))


def _order(case: Case, tried: _Tried) -> None:
    """Another pouring order, where the asked one breaks a rule or clouds on the way.

    The full tank is the same in any order, so none helps where that one clouds.
    """
    mix = case.mix
    if not case.clear or len(mix.additions) < 2:
        tried.no_use.append(NoUse("order", "same_tank"))
        return
    best = pour(mix, study=case.study).advised
    found = []
    if best is not None and best.indices != tuple(range(len(mix.additions))):
        tank = in_order(mix, best.indices)
        if case.full([tank]) is not None:
            one = case.fix("order", [mix], [tank])
            found = [one] if one.on_the_way < THRESHOLD else []
    tried.add(found, NoUse("order", "not_enough"))
