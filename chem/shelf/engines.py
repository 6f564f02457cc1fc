"""Where batches are computed: on this machine's cores, or on a cluster. The results are the same.

What a batch gives depends on the batch alone, so neither the order of finishing nor a worker that
dies and has its batches done again changes a digit.
"""

from __future__ import annotations

import multiprocessing
import os
import re
import signal
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from importlib import import_module
from itertools import islice
from typing import Any, TypeVar

from chem.errors import InputProblem, Problem
from chem.reference.fingerprint import made_with
from chem.shelf.tanks import Batch, Odds, evaluate_batch

T = TypeVar("T")
Places = tuple[int, ...]
Done = tuple[Places, list[list[Odds]]]
Engine = Callable[[Iterable[tuple[Places, Batch]], int], Generator[Done, None, None]]
"""(batches with their places, equilibria in all) -> results as they come, in any order.

Closed before it is through, it lets its workers go.
"""

ALONE_BELOW = 12_000
"""Equilibria for which starting more processes costs more than it saves."""
AHEAD = 2
"""Batches kept ready per worker, so that memory does not grow with the shelf."""
MANY, TOGETHER = 40, 4
"""Labels from which on their contents are reckoned by all workers, and how many at a time."""
TRIES_AGAIN = 5
ANSWERS_WITHIN_S = 10.0
"""How long a scheduler and its first worker may take to answer."""


def cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@dataclass(frozen=True)
class Local:
    """This machine's cores, `workers` of them; few batches run in this process."""

    workers: int

    def __call__(
        self, work: Iterable[tuple[Places, Batch]], equilibria: int
    ) -> Generator[Done, None, None]:
        """An engine: batches with their places -> results."""
        count = self.workers
        if count < 2 or equilibria < ALONE_BELOW:
            for places, batch in work:
                yield places, evaluate_batch(batch)
            return
        pool = _pool(count, _deaf)
        todo = iter(work)
        waiting: dict[Future[list[list[Odds]]], tuple[Places, Batch]] = {}
        try:
            for places, batch in todo:
                try:
                    waiting[pool.submit(evaluate_batch, batch)] = (places, batch)
                except BrokenProcessPool:
                    yield places, evaluate_batch(batch)
                    break
                if len(waiting) >= count * AHEAD:
                    yield from _finished(waiting)
            while waiting:
                yield from _finished(waiting)
            # Something is left only where a worker was ended from outside.
            for places, batch in todo:
                yield places, evaluate_batch(batch)
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


def local(workers: int | None = None) -> Local:
    """This machine's cores, all by default."""
    return Local(cores() if workers is None else workers)


def _pool(count: int, begin: Callable[..., None], *given: object) -> ProcessPoolExecutor:
    """Worker processes. A forked one starts at once, with the tables read; elsewhere each reads
    its own."""
    way = "fork" if "fork" in multiprocessing.get_all_start_methods() else "spawn"
    context = multiprocessing.get_context(way)
    return ProcessPoolExecutor(count, mp_context=context, initializer=begin, initargs=given)


_AT_HAND: list[Callable[[int], Any]] = []
"""What a forked worker was started for."""


def spread_out(make: Callable[[int], T], count: int, workers: int) -> Iterator[T]:
    """make(0), make(1), ... in order, by forked workers where there are many and it can be."""
    if count < MANY or workers < 2 or "fork" not in multiprocessing.get_all_start_methods():
        yield from map(make, range(count))
        return
    done = 0
    try:
        with _pool(workers, _begin, make) as pool:
            for found in pool.map(_made, range(count), chunksize=TOGETHER):
                yield found
                done += 1
    except BrokenProcessPool:  # a worker was ended from outside
        yield from map(make, range(done, count))


def _begin(make: Callable[[int], Any]) -> None:
    _deaf()
    _AT_HAND[:] = [make]


def _made(index: int) -> Any:
    return _AT_HAND[0](index)


def _finished(waiting: dict[Future[list[list[Odds]]], tuple[Places, Batch]]) -> Iterator[Done]:
    """What is done by now; what a worker ended from outside has left is done here."""
    done, _ = wait(waiting, return_when=FIRST_COMPLETED)
    for future in done:
        places, batch = waiting.pop(future)
        try:
            found = future.result()
        except BrokenProcessPool:
            found = evaluate_batch(batch)
        yield places, found


def _deaf() -> None:
    """Ctrl-C is for the first process, which then lets its workers go."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def cluster(address: str) -> Engine:
    """The workers of a dask scheduler, such as `tcp://127.0.0.1:8786`.

    Raises: InputProblem where it is no address or `distributed` is not installed; once it is
        run, where no scheduler answers there, or a worker is missing or made otherwise.
    """
    where = f"command line, --scheduler {address}"
    try:
        dask: Any = import_module("distributed")
    except ImportError:
        raise InputProblem(
            Problem(where, "the cluster extra is not installed", 'pip install "jarsight[cluster]"')
        ) from None

    if not re.fullmatch(r"[a-z]+://.+:\d+/?", address):
        raise InputProblem(
            Problem(where, "an address has a scheme, a host and a port", "tcp://127.0.0.1:8786")
        )

    def run(work: Iterable[tuple[Places, Batch]], equilibria: int) -> Generator[Done, None, None]:
        try:
            client = dask.Client(address, timeout=f"{ANSWERS_WITHIN_S:g}s", set_as_default=False)
        except (OSError, ValueError) as error:
            raise InputProblem(
                Problem(where, f"no scheduler answers ({error})", "the address it prints")
            ) from None
        with client:
            _same_everywhere(client, where, address)
            ahead = AHEAD * max(1, len(client.scheduler_info()["workers"]))
            pending = dask.as_completed(loop=client.loop)
            places: dict[Any, Places] = {}
            todo = iter(work)

            def submit(count: int) -> None:
                for place, batch in islice(todo, count):
                    future = client.submit(evaluate_batch, batch, pure=False, retries=TRIES_AGAIN)
                    places[future.key] = place
                    pending.add(future)

            submit(ahead)
            for future in pending:
                submit(1)
                yield places.pop(future.key), future.result()

    return run


def _same_everywhere(client: Any, where: str, address: str) -> None:
    """Raises: InputProblem where no worker is there, or one would give other digits."""
    try:
        client.wait_for_workers(1, timeout=ANSWERS_WITHIN_S)
        found = client.run(made_with)
    except TimeoutError:
        raise InputProblem(
            Problem(where, "the scheduler has no workers", f"dask worker {address}")
        ) from None
    except ImportError as error:
        raise InputProblem(
            Problem(where, f"a worker lacks a package ({error})", "pip install jarsight on each")
        ) from None
    mine = made_with()
    problems = [
        Problem(where, f"worker {worker} has {key} {theirs.get(key)}", f"{key} {value}, as here")
        for worker, theirs in found.items()
        for key, value in mine.items()
        if theirs.get(key) != value
    ]
    if problems:
        raise InputProblem(problems)
