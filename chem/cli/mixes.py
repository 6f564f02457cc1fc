"""The mix that a command is about: a file, a file with changes, or a quick one without a file.

`@takes_mix` gives a command MIX and the options of a quick mix, and hands it the mix asked for.
"""

from __future__ import annotations

import functools
import hashlib
import inspect
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Concatenate, Literal, ParamSpec

import typer

from chem.cli.jugs import COMMAND_LINE, find_jug, name_and_rate, place_of_jug, relative
from chem.cli.saying import say
from chem.errors import InputProblem, Problem

if TYPE_CHECKING:
    from chem.advice.agents import Reagent
    from chem.files import FileText
    from chem.tank import Mix
    from chem.units import Rate

P = ParamSpec("P")
QUICK = "Quick mix"
OVERRIDES = ("carrier", "water", "tank", "area", "temperature", "coldest")


@dataclass(frozen=True)
class Asked:
    """A mix in numbers; beside: the folder that its files are named from; path: its own file, if
    it has one, as `read`; raw: its tables, changes included; number: of the sheet that it is, as
    printed.
    """

    mix: Mix
    beside: Path
    path: Path | None = None
    read: FileText | None = None
    raw: dict[str, Any] = field(default_factory=dict)
    number: str | None = None


def takes_mix(command: Callable[Concatenate[Asked, P], None]) -> Callable[..., None]:
    """The command with MIX and the options of a quick mix in place of its first parameter; what
    the command has of that name is its own."""

    def run(asked: Asked, given: dict[str, Any]) -> None:
        command(asked, **given)  # type: ignore[call-arg]

    return with_options(command, run, {})


def with_options(
    command: Callable[..., None],
    run: Callable[[Asked, dict[str, Any]], None],
    more: Mapping[str, tuple[Any, Any]],
) -> Callable[..., None]:
    """The command with MIX, the options of a quick mix, its own and then some more, name ->
    (annotation, default), in place of its first parameter; `run` gets the mix and all the rest."""
    own = list(inspect.signature(command, eval_str=True).parameters.values())[1:]
    quick = {k: of for k, of in _OPTIONS.items() if k not in {p.name for p in own}}

    @functools.wraps(command)
    def taken(**given: Any) -> None:
        asked = asked_mix(
            **{name: given.pop(name) for name in quick}, notebook=given.get("notebook")
        )
        run(asked, given)

    kind = inspect.Parameter.KEYWORD_ONLY
    whole = [inspect.Parameter(k, kind, default=None, annotation=of) for k, of in quick.items()]
    whole += [p.replace(kind=kind) for p in own]
    whole += [
        inspect.Parameter(k, kind, default=value, annotation=of) for k, (of, value) in more.items()
    ]
    taken.__signature__ = inspect.Signature(whole)  # type: ignore[attr-defined]
    taken.__annotations__ = {p.name: p.annotation for p in whole}
    return taken


ShedUnits = Annotated[
    Literal["us", "metric", "both"] | None,
    typer.Option(help="Units on the sheet (default: your shed's, else both)."),
]
AddOption = Annotated[
    list[str] | None,
    typer.Option(
        "--add",
        metavar="NAME=RATE",
        help="A product of your shelf by any clear part of its name, poured in this order; "
        "its usual rate without =RATE. Repeat for more.",
    ),
]
RateOption = Annotated[
    list[str] | None,
    typer.Option("--rate", metavar="NAME=RATE", help="Another rate of one in the mix."),
]
CarrierOption = Annotated[
    str | None, typer.Option(help='Try another spray volume: "2 gal/1000 sq ft".')
]
WaterOption = Annotated[str | None, typer.Option(help="Try another water file.")]
TankOption = Annotated[str | None, typer.Option(help='Another tank: "50 gal".')]
_OPTIONS: dict[str, Any] = {
    "mix": Annotated[
        Path | None,
        typer.Argument(
            metavar="MIX", help="A mix file, or the number of a sheet (J-0412-2); none with --add."
        ),
    ],
    "add": AddOption,
    "rate": RateOption,
    "carrier": CarrierOption,
    "sprayer": Annotated[
        str | None, typer.Option(metavar="NAME", help="Another sprayer of your shed.")
    ],
    "water": WaterOption,
    "tank": TankOption,
    "area": Annotated[str | None, typer.Option(help='Work out the loads for an area: "2.6 acre".')],
    "temperature": Annotated[str | None, typer.Option(help='Try another: "50 F".')],
    "coldest": Annotated[str | None, typer.Option(help='Where it stands overnight: "40 F".')],
    "save": Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the mix as tried into a file.")
    ],
}


def units_of(beside: Path) -> str:
    """The units of the shed there, else both."""
    from chem.files import find_shed

    shed = find_shed(beside)
    return (shed.form.units if shed is not None else None) or "both"


def asked_mix(
    mix: Path | None,
    add: Sequence[str] | None = None,
    rate: Sequence[str] | None = None,
    save: Path | None = None,
    sprayer: str | None = None,
    notebook: Path | None = None,
    **given: str | None,
) -> Asked:
    """The mix of a file with these changes, of the products named alone, or printed under a number.

    notebook: where numbers are looked up, None for the shed's own; given: `carrier`, `water`,
    `tank`, `area`, `temperature`, `coldest`, as a mix file has them.

    Raises: InputProblem.
    """
    from chem.tank import numbered

    def by_number(name: str, beside: Path) -> Mix | None:
        found = _printed(name, beside, notebook)
        return None if found is None else found.mix

    with numbered(by_number):
        printed = None if mix is None else _printed(str(mix), Path(), notebook)
        if printed is None:
            return _asked(mix, add, rate, save, sprayer, given)
    changes = {"--add": add, "--rate": rate, "--sprayer": sprayer, "--save": save, **given}
    changed = [option for option, value in changes.items() if value]
    if changed:
        wrong = f"sheet {printed.number} is a mix as it was printed"
        option = changed[0] if changed[0].startswith("--") else f"--{changed[0]}"
        instead = "its mix file, or --add for each product, to try a change"
        raise InputProblem(Problem(f"{COMMAND_LINE}, {option}", wrong, instead))
    return printed


def _printed(name: str, beside: Path, notebook: Path | None) -> Asked | None:
    """The mix printed under a number; None where it is none, or a file is called so.

    Raises: InputProblem where no sheet has that number.
    """
    from chem.files import is_file
    from chem.notebook import Notebook, find_place, is_number

    if not is_number(name) or is_file(beside / name):
        return None
    found = Notebook(find_place(beside, notebook).path).mix_of(name)
    return Asked(found.mix.reread(), beside, number=found.number)


def _asked(
    mix: Path | None,
    add: Sequence[str] | None,
    rate: Sequence[str] | None,
    save: Path | None,
    sprayer: str | None,
    given: Mapping[str, str | None],
) -> Asked:
    """As `asked_mix`, of a file or of products."""
    from chem.files import FileText, MixForm, load_file, must_be_shaped, rewritten
    from chem.tank import change_mix, mix_from

    if mix is None and not add:
        wrong, instead = "no mix is named", 'a mix file, or --add "NAME=RATE" for each product'
        raise InputProblem(Problem(COMMAND_LINE, wrong, instead))
    beside = Path() if mix is None else mix.parent
    raw: dict[str, Any] = {"name": QUICK}
    read: FileText | None = None
    if mix is not None:
        raw, read = load_file(mix, "mix")
        must_be_shaped(MixForm, raw, mix.name)
    rows = [dict(row) for row in raw.get("add", [])]
    for text in rate or ():
        name, new = name_and_rate(text, "--rate", needed=True)
        rows[place_of_jug(name, rows, beside)]["rate"] = new
    before = sum("product" in row for row in rows)
    for text in add or ():
        name, new = name_and_rate(text, "--add", needed=False)
        rows.append({"product": find_jug(name, beside), **({"rate": new} if new else {})})
    wanted = {key: value for key in OVERRIDES if (value := given.get(key)) is not None}
    if "water" in wanted:
        wanted["water"] = _water_of(wanted["water"], beside)
    left_out = {key: value for key, value in wanted.items() if key not in raw}
    tried = {**raw, **left_out, **({"add": rows} if add or rate else {})}
    if tried != raw:
        whole_text = rewritten(tried, "" if read is None else read.text)
        name = "quick mix" if mix is None else mix.name
        hashed = hashlib.sha256(whole_text.encode()).hexdigest()
        read_from = FileText("mix", name, whole_text, hashed)
    else:
        read_from = read  # type: ignore[assignment]
    path = beside / COMMAND_LINE if mix is None else mix
    found = mix_from(tried, path, read_from, sprayer)
    others = {key: value for key, value in wanted.items() if key in raw}
    found = change_mix(found, beside, **others) if others else found
    jugs = [row for row in rows if "product" in row]
    said = tuple(
        f"{one.product.name}: its usual rate taken, {one.rate.text}"
        for one, row in list(zip(found.additions, jugs, strict=False))[before:]
        if "rate" not in row
    )
    found = replace(found, notes=(*found.notes, *said))
    whole = {**tried, **others}
    if save is not None:
        save_mix(whole, save, beside, mix, read)
        whole, read = load_file(save, "mix")
        return Asked(found, save.parent, save, read, whole)
    return Asked(found, beside, mix, read, whole)


def save_mix(
    raw: dict[str, Any],
    to: Path,
    beside: Path,
    own: Path | None = None,
    read: FileText | None = None,
    what: str = "Mix",
) -> None:
    """Write a mix into a file: its own, over the version read, or a new one.

    Files that it names are named from there. Raises: InputProblem.
    """
    from chem.files import rewritten, save
    from chem.files.writing import forced
    from chem.tank import read_mix

    moved = {**raw, "add": [dict(row) for row in raw["add"]]}
    if to.parent.resolve() != beside.resolve():
        for row in moved["add"]:
            if "product" in row:
                row["product"] = _from_there(row["product"], beside, "products", to.parent)
            if "leftover" in row:
                row["leftover"] = relative(beside / row["leftover"], to.parent)
        water = moved.get("water")
        if isinstance(water, list):
            named = [
                {**one, "file": _from_there(one["file"], beside, "waters", to.parent)}
                for one in water
            ]
            moved["water"] = named
        elif water not in (None, "unknown"):
            moved["water"] = _from_there(water, beside, "waters", to.parent)
    if moved["name"] == QUICK:
        moved["name"] = to.stem.replace("-", " ").capitalize()
    same = own is not None and read is not None and to.resolve() == own.resolve()
    text = rewritten(moved, read.text if read is not None else "")
    over = read.hash if same and read is not None else None
    save(to, text, read_mix, over=over, force=forced())
    say(f"{what} saved: {to}", err=True)


def take(
    asked: Asked,
    changed: Mix,
    reagent: Reagent | None = None,
    water: tuple[Path | None, float] = (None, 1.0),
) -> None:
    """Write a changed mix into the file of the one asked for: rates, order, carrier, an agent.

    water: file of another one that takes the rest, and the share of the own that is left.

    An agent's product file is written beside it. Raises: InputProblem where there is no file, or
    the change is none that a mix file can say.
    """
    from chem.advice.agents import product_file
    from chem.files import file_name, is_file
    from chem.files.writing import write_text

    if asked.path is None:
        wrong, instead = "the mix has no file to write it into", "--save FILE as well"
        raise InputProblem(Problem(f"{COMMAND_LINE}, --take", wrong, instead))
    other, left_of_own = water
    own = None if other is None else _own_water(asked)
    if changed.water != asked.mix.water and (other is None or own is None):
        wrong, instead = "another water is no key of a mix yet", "water = ... by hand, once mixed"
        raise InputProblem(Problem(f"{COMMAND_LINE}, --take", wrong, instead))
    raw = {**asked.raw}
    poured = [row for row in raw["add"] if "product" in row]
    left = list(zip(asked.mix.additions, poured, strict=True))
    rows: list[dict[str, Any]] = [row for row in raw["add"] if "product" not in row]
    for one in changed.additions:
        same = next((pair for pair in left if pair[0].product.key == one.product.key), None)
        if same is not None:
            left.remove(same)
            new = {} if same[0].rate == one.rate else {"rate": _rate_text(same[0].rate, one.rate)}
            rows.append({**same[1], **new})
            continue
        file = asked.beside / file_name(one.product.name)
        if reagent is not None and one.product.key == reagent.product.key:
            if reagent.agent is not None and not is_file(file):
                write_text(file, product_file(reagent))
                say(f"Product written: {file}", err=True)
            name = file.name if reagent.agent is not None else one.product.file
        else:
            name = find_jug(one.product.name, asked.beside)
        rows.append({"product": name, "rate": _rate_text(None, one.rate)})
    raw["add"] = rows
    if other is not None and own is not None:
        share = f"{100.0 * left_of_own:.4g} %"
        rest = relative(other, asked.beside)
        raw["water"] = [{"file": own, "share": share}, {"file": rest, "share": "rest"}]
    if changed.carrier_L_per_m2 != asked.mix.carrier_L_per_m2:
        raw["carrier"] = f"{1e4 * changed.carrier_L_per_m2:.5g} L/ha"
    save_mix(raw, asked.path, asked.beside, asked.path, asked.read, "Change")


def _own_water(asked: Asked) -> str | None:
    """The file of a mix's one water, as the mix names it, or the shed's; None for several."""
    from chem.files import find_shed

    own = asked.raw.get("water")
    if own is None:
        shed = find_shed(asked.beside)
        if shed is None or shed.form.water is None or "=" in shed.form.water:
            return None
        return _from_there(shed.form.water, shed.folder, "waters", asked.beside)
    return own if isinstance(own, str) and "=" not in own else None


def _rate_text(old: Rate | None, new: Rate) -> str:
    """A rate as a mix file has it, in the unit it was written in where there is one."""
    from chem.units import read_number

    if new.text:
        return new.text
    number, _, unit = (old.text if old is not None else "").partition(" ")
    if old is not None and unit and number.replace(".", "", 1).isdigit():
        return f"{read_number(number, '').value * new.value / old.value:.4g} {unit}"
    if new.per == "mass-fraction":
        return f"{100.0 * new.value:.4g} % w/w"
    return f"{new.value:.4g} {new.unit}"


def _water_of(name: str, beside: Path) -> str:
    """A water as a mix in `beside` names it: a file from here, else as written."""
    from chem.files import is_file

    return relative(Path(name), beside) if is_file(Path(name)) else name


def _from_there(name: str, beside: Path, demo: str, there: Path) -> str:
    """A file named from one folder as another names it; a demo's by its bare name."""
    from chem.files import find_file, find_shed
    from chem.reference.files import data_folder
    from chem.tank import product_folder

    shed = find_shed(beside)
    places = () if shed is None else (product_folder(shed),)
    path = find_file(name, beside, demo, demo.removesuffix("s"), "", places)
    return name if path.parent == data_folder() / "demo" / demo else relative(path, there)
