"""What the exit codes mean."""

from __future__ import annotations

from enum import IntEnum


class Exit(IntEnum):
    """Exit codes of every command."""

    OK = 0
    """A forecast was made, whatever it says."""
    FAILED_CHECK = 1
    """A check value or an invariant failed on this machine."""
    INPUT = 2
    """What was written can't be used; nothing was written."""
    FAULT = 70
    """A fault of ours (`EX_SOFTWARE` of BSD's sysexits)."""
    INTERRUPTED = 130
    """Ctrl-C, as shells number it."""
