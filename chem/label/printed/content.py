"""What a pasted label has given so far, each figure held against those before it."""

from __future__ import annotations

from dataclasses import dataclass, field

from chem.label.printed.declared import Named
from chem.label.printed.derived import near_sources
from chem.label.printed.lines import Line
from chem.label.printed.quantities import Quantity
from chem.label.printed.records import (
    Agents,
    Ignored,
    Kept,
    NotUnderstood,
    Stated,
    Understood,
    in_terms_of,
)
from chem.label.printed.stated import HEAVIEST, LIGHTEST
from chem.reference import catalogue, ingredient, vague_sources
from chem.units import read_rate_range


@dataclass
class Content:
    """The file's content in the making, and what became of every line."""

    understood: list[Understood] = field(default_factory=list)
    not_understood: list[NotUnderstood] = field(default_factory=list)
    ignored: list[Ignored] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    guarantee: dict[str, Kept] = field(default_factory=dict)
    chelated: dict[str, Kept] = field(default_factory=dict)
    also: dict[str, Kept] = field(default_factory=dict)
    pairs: dict[str, tuple[Quantity, Quantity]] = field(default_factory=dict)
    stated: dict[str, str] = field(default_factory=dict)
    care: list[str] = field(default_factory=list)
    never_with: list[str] = field(default_factory=list)
    sources: list[str] = field(default_factory=list)
    lost_sources: bool = False
    agents: dict[str, tuple[str, ...]] = field(default_factory=dict)
    all_agents: tuple[str, ...] = ()
    grade: tuple[tuple[str, float], ...] = ()
    grade_line: Line | None = None
    measured: bool = False
    densities: list[float] = field(default_factory=list)
    headed: int | None = None
    forms: list[str] = field(default_factory=list)

    def note(self, line: Line, text: str, meaning: str) -> None:
        """Something understood."""
        self.understood.append(Understood(line.number, text, meaning))

    def corrections(self, lines: list[Line]) -> None:
        """What was put right on these lines."""
        for line in dict.fromkeys(lines):
            for note in line.notes:
                entry = Understood(line.number, line.printed, note)
                if entry not in self.understood:
                    self.understood.append(entry)

    def add(self, named: Named, quantity: Quantity, line: Line, words: str) -> None:
        """One percentage, against what stands for the same element already."""
        notes = "".join(f"; {note}" for note in (*named.notes, *quantity.notes))
        kept = Kept(named, quantity, line)
        if named.also:
            table, key, what = self.also, named.name, f"also {named.name}"
        elif named.chelated:
            table, key = self.chelated, named.element_line
            what = f"chelated {named.name}" + (f" ({named.agent})" if named.agent else "")
        else:
            table, key, what = self.guarantee, named.element_line, named.name
        if self.headed is not None and line.number > self.headed:
            self._leave_title(key, self.headed)
        old = table.get(key)
        if old is None:
            table[key] = kept
            part = ", the part soluble in water" if named.soluble else ""
            self.note(line, words, f"{what} {quantity.text} %{part}{notes}")
            return
        if old.quantity.basis != quantity.basis and "w/v" in (old.quantity.basis, quantity.basis):
            by_volume = kept if kept.quantity.basis == "w/v" else old
            by_weight = old if by_volume is kept else kept
            density = by_volume.quantity.low / max(by_weight.quantity.low, 1e-9)
            if not LIGHTEST <= density <= HEAVIEST:
                del table[key]
                why = f"{by_weight.quantity.text} % w/w and {by_volume.quantity.text} % w/v"
                why += " don't go together in any liquid: which is wrong?"
                self.not_understood.append(NotUnderstood(line.number, line.printed, why))
                return
            table[key] = by_weight
            self.pairs[key] = by_weight.quantity, by_volume.quantity
            shown = f"{what} {quantity.text} % on the other basis{notes}; the w/w is kept"
            self.note(line, words, shown)
            return
        first, again = in_terms_of(old), in_terms_of(kept)
        slack = 1e-9
        if old.named.name != named.name:
            slack = 0.5 * max(first[1], again[1]) + 0.01 * first[0]
        if old.named.soluble and not named.soluble and again[0] > first[0] + slack:
            table[key] = kept
            old, kept, first, again = kept, old, again, first
        if abs(first[0] - again[0]) <= slack:
            self.note(line, words, f"{what} {quantity.text} %, the same again{notes}")
        elif kept.named.soluble and again[0] < first[0]:
            self.note(line, words, f"{what}: {kept.quantity.text} % of it soluble in water{notes}")
            self.problems.append(
                f"line {line.number}: only {kept.quantity.text} % of {old.quantity.text} % "
                f"{old.named.name} is soluble in water; a product file has one figure, the total"
            )
        else:
            self.note(line, words, f"{what} {quantity.text} %, against line {old.line.number}")
            self.problems.append(
                f"line {line.number}: {what} {quantity.text} %, but line {old.line.number} says "
                f"{old.named.name} {old.quantity.text} %; the first is kept"
            )

    def _leave_title(self, key: str, headed: int) -> None:
        """A figure in the product's name, `Chelated iron 6%`, yields to the analysis below it."""
        for table in (self.guarantee, self.chelated, self.also):
            kept = table.get(key)
            if kept is None or kept.line.number >= headed:
                continue
            del table[key]
            for entry in list(self.understood):
                shown = f" {kept.quantity.text} %" in entry.meaning
                if entry.line_number == kept.line.number and shown:
                    self.understood.remove(entry)
                    why = f"`{kept.quantity.text} %` in the title; the analysis below counts"
                    self.ignored.append(Ignored(entry.line_number, entry.line, why))

    def add_grade(self, grade: tuple[tuple[str, float], ...], line: Line, words: str) -> None:
        """A grade; the first one counts."""
        shown = ", ".join(f"{name} {percent:g}" for name, percent in grade)
        if self.grade and grade != self.grade:
            self.problems.append(f"line {line.number}: a second grade, {shown}")
        elif not self.grade:
            self.grade, self.grade_line = grade, line
        self.note(line, words, f"grade: {shown} %")

    def state(self, fact: Stated | Agents, meaning: str, line: Line, words: str) -> None:
        """A key of the file, or chelating agents; the first one counts."""
        if isinstance(fact, Agents):
            for metal in fact.metals:
                self.agents[metal] = fact.agents
            if not fact.metals:
                self.all_agents = tuple(dict.fromkeys((*self.all_agents, *fact.agents)))
            self.note(line, words, meaning)
            return
        lists = {"never_with": self.never_with, "ingredient": self.sources}
        if fact.key in lists:
            if fact.text not in lists[fact.key]:
                lists[fact.key].append(fact.text)
            self.note(line, words, meaning)
            return
        old = self.stated.setdefault(fact.key, fact.text)
        if old == fact.text:
            self.note(line, words, meaning)
        elif fact.key in ("usual_rate", "rate_range") and _per_area(fact.text) > _per_area(old):
            self.stated[fact.key] = fact.text
            self.note(line, words, f"{meaning}, instead of {old}")
        elif fact.key in ("usual_rate", "rate_range", "carrier_at_least", "carrier_at_most"):
            reason = f"another {fact.key.replace('_', ' ')}, {fact.text}; {old} is kept"
            self.ignored.append(Ignored(line.number, words, reason))
        else:
            self.note(line, words, meaning)
            self.problems.append(
                f"line {line.number}: {fact.key} {fact.text}, but above it was {old}"
            )

    def add_source(
        self,
        text: str,
        found: str | tuple[str, ...] | None,
        notes: tuple[str, ...],
        line: Line,
        first: bool,
    ) -> None:
        """An item of the list of sources; `first` on the line where it begins."""
        if isinstance(found, str):
            if found and found not in self.sources:
                self.sources.append(found)
            other = ingredient(found)
            meaning = f"source `{found}`" if found else "no source"
            if other is not None and found not in catalogue().source_names:
                meaning = f"ingredient `{found}`: {other.key}"
            if found in vague_sources():
                options = (" and ".join(keys) for keys, _ in vague_sources()[found])
                meaning = f"source `{found}`, each is tried: {' or '.join(options)}"
            self.note(line, text, "; ".join((meaning, *notes)))
            return
        self.lost_sources = True
        if not first:
            self.note(line, text, "the end of a source named on the line before")
        elif found is None:
            self.not_understood.append(
                NotUnderstood(line.number, text, "no source of that name", near_sources(text))
            )
        else:
            why = "this name is used for more than one compound: which one?"
            why = "; ".join((why, *notes))
            self.not_understood.append(NotUnderstood(line.number, text, why, found))


def _per_area(rate: str) -> bool:
    """Whether a rate is one of an area: a sprayer's hand needs no other."""
    return read_rate_range(rate, "label")[0].per == "area"
