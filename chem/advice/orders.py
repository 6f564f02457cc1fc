"""The best pouring orders of a mix: 2^n sets poured answer for n! orders.

The state after a step depends only on the set poured. The worst chance of an order is a maximum,
not a sum, so the orders of each worst chance are sought on the sets that don't exceed it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from heapq import nsmallest

from chem.forecast.order import Order

LISTED = 5
Cost = tuple[int, int, int]
Node = tuple[int, int]
"""(products poured as bits, the last of them); the empty tank is (0, -1)."""


def members(poured: int) -> list[int]:
    """Places of a set of bits."""
    return [i for i in range(poured.bit_length()) if poured >> i & 1]


def reachable(order: Order) -> set[int]:
    """Sets that stand on some order that keeps every rule."""
    nodes = _forward(order)
    n = len(order.products)
    leads = {node for node in nodes if node[0] == (1 << n) - 1}
    for poured, last in sorted(nodes, reverse=True):
        if any(
            (poured | 1 << j, j) in leads and order.allow(poured, last, j)
            for j in range(n)
            if not poured >> j & 1
        ):
            leads.add((poured, last))
    return {poured for poured, _ in leads if poured}


def _forward(order: Order) -> set[Node]:
    """Nodes that can be reached."""
    n = len(order.products)
    nodes = {(0, -1)}
    layer = nodes
    for _ in range(n):
        layer = {
            (poured | 1 << j, j)
            for poured, last in layer
            for j in range(n)
            if not poured >> j & 1 and order.allow(poured, last, j)
        }
        nodes = nodes | layer
    return nodes


def best_orders(
    chances: Mapping[int, float], order: Order, custom: Sequence[int], least: float
) -> tuple[list[tuple[int, ...]], int, float]:
    """The best orders; how many keep the rules; the chance of the worst of them.

    By the worst chance first, then by the chances of all steps (in tenths), then by the custom of
    the trade, then by nearness to the asked order. least: the chance of the full tank.
    """
    n = len(order.products)
    end = (1 << n) - 1
    nodes: dict[Node, tuple[int, float, float]] = {(0, -1): (1, least, least)}
    steps: dict[Node, list[Node]] = {}
    for poured in range(end):
        for last in range(-1, n):
            if (poured, last) not in nodes:
                continue
            ways, low, high = nodes[poured, last]
            for j in range(n):
                after = (poured | 1 << j, j)
                if poured >> j & 1 or after[0] not in chances:
                    continue
                if not order.allow(poured, last, j):
                    continue
                steps.setdefault(after, []).append((poured, last))
                chance = chances[after[0]]
                w, lo, hi = nodes.get(after, (0, float("inf"), 0.0))
                nodes[after] = (w + ways, min(lo, max(low, chance)), max(hi, high, chance))
    ends = [nodes[end, j] for j in range(n) if (end, j) in nodes]
    if not ends:
        return [], 0, 0.0
    least, most = min(e[1] for e in ends), max(e[2] for e in ends)
    found: list[tuple[int, ...]] = []
    for worst in sorted({least, *(c for c in chances.values() if least < c <= most)}):
        if len(found) < LISTED:
            found += _at_worst(worst, least, chances, steps, custom, n)
    return found[:LISTED], sum(e[0] for e in ends), most


def _at_worst(
    worst: float,
    least: float,
    chances: Mapping[int, float],
    steps: Mapping[Node, Sequence[Node]],
    custom: Sequence[int],
    n: int,
) -> list[tuple[int, ...]]:
    """The best orders whose worst chance is exactly `worst`, no more than are listed."""
    empty: tuple[Cost, tuple[int, ...]] = ((0, 0, 0), ())
    # Whether `worst` was met yet is part of the state; no order stays below the least of all.
    best = {(0, -1, worst <= least): [empty]}
    for after in sorted(steps):
        poured, j = after
        if chances[poured] > worst:
            continue
        cost = _cost(poured, j, chances[poured], custom)
        for met in (False, True):
            paths = []
            for before in steps[after]:
                for was in (False, True):
                    if (was or chances[poured] == worst) is met:
                        paths += best.get((*before, was), [])
            longer = (
                ((c[0] + cost[0], c[1] + cost[1], c[2] + cost[2]), (*order, j))
                for c, order in paths
            )
            kept = nsmallest(LISTED, longer)
            if kept:
                best[(*after, met)] = kept
    end = (1 << n) - 1
    done = [path for j in range(n) for path in best.get((end, j, True), [])]
    return [order for _, order in nsmallest(LISTED, done)]


def _cost(poured: int, j: int, chance: float, custom: Sequence[int]) -> Cost:
    """What pouring j into the rest of `poured` adds: chance in tenths, customs and places broken.

    Chances are taken in tenths, so that a few draws don't outweigh the custom.
    """
    before = [i for i in members(poured) if i != j]
    return (
        round(10.0 * chance),
        sum(custom[i] > custom[j] for i in before),
        sum(i > j for i in before),
    )
