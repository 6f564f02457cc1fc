"""A mix as it stands on the desk: a file, and what was changed of it; all of it in the address."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from urllib.parse import urlencode

from chem.advice.agents import choose_agent, product_file
from chem.desk.shed import Shed
from chem.errors import InputProblem, Problem
from chem.files import MAX_PRODUCTS, AddForm, FileText, MixForm, file_name, load_file, validate
from chem.tank import Mix, mix_from, with_product
from chem.units import read_rate

TEXTS = ("name", "water", "carrier", "tank", "area", "temperature", "coldest")
DEFAULTS = {
    "water": "unknown",
    "carrier": "",
    "tank": "",
    "area": "",
    "temperature": "",
    "coldest": "",
}
LONGEST = 300
NEW = "new-mix.toml"
"""What a mix that has no file yet is called in messages."""
MOST_POURED = MAX_PRODUCTS + 1
_ADD = re.compile(r"add\[(\d+)\]\.(\w+)")
_FIGURE = re.compile(r"^\s*([0-9]+(?:\.[0-9]+)?)\s*([^0-9\s].*)$")


KINDS = {"product": "p", "left": "l", "agent": "a"}
"""What may be poured, and the key of the address that names it."""


@dataclass(frozen=True)
class Jug:
    """One thing poured.

    kind: `product` (what: its file), `left` (what: the mix file of an earlier tank) or `agent`
    (what: an acid or base by name, which has no file yet); amount: its rate, or how much is left;
    age: of what is left.
    """

    kind: str
    what: str
    amount: str = ""
    age: str = ""

    def pairs(self) -> list[tuple[str, str]]:
        """As an address has it."""
        own = [(KINDS[self.kind], self.what), ("r", self.amount)]
        return own + ([("old", self.age)] if self.kind == "left" else [])


@dataclass(frozen=True)
class Draft:
    """file: the mix's own, empty for a new one; texts: as a mix file has them; jugs: in the order
    poured; judged_at: `15min`, `4h` or `24h`; window: of the browser.
    """

    file: str
    texts: dict[str, str]
    jugs: tuple[Jug, ...]
    judged_at: str = "4h"
    window: str = ""

    @staticmethod
    def of(query: Sequence[tuple[str, str]], shed: Shed) -> Draft:
        """From an address: what it says, else what its file says. Raises: InputProblem."""
        given: dict[str, str] = {}
        for key, value in query:
            if len(value) > LONGEST:
                raise InputProblem(Problem(key, "too long", f"at most {LONGEST} letters"))
            given[key] = value
        file = given.get("mix", "")
        texts = {"name": "New mix", **DEFAULTS, "water": "" if shed.set_once else "unknown"}
        jugs: tuple[Jug, ...] = ()
        if file:
            form = _form(file, shed)
            texts |= {key: getattr(form, key) or "" for key in TEXTS}
            jugs = tuple(_poured(file, row, shed) for row in form.add)
            texts["water"] = _water(file, form.water, shed)
        texts |= {key: given[key].strip() for key in TEXTS if key in given}
        named = _named(query)
        if named:
            jugs = named[:MOST_POURED]
        elif "empty" in given:
            jugs = ()
        return Draft(file, texts, jugs, given.get("for", "4h"), given.get("w", ""))

    def query(self) -> str:
        """The address that holds all of it."""
        pairs = [("mix", self.file)] if self.file else []
        pairs += [(key, self.texts[key]) for key in TEXTS]
        for jug in self.jugs:
            pairs += jug.pairs()
        if not self.jugs:
            pairs.append(("empty", "1"))
        pairs += [("for", self.judged_at)]
        return urlencode(pairs + ([("w", self.window)] if self.window else []))

    @property
    def additions(self) -> list[int]:
        """Places of the jugs that are additions of the mix, in its order: all but leftovers."""
        return [i for i, jug in enumerate(self.jugs) if jug.kind != "left"]

    def moved(self, place: int, by: int) -> Draft:
        """A jug poured earlier or later."""
        jugs = list(self.jugs)
        to = place + by
        if 0 <= place < len(jugs) and 0 <= to < len(jugs):
            jugs.insert(to, jugs.pop(place))
        return replace(self, jugs=tuple(jugs))

    def without(self, place: int) -> Draft:
        """A jug less."""
        return replace(self, jugs=tuple(j for i, j in enumerate(self.jugs) if i != place))

    def with_jug(self, chosen: str) -> Draft:
        """A jug more, poured last, at its usual rate; chosen: a product's file, or `left:` or
        `agent:` and what it names."""
        kind, colon, what = chosen.partition(":")
        jug = Jug(kind, what) if colon and kind in KINDS else Jug("product", chosen)
        return replace(self, jugs=(*self.jugs, jug))

    def mix(self, shed: Shed, *, moving: bool = False) -> Mix:
        """In numbers, with the text that its file would have, so that it can be read again; without
        that text while a hand moves.

        Raises: InputProblem with every problem, each with its key: `carrier`, `jug[2].rate`.
        """
        from chem.desk.keep import mix_tables, mix_text

        for jug in self.jugs:
            if jug.kind == "product":
                shed.named(jug.what, "products")
            elif jug.kind == "left":
                _form(jug.what, shed)
        for name, _ in shares_of(self.texts["water"]):
            if name not in ("", "unknown"):
                shed.named(name, "waters")
        file = self.file or NEW
        path = shed.path(file)
        before = path.read_text(encoding="utf-8-sig") if self.file and path.is_file() else ""
        asked = replace(self, file=file)
        read = None
        raw = mix_tables(asked, before, shed)
        if not moving:
            text = mix_text(asked, before, shed)
            read = FileText("mix", path.name, text, hashlib.sha256(text.encode()).hexdigest())
        poured = [i for i, jug in enumerate(self.jugs) if jug.kind != "agent"]
        if self.jugs:
            raw["add"] = [raw["add"][i] for i in poured]
        try:
            mix = mix_from(raw, path, read)
        except InputProblem as problem:
            raise InputProblem([_placed(one, poured) for one in problem.problems]) from None
        return self._with_agents(mix)

    def _with_agents(self, mix: Mix) -> Mix:
        """The mix with its acids and bases, each as the product file that saving it writes."""
        for place, index in enumerate(self.additions):
            jug = self.jugs[index]
            if jug.kind == "agent":
                agent = choose_agent(jug.what)
                file = file_name(agent.product.name)
                text = product_file(agent)
                read = FileText("product", file, text, hashlib.sha256(text.encode()).hexdigest())
                key = file.removesuffix(".toml")
                product = replace(agent.product, key=key, file=file, read_from=read)
                where = f"{jug.what}, rate"
                try:
                    rate = read_rate(jug.amount, where, dry=product.dry)
                except InputProblem as problem:
                    key = f"jug[{index}].rate"
                    raise InputProblem([replace(p, key=key) for p in problem.problems]) from None
                mix = with_product(mix, product, rate, place)
        return mix


def _placed(problem: Problem, poured: Sequence[int]) -> Problem:
    """A problem of `add[2].rate` with the place of its jug on the desk, from 0."""
    found = _ADD.match(problem.key or "")
    if found is None or not 0 < int(found[1]) <= len(poured):
        return problem
    return replace(problem, key=f"jug[{poured[int(found[1]) - 1]}].{found[2]}")


def _named(query: Sequence[tuple[str, str]]) -> tuple[Jug, ...]:
    """The jugs that an address names, each followed by its amount and age."""
    kinds = {key: kind for kind, key in KINDS.items()}
    out: list[Jug] = []
    for key, value in query:
        if key in kinds:
            out.append(Jug(kinds[key], value))
        elif key == "r" and out:
            out[-1] = replace(out[-1], amount=value.strip())
        elif key == "old" and out:
            out[-1] = replace(out[-1], age=value.strip())
    return tuple(out)


def _poured(file: str, row: AddForm, shed: Shed) -> Jug:
    """A row of a mix file."""
    if row.leftover is not None:
        return Jug("left", _beside(file, row.leftover, shed), row.amount or "", row.age or "")
    return Jug("product", _beside(file, row.product or "", shed), row.rate or "")


def shares_of(water: str) -> list[tuple[str, str]]:
    """(file, share) of `well.toml = 60 %; pond.toml = rest`; one water has no share."""
    parts = [part.partition("=") for part in water.split(";")]
    return [(name.strip(), share.strip()) for name, _, share in parts]


def shared(waters: Sequence[tuple[str, str]]) -> str:
    """The text of which `shares_of` gives the parts."""
    return "; ".join(f"{name} = {share}" if share else name for name, share in waters)


def _water(file: str, water: str | None, shed: Shed) -> str:
    if water in (None, "unknown"):
        return "unknown" if water or not shed.set_once else ""
    return shared([(_beside(file, name, shed), share) for name, share in shares_of(water or "")])


def figure_of(text: str) -> tuple[float, str] | None:
    """`4 fl oz/1000 sq ft` as its figure and the rest, where it has just one."""
    found = _FIGURE.match(text)
    return (float(found[1]), found[2]) if found else None


def _form(file: str, shed: Shed) -> MixForm:
    path = shed.path(file)
    return validate(MixForm, load_file(path, "mix")[0], path.name)


def _beside(file: str, named: str, shed: Shed) -> str:
    """A file that a mix names, as the shed names it; one of the demo shelf by its bare name."""
    folder = file.rpartition("/")[0]
    parts: list[str] = folder.split("/") if folder else []
    named = named.replace("\\", "/")
    plain = named if named.endswith(".toml") else f"{named}.toml"
    for part in plain.split("/"):
        if part == ".." and parts:
            parts.pop()
        elif part not in (".", ""):
            parts.append(part)
    whole = "/".join(parts)
    return whole if shed.holds(whole) else plain.rpartition("/")[2]
