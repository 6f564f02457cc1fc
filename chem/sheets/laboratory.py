"""The chemists' results: one solution, the tables, the self-check."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from chem.sheets.as_json import as_json
from chem.sheets.blocks import Block, Sheet
from chem.sheets.contract import laboratory as contract

if TYPE_CHECKING:
    from chem.laboratory import Entry, Solution
    from chem.laboratory.odds import SolutionOdds
    from chem.laboratory.selfcheck import SelfCheck

LEAST_SHARE = 1e-9
LEAST_SI = -5.0
LEAST_CHANCE = 0.01
LISTING_WIDTH = 80
_INDENT = "    "


def solution_json(result: Solution, odds: SolutionOdds | None = None) -> str:
    """The JSON object of the contract, as text."""
    told = result.notes
    settled: dict[str, Any] = {}
    asked: dict[str, Any] = {}
    if result.settled is not None and result.dissolved is not None:
        settled = {
            "settled": dict(result.settled),
            "totals_mol_per_kg": dict(result.dissolved),
            "water_left_kg": result.water_left_kg,
        }
    if odds is not None:
        told = tuple(dict.fromkeys([*told, *odds.notes]))
        asked = {
            "closed_by": None if odds.closed_by is None else dict([odds.closed_by]),
            "probability": None if odds.probability is None else dict(odds.probability),
            "clogs": None if odds.clogs is None else dict(odds.clogs),
            "solids": [
                contract.SolidOddsEntry(**{**vars(s), "probability": dict(s.probability)})
                for s in odds.solids
            ],
            "draws": odds.draws,
            "seed": odds.seed,
        }
    return as_json(
        contract.SOLUTIONS[bool(settled), bool(asked)](
            name=result.name,
            temperature_celsius=result.t_celsius,
            ph=result.ph,
            ph_given=result.ph_given,
            ionic_strength_mol_per_kg=result.ionic_strength_mol_per_kg,
            conductivity_mS_per_cm=result.conductivity_mS_per_cm,
            water_activity=result.water_activity,
            species={
                s.key: contract.SpeciesEntry(
                    molality_mol_per_kg=s.molality_mol_per_kg, activity=s.activity
                )
                for s in result.species
            },
            si=dict(result.si),
            charge_balance_relative=result.charge_balance_relative,
            coverage=result.coverage,
            notes=told,
            versions=dict(result.versions),
            **settled,
            **asked,
        )
    )


def solution_sheet(
    result: Solution, odds: SolutionOdds | None = None, *, everything: bool = False
) -> Sheet:
    """pH, ionic strength and water activity first, odds if asked, species by component, SI."""
    given = " (given)" if result.ph_given else ""
    answer = [
        f"pH {result.ph:.3f}{given}",
        f"Ionic strength {result.ionic_strength_mol_per_kg:.4g} mol/kg, "
        f"water activity {result.water_activity:.5f}",
    ]
    if result.conductivity_mS_per_cm is not None:
        answer.append(
            f"Conductivity about {result.conductivity_mS_per_cm:.3g} mS/cm at "
            f"{result.t_celsius:g} C"
        )
    declared = ", ".join(f"{c} {v:.4g}" for c, v in result.totals.items()) or "water alone"
    blocks = [Block(f"At {result.t_celsius:g} C, mol per kg of water", [declared])]
    blocks += [] if odds is None else _odds(odds)
    blocks += _settled(result)
    blocks += [_component(result, c, everything) for c in _components(result)]
    blocks.append(_water(result))
    blocks.append(_saturation(result, everything))
    facts = [
        f"charge balance {result.charge_balance_relative:.1e} of all charge",
        f"{100 * result.coverage:.1f} % of the ion pairs met by measured interaction coefficients",
    ]
    notes = dict.fromkeys([*result.notes, *(odds.notes if odds is not None else ())])
    blocks.append(Block("Notes", items=[*(f"{n}." for n in notes), *facts]))
    blocks.append(Block("", [", ".join(f"{k} {v}" for k, v in result.versions.items())]))
    return Sheet(result.name, answer, blocks)


def _odds(odds: SolutionOdds) -> list[Block]:
    """Chance that solids show and clog against time, and the solids behind it."""
    if odds.probability is None or odds.clogs is None:
        return [Block("Odds in a closed jar", ["Far beyond the model: no odds are given."])]
    rows = [("by", "shows", "clogs")]
    rows += [
        (t, f"{100 * p:.0f} %", f"{100 * odds.clogs[t]:.0f} %") for t, p in odds.probability.items()
    ]
    solids: list[tuple[str, ...]] = [("solid", "SI", "4h", "24h", "30d")]
    for s in odds.solids:
        if s.probability["30d"] >= LEAST_CHANCE:
            at = (f"{100 * s.probability[t]:.0f} %" for t in ("4h", "24h", "30d"))
            solids.append((s.key, "" if s.si is None else f"{s.si:.2f}", *at))
    more = [Block("", rows=solids)] if len(solids) > 1 else []
    return [Block("Odds in a closed jar", rows=rows), *more]


def _components(result: Solution) -> list[str]:
    """Components in solution, the declared order first."""
    present = {c for s in result.species for c in s.shares}
    declared = [c for c in result.totals if c in present]
    return declared + sorted(present - set(declared))


def _component(result: Solution, component: str, everything: bool) -> Block:
    lines = [s for s in result.species if component in s.shares]
    lines.sort(key=lambda s: -s.shares[component])
    shown = [s for s in lines if everything or s.shares[component] >= LEAST_SHARE]
    rows = [(component, "mol/kg", "activity", "% of it")]
    for s in shown:
        rows.append(
            (
                s.key,
                f"{s.molality_mol_per_kg:.4e}",
                f"{s.activity:.4e}",
                _percent(100.0 * s.shares[component]),
            )
        )
    return Block("", rows=rows)


def _percent(share: float) -> str:
    return f"{share:.2f}" if share >= 0.01 else f"{share:.1e}"


def _water(result: Solution) -> Block:
    rows = [("water", "mol/kg", "activity")]
    for s in result.species:
        if not s.shares:
            rows.append((s.key, f"{s.molality_mol_per_kg:.4e}", f"{s.activity:.4e}"))
    return Block("", rows=rows)


def _saturation(result: Solution, everything: bool) -> Block:
    ranked = sorted(result.si.items(), key=lambda kv: -kv[1])
    shown = [(k, si) for k, si in ranked if everything or si >= LEAST_SI]
    rows = [("solid", "SI"), *((k, f"{si:.3f}") for k, si in shown)] if shown else []
    hidden = len(ranked) - len(shown)
    more = [f"{hidden} more below {LEAST_SI:g} (--all shows them)."] if hidden else []
    if not ranked:
        more = ["No solid of the tables is made of these components alone."]
    return Block("Saturation, SI = log10(IAP / Ksp)", more, rows=rows)


def _settled(result: Solution) -> list[Block]:
    if result.settled is None or result.dissolved is None:
        return []
    rows = [("solid", "mol per kg of the declared water")]
    rows += [(k, _formed(v)) for k, v in result.settled.items()]
    none = [] if result.settled else ["Nothing settles."]
    totals = [("dissolved", "mol per kg of the water left")]
    totals += [(c, f"{v:.5g}") for c, v in result.dissolved.items()]
    water = f"Water left: {result.water_left_kg:.5f} kg of each declared kg."
    return [
        Block("Solids", none, rows=rows if result.settled else []),
        Block("In solution", [water], rows=totals),
    ]


def _formed(amount: float) -> str:
    return f"{amount:.5g} formed" if amount >= 0.0 else f"{-amount:.5g} dissolved"


def tables_text(entries: Sequence[Entry]) -> str:
    """Entries for a terminal, 80 columns; a citation in full under each."""
    lines: list[str] = []
    for entry in entries:
        lines += [*_entry(entry), ""]
    count = len(entries)
    lines.append(f"{count} {'entry' if count == 1 else 'entries'}.")
    return "\n".join(lines) + "\n"


def _entry(entry: Entry) -> list[str]:
    head = f"{entry.key}  [{entry.table}]"
    facts = []
    if entry.value is not None:
        spread = "" if entry.uncertainty is None else f" +- {entry.uncertainty:g}"
        unit = "" if entry.unit in {"", "-"} else f" {entry.unit}"
        facts.append(f"{entry.value:.10g}{spread}{unit}")
    if entry.t_min_celsius is not None and entry.t_max_celsius is not None:
        facts.append(f"{entry.t_min_celsius:g} to {entry.t_max_celsius:g} C")
    facts.append(entry.kind)
    out = [head, *_wrapped("; ".join(facts))]
    for name, cell in entry.more.items():
        out += _wrapped(f"{name.replace('_', ' ')}: {cell}")
    source = "; ".join(t for t in (entry.citation, entry.where) if t)
    out += _wrapped(f"source: {source}" if source else "source: none")
    if entry.note:
        out += _wrapped(f"note: {entry.note}")
    return out


def _wrapped(text: str, width: int = LISTING_WIDTH) -> list[str]:
    return textwrap.wrap(
        text, width, initial_indent=_INDENT, subsequent_indent=2 * _INDENT, break_on_hyphens=False
    )


def tables_json(
    entries: Sequence[Entry], counts: Mapping[str, Mapping[str, int]], versions: Mapping[str, str]
) -> str:
    """Entries with the count of each table by kind."""
    return as_json(
        contract.Tables(
            tables={
                table: contract.TableCount(
                    entries=sum(by_kind.values()),
                    estimates=by_kind.get("estimate", 0),
                    kinds=dict(by_kind),
                )
                for table, by_kind in counts.items()
            },
            entries=[contract.ConstantEntry(**{**vars(e), "more": dict(e.more)}) for e in entries],
            versions=dict(versions),
        )
    )


def summary_text(counts: Mapping[str, Mapping[str, int]], versions: Mapping[str, str]) -> str:
    """How many entries each table holds, and how many of them are estimates."""
    rows = [("table", "entries", "estimates", "other kinds")]
    for table, by_kind in counts.items():
        others = ", ".join(f"{k} {n}" for k, n in by_kind.items() if k != "estimate")
        estimates = by_kind.get("estimate", 0)
        rows.append((table, str(sum(by_kind.values())), str(estimates), others))
    total = sum(sum(k.values()) for k in counts.values())
    estimates = sum(k.get("estimate", 0) for k in counts.values())
    rows.append(("all", str(total), str(estimates), ""))
    lines = [f"{a:<18} {b:>7} {c:>10}  {d}".rstrip() for a, b, c, d in rows]
    lines += ["", *_help(), "", ", ".join(f"{k} {v}" for k, v in versions.items())]
    return "\n".join(lines) + "\n"


def _help() -> list[str]:
    return textwrap.wrap(
        "`jarsight tables gypsum` shows all that mention it, each with its source in full; "
        "`--kind solids` or `--kind estimate` narrows to a table or a kind.",
        LISTING_WIDTH,
    )


def selfcheck_json(result: SelfCheck) -> str:
    """The JSON object; a check without a number holds null."""
    worst = result.largest
    return as_json(
        contract.SelfCheck(
            passed=result.passed,
            failed=[c.key for c in result.checks if not c.passed],
            largest_deviation=contract.LargestDeviation(key=worst.key, share=worst.share),
            checks=[contract.CheckEntry(**vars(c), passed=c.passed) for c in result.checks],
            seconds=result.seconds,
            unrefereed=result.unrefereed or None,
            fingerprint=dict(result.fingerprint),
        )
    )


def selfcheck_text(result: SelfCheck) -> str:
    """One line per check, the largest deviation, and the fingerprint; 80 columns."""
    lines = []
    group = ""
    for check in result.checks:
        if check.group != group:
            group = check.group
            lines += ["", f"{group}s".upper()]
        verdict = "ok  " if check.passed else "FAIL"
        fitted = "  (fitted)" if check.role == "fitted" else ""
        if check.group == "check value":
            unit = "" if check.unit == "-" else f" {check.unit}"
            told = (
                f"{_six(check.found)} for {_six(check.expected)}{unit} +- {check.tolerance:.2g}"
                f"{fitted}"
            )
        else:
            deviation = "no number" if check.trouble else f"{check.deviation:.1e}"
            told = f"{deviation}, at most {check.tolerance:.0e}"
        lines.append(f"{verdict} {check.key:<33} {told}")
    count = len(result.checks)
    failed = [c for c in result.checks if not c.passed]
    worst = result.largest
    verdict = f"{len(failed)} of {count} failed" if failed else f"All {count} checks hold"
    lines += [
        "",
        f"{verdict}, in {result.seconds:.1f} s.",
        f"Largest deviation: {worst.key}, {_share(worst.share)}.",
    ]
    for check in failed:
        why = ". ".join(t for t in (check.what, check.trouble, check.source) if t)
        lines += textwrap.wrap(f"Failed: {check.key}: {why}", LISTING_WIDTH)
    if not any(c.group == "example" for c in result.checks):
        lines.append("No example mixes came with this installation: none were forecast.")
    if result.unrefereed:
        lines.append(f"Not refereed: {result.unrefereed}.")
    lines.append(", ".join(f"{k} {v}" for k, v in result.fingerprint.items()))
    return "\n".join(lines[1:]) + "\n"


def _six(value: float) -> str:
    return "no number" if math.isnan(value) else f"{value:.6g}"


def _share(share: float) -> str:
    return "no number" if math.isnan(share) else f"{share:.2f} of its tolerance"
