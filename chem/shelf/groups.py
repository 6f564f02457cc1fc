"""Groups that get along, and a list of products in the fewest tanks."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from itertools import islice

Members = tuple[int, ...]
WorkAll = Callable[[Sequence[Members]], Sequence[bool]]
CLIQUES_SEEN = 2_000
SHRUNK = 4
TRIED = 400
"""Whole tanks tried for one list; each is one forecast."""


def _friends(members: Collection[int], quarrels: Collection[Members]) -> dict[int, set[int]]:
    out = {i: set(members) - {i} for i in members}
    for a, b in quarrels:
        if a in out and b in out:
            out[a].discard(b)
            out[b].discard(a)
    return out


def cliques(friends: dict[int, set[int]]) -> Iterator[Members]:
    """Every largest set of mutual friends that no one can join.

    Bron and Kerbosch, Communications of the ACM 16 (1973) 575, with a pivot.
    """

    def grow(have: list[int], may: set[int], past: set[int]) -> Iterator[Members]:
        if not may and not past:
            yield tuple(sorted(have))
            return
        pivot = max(may | past, key=lambda v: (len(friends[v] & may), -v))
        for v in sorted(may - friends[pivot]):
            yield from grow([*have, v], may & friends[v], past & friends[v])
            may = may - {v}
            past = past | {v}

    yield from grow([], set(friends), set())


def largest_groups(
    members: Sequence[int], quarrels: Collection[Members], works: WorkAll, most: int, count: int
) -> list[Members]:
    """About `count` groups of at most `most` that get along as one tank, the largest first.

    quarrels: pairs that don't; works: tells for whole groups. A group of friends that fails as a
    whole loses its last member, and is tried again, a few times.
    """
    friends = islice(cliques(_friends(members, quarrels)), CLIQUES_SEEN)
    cut = dict.fromkeys(g[:most] for g in sorted(friends, key=lambda g: (-len(g), g)))
    todo = list(islice(cut, count))
    out: list[Members] = []
    for _ in range(SHRUNK):
        todo = [g for g in todo if len(g) > 2]
        if not todo:
            break
        fine = works(todo)
        out += [g for g, well in zip(todo, fine, strict=True) if well]
        todo = list(dict.fromkeys(g[:-1] for g, well in zip(todo, fine, strict=True) if not well))
    out.sort(key=lambda g: (-len(g), g))
    return [g for k, g in enumerate(out) if not any(set(g) <= set(other) for other in out[:k])]


def fewest_passes(
    members: Sequence[int], quarrels: Collection[Members], works: WorkAll
) -> tuple[tuple[Members, ...], bool]:
    """The members in as few tanks as get along, and whether no fewer will do.

    Two that quarrel never share a tank, whatever else is in it, and neither do three or more that
    fail: a tank is filled one after another. Every tank works as a whole.
    """
    friends = _friends(members, quarrels)
    order = sorted(members, key=lambda i: (len(friends[i]), i))
    known: dict[Members, bool] = {}
    left = [TRIED]

    def whole(group: Sequence[int]) -> bool:
        key = tuple(sorted(group))
        if len(key) < 3:
            return True
        if key not in known:
            if not left[0]:
                return False
            left[0] -= 1
            known[key] = works([key])[0]
        return known[key]

    def place(at: int, tanks: list[list[int]], count: int) -> list[Members] | None:
        if at == len(order):
            ready = len(tanks) == count and all(whole(t) for t in tanks)
            return [tuple(sorted(t)) for t in tanks] if ready else None
        new = order[at]
        for tank in tanks:
            if friends[new].issuperset(tank):
                tank.append(new)
                if whole(tank):
                    found = place(at + 1, tanks, count)
                    if found is not None:
                        return found
                tank.pop()
        if len(tanks) < count:
            tanks.append([new])
            found = place(at + 1, tanks, count)
            if found is not None:
                return found
            tanks.pop()
        return None

    for count in range(1, len(order) + 1):
        found = place(0, [], count)
        if found is not None:
            return tuple(found), left[0] > 0
    return tuple((i,) for i in order), False
