"""One thread owns the Study; what the hand moves comes newest first."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any

from chem.forecast import Study

MOST_WAITING = 32
"""Questions that wait at once; more are told to come again."""


class Busy(Exception):
    """Another question took this one's place, or too many wait."""


@dataclass
class _Job:
    window: str
    moving: bool
    work: Callable[[Study], Any]
    answer: Future[Any]


class Worker:
    """Runs questions one at a time on its own thread.

    A question of a moving slider waits in its window's one place: a newer one of that window takes
    it and the older is told `Busy`. Moves go before the rest, the newest first.
    """

    def __init__(self, study: Study) -> None:
        self._study = study
        self._moves: dict[str, _Job] = {}
        self._rest: deque[_Job] = deque()
        self._ready = threading.Condition()
        self._open = True
        self._thread = threading.Thread(target=self._run, name="study", daemon=True)
        self._thread.start()

    def ask(
        self, work: Callable[[Study], Any], window: str = "", *, moving: bool = False
    ) -> Future[Any]:
        """The answer to come; `work` gets the Study. Its exceptions come with the answer."""
        job = _Job(window, moving, work, Future())
        with self._ready:
            if not self._open or len(self._rest) + len(self._moves) >= MOST_WAITING:
                job.answer.set_exception(Busy())
            elif moving:
                older = self._moves.pop(window, None)
                if older is not None:
                    older.answer.set_exception(Busy())
                self._moves[window] = job
            else:
                self._rest.append(job)
            self._ready.notify()
        return job.answer

    def close(self) -> None:
        """Stop after the question in hand; what waits is told `Busy`."""
        with self._ready:
            self._open = False
            waiting = [*self._moves.values(), *self._rest]
            self._moves.clear()
            self._rest.clear()
            self._ready.notify()
        for job in waiting:
            job.answer.set_exception(Busy())
        self._thread.join(timeout=30.0)

    def _next(self) -> _Job | None:
        with self._ready:
            while self._open and not self._moves and not self._rest:
                self._ready.wait()
            if not self._open:
                return None
            return self._moves.popitem()[1] if self._moves else self._rest.popleft()

    def _run(self) -> None:
        while (job := self._next()) is not None:
            if not job.answer.set_running_or_notify_cancel():
                continue
            try:
                job.answer.set_result(job.work(self._study))
            except BaseException as error:  # the thread must outlive a fault of one question
                job.answer.set_exception(error)
