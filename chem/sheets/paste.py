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
