"""The answer, by the chances of a tank."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from chem.reference import tables

THRESHOLD = 0.10
FAILED_SHARE = 0.10


@dataclass(frozen=True)
class Answer:
    """What is said of a tank, the chance behind it, and why it can't be told, if so.

    cause: `failed` (draws without an equilibrium, `share` of them), `strong` (ionic strength
    `share` [mol/kg] beyond the model), `unjudged` (products that are not salts), or empty.
    """

    word: str
    chance: float
    cause: str = ""
    share: float = 0.0
    unjudged: tuple[str, ...] = ()


def answer_from(
    probability: Mapping[str, float],
    clogs: Mapping[str, float],
    judged_at: str,
    ionic: float,
    failed: float,
    unjudged: Sequence[str],
) -> Answer:
    """The answer, by the chances of a tank; clogging before showing, salts before the rest."""
    if failed > FAILED_SHARE:
        return Answer("cannot tell", 1.0 - failed, "failed", failed)
    if not ionic <= tables().value("ionic_strength_limit"):
        return Answer("cannot tell", probability[judged_at], "strong", ionic)
    if clogs[judged_at] >= THRESHOLD:
        return Answer("curdle", clogs[judged_at])
    if probability[judged_at] >= THRESHOLD:
        return Answer("haze", probability[judged_at])
    if unjudged:
        clear = 1.0 - probability[judged_at]
        return Answer("cannot tell", clear, "unjudged", unjudged=tuple(unjudged))
    return Answer("clear", 1.0 - probability[judged_at])
