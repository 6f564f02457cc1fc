"""Every constant with its source, and a search through them.

Rows are read as they stand in `data/`, so that a table added there is listed too.
"""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache

from chem.errors import InputProblem, Problem
from chem.reference import catalogue, data_folder, molar_mass_g_per_mol, read_csv, read_toml, tables


@dataclass(frozen=True)
class Entry:
    """One constant.

    value [unit] with one standard uncertainty, or None where a row holds no single number;
    kind: measured, fitted, analogue, estimate ...; citation: the source in full;
    more: the row's other cells, in the table's order.
    """

    table: str
    key: str
    value: float | None
    unit: str
    uncertainty: float | None
    t_min_celsius: float | None
    t_max_celsius: float | None
    kind: str
    source: str
    citation: str
    where: str
    note: str
    more: Mapping[str, str]

    @property
    def text(self) -> str:
        """Everything it says, for searching, in lower case."""
        cells = [self.table, self.key, self.unit, self.kind, self.source, self.citation]
        cells += [self.where, self.note, *self.more.values()]
        return "\n".join(cells).casefold()


@dataclass(frozen=True)
class _Layout:
    """Which cells of a table hold what."""

    key: tuple[str, ...]
    value: str = ""
    unit: str = ""
    uncertainty: str = ""
    kind: str = ""
    source: str = "source"


_LAYOUTS = {
    "components": _Layout(("component",), kind="definition"),
    "species": _Layout(("species",), "log_k", "log10 K, molal, I = 0, 25 C", "log_k_u"),
    "interactions": _Layout(("ion_i", "ion_j"), "eps_kg_per_mol", "kg/mol", "eps_u_kg_per_mol"),
    "interaction_rules": _Layout(
        ("rule", "cation_charge", "anion_charge"),
        "eps_kg_per_mol",
        "kg/mol",
        "eps_u_kg_per_mol",
        kind="estimate",
    ),
    "solids": _Layout(("solid",), "log_k", "log10 Ksp, molal, I = 0, 25 C", "log_k_u"),
    "clouding": _Layout(("curve", "si_per_two_ions"), "t_median_s", "s"),
    "physical": _Layout(("key",), "value"),
    "unlisted_pairs": _Layout(("cations", "anions"), kind="verdict"),
    "common_sources": _Layout(("guarantee", "source"), "chance", "chance", source="source_key"),
}
_PLAIN = _Layout(())
_NOT_CONSTANTS = {"references", "check_values"}
_SHOWN_APART = {"unit", "kind", "where", "note", "t_min_C", "t_max_C"}
_ESTIMATE_WORDS = ("estimate", "chosen")
_ESTIMATE_SOURCES = {"this_work", "common_practice"}


@cache
def _entries() -> tuple[Entry, ...]:
    names = [p.stem for p in data_folder().glob("*.csv") if p.stem not in _NOT_CONSTANTS]
    order = [n for n in _LAYOUTS if n in names] + sorted(set(names) - set(_LAYOUTS))
    out = [_entry(name, row) for name in order for row in read_csv(f"{name}.csv")]
    return (*out, *_sources(), *_guarantees())


def _entry(table: str, row: Mapping[str, str]) -> Entry:
    layout = _LAYOUTS.get(table, _PLAIN)
    names = list(row)
    key_columns = layout.key or (names[0],)
    value_column = layout.value or ("value" if "value" in row else "")
    apart = {*_SHOWN_APART, *key_columns, value_column, layout.uncertainty, layout.source}
    more = {n: row[n] for n in names if row[n] and n not in apart}
    value: float | None = None
    unit = layout.unit or row.get("unit", "")
    if table == "components":
        value, unit = molar_mass_g_per_mol(row["formula"]), "g/mol"
    elif unit == "formula":
        value, unit = tables().physical[row["key"]].value, "g/mol"
    elif value_column:
        value = _number(row[value_column])
        if value is None and row[value_column]:
            more[value_column] = row[value_column]
    source = row.get(layout.source) or row.get("source_key") or ""
    if not source and table == "components":
        source = "periodictable"
    return Entry(
        table,
        " ".join(row[c] or "any" for c in key_columns),
        value,
        unit,
        _number(row.get(layout.uncertainty, "")),
        _number(row.get("t_min_C", "")),
        _number(row.get("t_max_C", "")),
        row.get("kind") or row.get(layout.kind) or layout.kind or _kind(row, source),
        source,
        _citation(source),
        row.get("where", ""),
        row.get("note", ""),
        more,
    )


def _kind(row: Mapping[str, str], source: str) -> str:
    """The kind of a row whose table has no such column."""
    said = " ".join((row.get("where", ""), row.get("note", ""))).casefold()
    if source in _ESTIMATE_SOURCES or any(word in said for word in _ESTIMATE_WORDS):
        return "estimate"
    return "exact" if row.get("conditions", "").startswith("exact") else "measured"


def _citation(source: str) -> str:
    if source == "periodictable":
        return "Sum of standard atomic weights, by the library periodictable."
    return tables().references.get(source, source)


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def _sources() -> list[Entry]:
    """Source materials: molar mass from the formula, components per formula unit."""
    out = []
    for source in catalogue().sources.values():
        parts = ", ".join(f"{c} {n:g}" for c, n in source.components.items())
        more = {
            "formula": source.formula,
            "components": parts,
            "also called": ", ".join(source.aliases),
            "supplies": ", ".join(source.supplies),
            "hazard": ", ".join(sorted(source.hazard)),
        }
        out.append(
            Entry(
                "sources",
                source.key,
                source.molar_mass,
                "g/mol",
                None,
                None,
                None,
                "estimate" if "memory" in source.source else "definition",
                source.source,
                _citation(source.source),
                "",
                source.note,
                {k: v for k, v in more.items() if v},
            )
        )
    return out


def _guarantees() -> list[Entry]:
    """Guarantee lines: grams of what the line is expressed as per mole of its element."""
    raw = read_toml("guarantees.toml")
    out = []
    for line in catalogue().guarantees.values():
        entry = raw[line.key]
        more = {
            "expressed as": line.expressed_as,
            "element": line.element,
            "counts": ", ".join(f"{c} {n:g}" for c, n in line.counts.items()),
            "also printed": ", ".join(line.aliases),
            "allowance": f"{line.allowance_unit:g} + {line.allowance_percent:g} % of the guarantee,"
            f" at most {line.allowance_at_most:g} percentage points",
            "allowance source": entry.get("allowance_source", ""),
        }
        out.append(
            Entry(
                "guarantees",
                line.key,
                line.grams_per_mole,
                f"g of {line.expressed_as} per mol of {line.element}",
                None,
                None,
                None,
                "definition",
                "periodictable",
                _citation("periodictable"),
                "",
                entry.get("note", ""),
                {k: v for k, v in more.items() if v},
            )
        )
    return out


def kinds() -> tuple[str, ...]:
    """What `--kind` takes: names of tables, and kinds of constants."""
    entries = _entries()
    return tuple(dict.fromkeys([e.table for e in entries] + sorted({e.kind for e in entries})))


def summary() -> dict[str, dict[str, int]]:
    """Table -> kind -> how many."""
    out: dict[str, Counter[str]] = {}
    for entry in _entries():
        out.setdefault(entry.table, Counter())[entry.kind] += 1
    return {table: dict(counts.most_common()) for table, counts in out.items()}


def find_entries(words: Iterable[str] = (), kind: Iterable[str] = ()) -> list[Entry]:
    """Entries that mention every word and are of every kind, those named so first.

    Args:
        words: in any case, in any part of an entry; kind: tables or kinds, as `kinds` gives.

    Raises:
        InputProblem: an unknown kind, or nothing found.
    """
    wanted = [w.casefold() for w in words if w.strip()]
    asked = [k.casefold() for k in kind]
    unknown = [k for k in asked if k not in kinds()]
    if unknown:
        raise InputProblem(
            Problem(
                f"--kind {unknown[0]}",
                "there is no such table or kind of constant",
                "one of " + ", ".join(kinds()),
            )
        )
    of_kind = [e for e in _entries() if all(k in {e.table, e.kind} for k in asked)]
    found = [e for e in of_kind if all(w in e.text for w in wanted)]
    if not found:
        raise InputProblem(
            Problem(
                " ".join(["tables", *words, *(f"--kind {k}" for k in asked)]),
                "nothing in the tables mentions all of it",
                _near(wanted),
            )
        )
    return sorted(found, key=lambda e: _rank(e, wanted))


def _rank(entry: Entry, words: list[str]) -> int:
    key = entry.key.casefold()
    if any(key == w for w in words):
        return 0
    if any(w in key for w in words):
        return 1
    cells = " ".join((*entry.more.values(), entry.note)).casefold()
    return 2 if any(w in cells for w in words) else 3


def _near(words: list[str]) -> str:
    keys = {e.key.casefold(): e.key for e in _entries()}
    unknown = [w for w in words if not any(w in e.text for e in _entries())]
    near = [m for w in unknown for m in difflib.get_close_matches(w, list(keys), n=3, cutoff=0.6)]
    if near:
        return "did you mean " + ", ".join(f"`{keys[m]}`" for m in dict.fromkeys(near)) + "?"
    return "fewer or other words; `jarsight tables` lists the tables"
