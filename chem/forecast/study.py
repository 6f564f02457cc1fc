"""The Study: what is believed, and what is already worked out. Every question is a lever on it.

A warm Study equals a cold one: what it keeps is known by what it rests on (the jug as read, the
water as read), and nothing is started from what happened to be solved before.
"""

from __future__ import annotations

from collections import OrderedDict, deque
from collections.abc import Callable, Hashable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from chem.doubts import Draws, range_of
from chem.equilibrium import Equilibrium, one_thread, solve
from chem.equilibrium.activity import Floats
from chem.forecast.answer import Answer
from chem.forecast.beliefs import NOTHING_LEARNED, Beliefs
from chem.forecast.course import Followed, follow
from chem.forecast.hazards import Gas, gases
from chem.forecast.prepare import Left, Prepared, as_left, assemble, stack, with_base
from chem.forecast.rules import Rule, ph_matters, refuse_toxic, rules_of
from chem.forecast.times import TIMES_S
from chem.label import Contents, Product, contents
from chem.tank import Leftover, Mix, Water, WaterTotals, water_totals

T = TypeVar("T")
LEAST_ROWS = 256
"""Contents are reckoned with at least so many draws; fewer are their first rows."""
ROWS_AT_ONCE = 1024
CORES = 2
MOST_JUGS, MOST_WATERS, MOST_ANSWERS, MOST_RESTS = 2048, 64, 64, 8


@dataclass(frozen=True)
class Variant:
    """A mix, or a moment of pouring it, or it with its pH moved.

    poured: places of the products that are in, None for all; water_share: of the water that is in;
    ph_shift: how far strong base or acid has moved the pH of each draw.
    """

    mix: Mix
    poured: tuple[int, ...] | None = None
    water_share: float = 1.0
    ph_shift: float = 0.0


class _Kept(OrderedDict[Hashable, T]):
    """Results by what they rest on, the latest used kept."""

    def __init__(self, most: int) -> None:
        super().__init__()
        self.most = most

    def of(self, key: Hashable, make: Callable[[], T]) -> T:
        if key in self:
            self.move_to_end(key)
            return self[key]
        return self.keep(key, make())

    def keep(self, key: Hashable, made: T) -> T:
        """Add or replace a result."""
        self[key] = made
        self.move_to_end(key)
        while len(self) > self.most:
            self.popitem(last=False)
        return made


class Study:
    """Draws, what is believed, and the jugs and waters reckoned so far. One thread owns it."""

    def __init__(self, draws: int = 256, seed: int = 1, beliefs: Beliefs = NOTHING_LEARNED) -> None:
        """draws: versions of each tank that are tried (one: the middle of every doubt); seed.

        Raises: ValueError for draws or seed that are no whole numbers.
        """
        asked = Draws(draws, seed)
        self.beliefs = beliefs
        self._whole = Draws(max(draws, LEAST_ROWS) if draws > 1 else 1, seed, beliefs.shared)
        self.draws = self._whole.first(asked.count)
        self._jugs: _Kept[Contents] = _Kept(MOST_JUGS)
        self._waters: _Kept[WaterTotals] = _Kept(MOST_WATERS)
        self._answers: _Kept[tuple[Mix, Beliefs, Answer]] = _Kept(MOST_ANSWERS)
        self._rests: deque[tuple[tuple[Leftover, int], Beliefs, Left]] = deque(maxlen=MOST_RESTS)
        self._ruler: Study | None = None
        self._last: tuple[Mix, tuple[float, float]] | None = None
        self._moving: Study | None = None
        self._near: Equilibrium | None = None
        self.moves = False

    def __repr__(self) -> str:
        return f"<Study of {self.count} draws, seed {self.seed}; jugs known: {len(self._jugs)}>"

    @property
    def count(self) -> int:
        """Versions of each tank."""
        return self.draws.count

    @property
    def seed(self) -> int:
        """Seed of the draws."""
        return self.draws.seed

    def few(self, count: int) -> Study:
        """A Study of the first draws, with all that is worked out here."""
        return self if count >= self.count else self._view(self._whole.first(count))

    def moving(self, count: int) -> Study:
        """A Study of the first draws for a tank that a hand is just changing: each starts from
        the one before, rules go by these draws, and what only a whole sheet tells is left out."""
        if self._moving is None or self._moving.count != count:
            some = self._view(self._whole.first(count))
            some.moves, some._ruler, some._last = True, None, None
            self._moving = some
        return self._moving

    def _view(self, draws: Draws) -> Study:
        """Other rows of the same table, with the same memory."""
        some = object.__new__(Study)
        some.__dict__.update(self.__dict__)
        some.draws = draws
        return some

    def believing(self, beliefs: Beliefs) -> Study:
        """A Study of the same draws that believes otherwise; jugs and waters worked out here serve
        both.

        Raises: ValueError where either believes something of shared columns.
        """
        if self.beliefs.shared or beliefs.shared:
            raise ValueError("other columns are other draws")
        some = self._view(self.draws)
        some.beliefs = beliefs
        some._ruler, some._last, some._moving, some._near = None, None, None, None
        return some

    def middle(self) -> Study:
        """A Study of one draw, the middle of every doubt."""
        return Study(1, self.seed, self.beliefs)

    def contents(self, product: Product, *, strict: bool = True) -> Contents:
        """What a jug holds (N rows), reckoned once. Raises: InputProblem as `label.contents`."""
        return self.reckoned(product, strict=strict).first(self.count)

    def reckoned(self, product: Product, *, strict: bool = True) -> Contents:
        """What a jug holds, of every draw there is. Raises: InputProblem as `contents`."""

        believed = self.beliefs.jug(product)

        def make() -> Contents:
            with one_thread():
                return contents(believed, self._whole, strict=strict)

        inside = self._jugs.of((believed.identity, strict), make)
        if inside.product is not product:
            inside = replace(inside, product=product)
        return inside

    def know(self, product: Product, inside: Contents) -> None:
        """Keep what another process reckoned of a jug with the same draws and beliefs."""
        self._jugs[self.beliefs.jug(product).identity, True] = replace(inside, product=product)

    def water(self, water: Water) -> WaterTotals:
        """What a water holds (N rows), reckoned once."""

        def make() -> WaterTotals:
            with one_thread():
                return water_totals(water, self._whole)

        return self._waters.of(water.identity, make).first(self.count)

    def stand(self, asked: Mix | Variant) -> Prepared:
        """A mix, or a moment of it, carried to its finished solution.

        Raises: InputProblem for a label that can't be met; ToxicGas.
        """
        variant = Variant(asked) if isinstance(asked, Mix) else asked
        mix = variant.mix
        refuse_toxic(mix)
        inside = tuple(self.contents(a.product) for a in mix.additions)
        water = self.water(mix.water)
        left = tuple(self._left(one) for one in mix.leftovers if one.share > 0.0)
        ready = assemble(mix, self.draws, inside, water, variant.poured, variant.water_share, left)
        if self.moves:
            ready = replace(ready, near=self._near)
        moves = self.beliefs.moves
        with one_thread():
            if moves is not None and moves.knows([a.product.identity for a in mix.additions]):
                clear = ready.speciated()
                ready = with_base(ready, _base_for(clear, moves.shift(ready, clear)))
            if variant.ph_shift != 0.0:
                ready = with_base(ready, _base_for(ready.speciated(), variant.ph_shift))
        return ready

    def _left(self, leftover: Leftover) -> Left:
        """What is left of an earlier tank, as it is by its age; reckoned once."""
        asked = replace(leftover, share=1.0), self.count
        for known, beliefs, left in self._rests:
            if beliefs is self.beliefs and known == asked:
                return replace(left, share=leftover.share)
        left = self._aged(leftover)
        self._rests.append((asked, self.beliefs, left))
        return left

    def _aged(self, leftover: Leftover) -> Left:
        found = self.look(leftover.mix)
        out = found.out_by(min(leftover.age_s, TIMES_S["24h"])).each if leftover.age_s else None
        amounts = (
            {}
            if out is None
            else {part.key: out[:, k] for k, part in enumerate(found.parts) if part.decides}
        )
        return Left(found.ready, as_left(found.ready, leftover.age_s), leftover.share, amounts)

    def look(self, asked: Mix | Variant) -> Followed:
        """One tank through the day, everything that forms settled."""
        with one_thread():
            found = self._believed(follow(self.stand(asked)))
        if self.moves:
            self._near = found.fresh.clear
        return found

    def follow(self, asked: Sequence[Mix | Variant], *, until: str = "24h") -> list[Followed]:
        """K tanks through the day, in few batches of like components; what shows late has no
        amount by then.

        until: the last time wanted, `fresh` for none. Raises: InputProblem and ToxicGas as `stand`.
        """
        tanks = [self.stand(a) for a in asked]
        size = max(1, ROWS_AT_ONCE // self.count)
        batches = list(batched(tanks, size))
        out: dict[int, Followed] = {}

        def run(batch: Sequence[int]) -> list[Followed]:
            return self._batch([tanks[k] for k in batch], until)

        with one_thread(), ThreadPoolExecutor(CORES) as pool:
            for batch, found in zip(batches, pool.map(run, batches), strict=True):
                out.update(zip(batch, found, strict=True))
        return [out[k] for k in range(len(tanks))]

    def answers(self, mixes: Sequence[Mix], judged_at: str) -> list[Answer]:
        """The answers of some tanks by a time; of those asked for again, as they were found."""
        found: dict[int, Answer] = {}
        keys = [
            (judged_at, self.count, *(a.product.identity for a in mix.additions)) for mix in mixes
        ]
        for k, (key, mix) in enumerate(zip(keys, mixes, strict=True)):
            known = self._answers.get(key)
            if known is not None and known[0] == mix and known[1] is self.beliefs:
                found[k] = known[2]
        new = [k for k in range(len(mixes)) if k not in found]
        for k, seen in zip(new, self.follow([mixes[k] for k in new], until=judged_at), strict=True):
            found[k] = seen.answer(judged_at)
            self._answers.keep(keys[k], (mixes[k], self.beliefs, found[k]))
        return [found[k] for k in range(len(mixes))]

    def _batch(self, tanks: Sequence[Prepared], until: str) -> list[Followed]:
        if len(tanks) == 1:
            return [self._believed(follow(tanks[0], until=until, quick=not tanks[0].left))]
        found = follow(stack(tanks), until=until, quick=True)
        n = self.count
        return [
            self._believed(found.rows(slice(k * n, (k + 1) * n), tank))
            for k, tank in enumerate(tanks)
        ]

    def _believed(self, found: Followed) -> Followed:
        jugs = [a.product.identity for a in found.ready.mix.additions]
        shift, stretch = self.beliefs.memory(jugs), self.beliefs.stretch
        return replace(found, shift=shift, stretch=stretch)

    def fresh(self, asked: Mix | Variant) -> Equilibrium:
        """A tank at once, nothing settled."""
        with one_thread():
            return self.stand(asked).speciated()

    @property
    def ruler(self) -> Study:
        """The draws that rules go by, always as many and without beliefs: one mix, one verdict.
        While a hand moves, its own."""
        if self.moves:
            return self
        if self.beliefs is NOTHING_LEARNED and self._whole.count == LEAST_ROWS:
            return self if self.count == LEAST_ROWS else self._view(self._whole)
        if self._ruler is None:
            self._ruler = Study(LEAST_ROWS, self.seed)
        return self._ruler

    def rules(self, mix: Mix, followed: Followed | None = None) -> tuple[Rule, ...]:
        """Every rule that a mix breaks. followed: of that mix here, if it is at hand."""
        return rules_of(mix, self._label_ph(mix, followed)[0])

    def gases(self, mix: Mix, followed: Followed | None = None) -> list[Gas]:
        """What may fizz, smell or heat. followed: of that mix here, if it is at hand."""
        return gases(mix, self._label_ph(mix, followed)[1])

    def _label_ph(self, mix: Mix, followed: Followed | None) -> tuple[float, float]:
        """Lowest and median pH of the tank by its labels alone; 7 where none is found or needed."""
        ruler = self.ruler
        if not ph_matters(mix):
            return 7.0, 7.0
        if self._last is not None and self._last[0] is mix:
            return self._last[1]
        at_hand = followed is not None and ruler is self
        ph = range_of(followed.fresh.clear.ph if at_hand and followed else ruler.fresh(mix).ph)
        found = (ph.p05, ph.median) if np.isfinite(ph.median) else (7.0, 7.0)
        self._last = mix, found
        return found


def batched(tanks: Sequence[Prepared], size: int) -> list[list[int]]:
    """Places of tanks that go together: alike in temperature and in what they hold.

    The system of a batch then has few idle species, and only tanks that change with time age.
    """

    def alike(k: int) -> tuple[float, float, bool, int]:
        tank = tanks[k]
        coldest = np.inf if tank.coldest_celsius is None else tank.coldest_celsius
        changes = bool(tank.finished.held) or "Fe2" in tank.finished.components
        # What leftovers bring has already come out: each such tank goes alone.
        return tank.t_celsius, coldest, changes, k + 1 if tank.left else 0

    out: list[list[int]] = []
    for k in sorted(range(len(tanks)), key=lambda k: (alike(k), tanks[k].finished.components)):
        if not out or len(out[-1]) == size or alike(out[-1][0]) != alike(k):
            out.append([])
        out[-1].append(k)
    return out


def _base_for(clear: Equilibrium, shift: float | Floats) -> Floats:
    """(N,) strong base [mol/kg water] that moves the pH of each draw so far (acid: negative)."""
    target = np.clip(np.nan_to_num(clear.ph, nan=7.0) + shift, 0.0, 14.0)
    moved = solve(clear.system, clear.totals, clear.conditions, ph=target)
    return np.asarray(-np.nan_to_num(moved.molality @ clear.system.charge))
