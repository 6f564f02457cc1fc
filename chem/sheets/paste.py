"""What was understood of a pasted label, and what was not."""

from __future__ import annotations

from chem.label.printed.records import Pasted


def paste_remarks(pasted: Pasted) -> list[str]:
    """Lines for the person: understood first, then what was left out, then what wasn't read."""
    out = ["Understood:"]
    out += [f"  line {u.line_number}: {u.line} -> {u.meaning}" for u in pasted.understood]
    if pasted.ignored:
        out.append("Left out:")
        out += [f"  line {i.line_number}: {i.line} ({i.reason})" for i in pasted.ignored]
    if pasted.not_understood:
        out.append("Not understood:")
        out += [f"  line {n.line_number}: {n.line} ({n.why})" for n in pasted.not_understood]
        for line in pasted.not_understood:
            if line.near:
                out.append(f"    did you mean {', '.join(f'`{n}`' for n in line.near)}?")
    out += [f"Contradiction: {p}" for p in pasted.problems]
    return out


def read_back(text: str, pasted: Pasted) -> list[str]:
    """The text line by line, beside each what was understood of it; then the questions."""
    rows = text.splitlines()
    width = min(40, max((len(" ".join(row.split())) for row in rows), default=0))
    said: dict[int, list[str]] = {}
    for u in pasted.understood:
        said.setdefault(u.line_number, []).append(u.meaning)
    for i in pasted.ignored:
        said.setdefault(i.line_number, []).append(f"({i.reason})")
    for n in pasted.not_understood:
        said.setdefault(n.line_number, []).append("? see below")
    out = []
    for number, row in enumerate(rows, start=1):
        words = " ".join(row.split())
        if words:
            beside = "; ".join(dict.fromkeys(said.get(number, [])))
            out.append(f"{number:3} {words:<{width}} | {beside}".rstrip())
    if pasted.not_understood:
        out.append("Questions:")
    for n in pasted.not_understood:
        out.append(f"  line {n.line_number}: {n.line} ({n.why})")
        if n.near:
            out.append(f"    did you mean {', '.join(f'`{near}`' for near in n.near)}?")
    out += [f"Contradiction: {p}" for p in pasted.problems]
    return out
