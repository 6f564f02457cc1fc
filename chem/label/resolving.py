"""Names on a label against the sources and guarantee lines of the tables."""

from __future__ import annotations

import difflib
from collections.abc import Mapping

from chem.files import Collector
from chem.reference import Guarantee, Source, catalogue

LIKE_A_SLIP = 0.93
"""Names this like a known one are taken for a slip of the pen and asked about."""


def resolve_source(name: str, key: str, found: Collector) -> list[Source]:
    """A name on the "derived from" line -> sources; problems go to `found`."""
    known = catalogue()
    plain = " ".join(name.lower().split())
    if plain in known.ambiguous:
        choices = known.ambiguous[plain]
        found.add(
            key,
            name,
            "this name is used for more than one compound",
            "which one? " + ", ".join(f"`{c}`" for c in choices),
        )
        return []
    if plain not in known.source_names:
        near = known.look_alikes(plain, known.source_names)
        found.add(
            key,
            name,
            "no source of that name",
            f"did you mean {', '.join(f'`{n}`' for n in near)}?"
            if near
            else "the plain chemical name, such as `calcium nitrate`",
        )
        return []
    source = known.sources[known.source_names[plain]]
    if source.mixture_of:
        return [known.sources[s] for s in source.mixture_of]
    return [source]


def resolve_guarantee(name: str) -> Guarantee | None:
    """A guarantee line as printed -> the line, or None."""
    known = catalogue()
    if name in known.guarantees:
        return known.guarantees[name]
    key = known.guarantee_names.get(" ".join(name.lower().split()))
    return known.guarantees[key] if key else None


def like(name: str, among: Mapping[str, str]) -> bool:
    """Whether it is a known name but for a slip of the pen."""
    return bool(difflib.get_close_matches(name, list(among), n=1, cutoff=LIKE_A_SLIP))
