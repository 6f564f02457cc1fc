"""A mix as it stands on the desk: a file, and what was changed of it; all of it in the address."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from urllib.parse import urlencode

from chem.desk.shed import Shed
from chem.errors import InputProblem, Problem
from chem.files import MAX_PRODUCTS, FileText, MixForm, load_file, validate
from chem.tank import Mix, mix_from

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
_FIGURE = re.compile(r"^\s*([0-9]+(?:\.[0-9]+)?)\s*([^0-9\s].*)$")


@dataclass(frozen=True)
class Draft:
    """file: the mix's own, empty for a new one; texts: as a mix file has them; jugs: (product
    file, rate) in the order poured; judged_at: `15min`, `4h` or `24h`; adjuvant: of the file.
    """

    file: str
    texts: dict[str, str]
    jugs: tuple[tuple[str, str], ...]
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
        jugs: tuple[tuple[str, str], ...] = ()
        if file:
            form = _form(file, shed)
            texts |= {key: getattr(form, key) or "" for key in TEXTS}
            if any(a.leftover is not None for a in form.add):
                wrong = "what is left of a tank can't be poured here yet"
                raise InputProblem(Problem(file, wrong, f"`jarsight forecast {file}`"))
            jugs = tuple((_beside(file, a.product or "", shed), a.rate or "") for a in form.add)
            texts["water"] = (
                _beside(file, texts["water"], shed)
                if form.water not in (None, "unknown")
                else "unknown"
            )
        texts |= {key: given[key].strip() for key in TEXTS if key in given}
        if any(key == "p" for key, _ in query):
            products = [value for key, value in query if key == "p"]
            rates = [value.strip() for key, value in query if key == "r"]
            rates += [""] * (len(products) - len(rates))
            jugs = tuple(zip(products, rates, strict=False))[: MAX_PRODUCTS + 1]
        elif "empty" in given:
            jugs = ()
        return Draft(file, texts, jugs, given.get("for", "4h"), given.get("w", ""))

    def query(self) -> str:
        """The address that holds all of it."""
        pairs = [("mix", self.file)] if self.file else []
        pairs += [(key, self.texts[key]) for key in TEXTS]
        for product, rate in self.jugs:
            pairs += [("p", product), ("r", rate)]
        if not self.jugs:
            pairs.append(("empty", "1"))
        pairs += [("for", self.judged_at)]
        return urlencode(pairs + ([("w", self.window)] if self.window else []))

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

    def with_jug(self, product: str) -> Draft:
        """A jug more, poured last, at its usual rate."""
        return replace(self, jugs=(*self.jugs, (product, "")))

    def mix(self, shed: Shed) -> Mix:
        """In numbers, with the text that its file would have, so that it can be read again.

        Raises: InputProblem with every problem, each with its key.
        """
        from chem.desk.keep import mix_text

        for product, _ in self.jugs:
            shed.named(product, "products")
        if self.texts["water"] not in ("", "unknown"):
            shed.named(self.texts["water"], "waters")
        file = self.file or NEW
        path = shed.path(file)
        before = path.read_text(encoding="utf-8-sig") if self.file and path.is_file() else ""
        text = mix_text(replace(self, file=file), before, shed)
        read = FileText("mix", path.name, text, hashlib.sha256(text.encode()).hexdigest())
        return mix_from(tomllib.loads(text), path, read)


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
    return whole if (shed.root / whole).is_file() else plain.rpartition("/")[2]
