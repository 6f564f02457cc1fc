"""From one tank to the next: what must not meet in hose and sump, and how often to rinse.

Each rinse leaves what stays in the sump, diluted: s / (s + r) of what was there (well mixed).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from chem.equilibrium import one_thread
from chem.errors import ToxicGas
from chem.forecast import Gas, Rule, Study, rules_of
from chem.forecast.rules import refuse_toxic
from chem.tank import Leftover, Mix

CLEAN = 0.01
"""Share of the earlier spray down to which is rinsed: a hundredth."""
RINSE_SHARE = 0.1
"""Water of one rinse, of the tank (common practice, no source)."""
SUMPS = (0.01, 0.02, 0.05)
"""What may stay in a sump that nobody measured, of the tank."""
HALF = 0.5
"""Where both meet in a hose, at their worst in equal parts."""
UNTIL = "15min"


@dataclass(frozen=True)
class Rinsing:
    """From a tank to the next one.

    before, after: the mixes; meets: the next one with equal parts of the earlier, which rules and
    gases speak of; rules: what must not meet; stops: the code by which the two must never meet at
    all; clouds: chance that solids show within 15 min where they meet in equal parts, None where
    that is never looked at; alone: the same of the worse of the two; culprit: what then shows;
    rinse_L: of one rinse, None where no tank is named; sump_L: measured, None where not; rinses:
    with that sump; by_sump: (share of the tank that stays, rinses) where it was not measured.
    """

    before: Mix
    after: Mix
    meets: Mix
    rules: tuple[Rule, ...]
    stops: str | None
    gases: tuple[Gas, ...]
    clouds: float | None
    alone: float
    culprit: str | None
    rinse_L: float | None
    sump_L: float | None
    rinses: int | None
    by_sump: tuple[tuple[float, int], ...]
    draws: int
    seed: int


def rinses_needed(stays: float, water: float, clean: float = CLEAN) -> int:
    """Rinses until a share `clean` of what was there is left.

    stays: what stays after draining; water: of one rinse, in the same unit.

    Raises: ValueError for amounts that are not above zero.
    """
    if not min(stays, water) > 0.0 or not math.isfinite(stays + water):
        raise ValueError("what stays and the water of a rinse are above zero")
    return max(1, math.ceil(math.log(clean) / math.log(stays / (stays + water)) - 1e-9))


@one_thread()
def rinsing(
    before: Mix,
    after: Mix,
    *,
    sump_L: float | None = None,
    count: int = 64,
    seed: int = 1,
    study: Study | None = None,
) -> Rinsing:
    """What must not meet between two mixes, and how often to rinse.

    sump_L: what stays in sump, pump and hoses once drained, None for what the sprayer's file says,
    if anything.

    Raises: InputProblem as `forecast`; ValueError for a sump that is none.
    """
    study = Study(count, seed) if study is None else study
    meets = replace(after, leftovers=(Leftover(replace(before, leftovers=()), HALF, 0.0),))
    if sump_L is None:
        machines = (m.sprayer for m in (before, after) if m.sprayer is not None)
        sump_L = next((m.stays_in_sump_L for m in machines if m.stays_in_sump_L), None)
    tank = before.tank_L or after.tank_L
    water = None if tank is None else RINSE_SHARE * tank
    stops: str | None = None
    clouds: float | None = None
    alone, culprit = 0.0, None
    rules: Sequence[Rule] = ()
    gases: Sequence[Gas] = ()
    try:
        refuse_toxic(meets)
    except ToxicGas as danger:
        stops = danger.code
    if stops is None:
        n = len(after.additions)
        own = {(r.code, r.product, r.other) for r in rules_of(after)}
        rules = [
            r
            for r in study.rules(meets)
            if (r.code, r.product, r.other) not in own
            and r.other is not None
            and _parted(r.product, r.other, n)
        ]
        gases = [
            g
            for g in study.gases(meets)
            if g.cause == "meets" and g.other is not None and _parted(g.product, g.other, n)
        ]
        each = study.follow([meets, before, after], until=UNTIL)
        clouds = each[0].cloudy(UNTIL)
        alone = max(one.cloudy(UNTIL) for one in each[1:])
        part = each[0].culprit(UNTIL)
        culprit = None if part is None else part.name
    rinses = None if water is None or sump_L is None else rinses_needed(sump_L, water)
    return Rinsing(
        before=before,
        after=after,
        meets=meets,
        rules=tuple(rules),
        stops=stops,
        gases=tuple(gases),
        clouds=clouds,
        alone=alone,
        culprit=culprit,
        rinse_L=water,
        sump_L=sump_L,
        rinses=rinses,
        by_sump=()
        if sump_L is not None
        else tuple((share, rinses_needed(share, RINSE_SHARE)) for share in SUMPS),
        draws=study.count,
        seed=study.seed,
    )


def _parted(one: int | None, other: int, count: int) -> bool:
    """Whether two products stand in different tanks: places from `count` on are of the earlier."""
    return one is not None and (one < count) != (other < count)
