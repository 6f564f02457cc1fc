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


def beside_lines(text: str, pasted: Pasted) -> list[tuple[int, str, str]]:
    """(line number, its text, what was understood of it) of every line that has one."""
    said: dict[int, list[str]] = {}
    for u in pasted.understood:
        said.setdefault(u.line_number, []).append(u.meaning)
    for i in pasted.ignored:
        said.setdefault(i.line_number, []).append(f"({i.reason})")
    for n in pasted.not_understood:
        said.setdefault(n.line_number, []).append("? see below")
    rows = [(number, " ".join(row.split())) for number, row in enumerate(text.splitlines(), 1)]
    return [(k, row, "; ".join(dict.fromkeys(said.get(k, [])))) for k, row in rows if row]


def paste_questions(pasted: Pasted) -> list[str]:
    """What is not understood, and what contradicts itself."""
    out = []
    for n in pasted.not_understood:
        near = f" Did you mean {', '.join(f'`{name}`' for name in n.near)}?" if n.near else ""
        out.append(f"line {n.line_number}: {n.line} ({n.why}){'.' if near else ''}{near}")
    return out + [f"Contradiction: {p}" for p in pasted.problems]


def read_back(text: str, pasted: Pasted) -> list[str]:
    """The text line by line, beside each what was understood of it; then the questions."""
    rows = beside_lines(text, pasted)
    width = min(40, max((len(row) for _, row, _ in rows), default=0))
    out = [f"{number:3} {row:<{width}} | {beside}".rstrip() for number, row, beside in rows]
    if pasted.not_understood:
        out.append("Questions:")
    for n in pasted.not_understood:
        out.append(f"  line {n.line_number}: {n.line} ({n.why})")
        if n.near:
            out.append(f"    did you mean {', '.join(f'`{near}`' for near in n.near)}?")
    out += [f"Contradiction: {p}" for p in pasted.problems]
    return out
