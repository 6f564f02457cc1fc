"""BLAS on one thread where we solve: its small matrices only lose by more."""

from __future__ import annotations

import threading
from contextlib import ContextDecorator
from functools import cache
from types import TracebackType
from typing import Any


class _OneThread(ContextDecorator):
    """A counted hold on the host's setting.

    The libraries are found once; the first to come in saves the setting, the last to leave puts it
    back, so that threads which overlap never leave one of ours behind. Newer threadpoolctl lets
    only the thread that set a pool first set it again, and others silently do nothing; the last to
    leave is seldom that one, so we let go of that right before and after.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._inside = 0
        self._controller: Any = None
        self._held: Any = None

    def __enter__(self) -> None:
        with self._lock:
            self._inside += 1
            if self._inside == 1:
                if self._controller is None:
                    from threadpoolctl import ThreadpoolController

                    self._controller = ThreadpoolController().select(user_api="blas")
                self._let_go()
                self._held = self._controller.limit(limits=1)

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        with self._lock:
            self._inside -= 1
            if self._inside == 0:
                self._let_go()
                self._held.restore_original_limits()
                self._let_go()
                self._held = None

    def _let_go(self) -> None:
        for library in self._controller.lib_controllers:
            clear = getattr(library, "clear_controlling_thread", None)
            if clear is not None:
                clear(force=True)


@cache
def _hold() -> _OneThread:
    return _OneThread()


def one_thread() -> _OneThread:
    """A block or, as a decorator, a function with BLAS on one thread; the host's setting after."""
    return _hold()
