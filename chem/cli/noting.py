"""The notebook of a command: where it is, what a sheet's number stands for, what is asked."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import typer

from chem.cli.exits import Exit
from chem.cli.saying import say

if TYPE_CHECKING:
    from chem.forecast import Forecast, Study
    from chem.notebook import Kept, Notebook
    from chem.notebook.learning import Learned
    from chem.notebook.sprayed import LeftInSump
    from chem.notebook.tried import Told
    from chem.tank import Mix

T = TypeVar("T")


def notebook_of(beside: Path | None, named: Path | None = None) -> Notebook:
    """The notebook of a mix file (or folder), there or not yet. Raises: InputProblem."""
    from chem.notebook import Notebook, find_place

    return Notebook(find_place(beside, named).path)


def in_reach(beside: Path | None, named: Path | None, without: bool) -> Notebook | None:
    """The notebook that an answer may go by: one that was asked for, or that is there."""
    from chem.notebook import Notebook, find_place

    if without:
        return None
    place = find_place(beside, named)
    return Notebook(place.path) if place.wanted or place.path.exists() else None


@dataclass(frozen=True)
class Known:
    """A Study that believes what the notebook taught, and what an answer needs to say so.

    notebook: None where none is in reach, or none is wanted; kept: its entries.
    """

    study: Study
    notebook: Notebook | None
    kept: tuple[Kept, ...] = ()
    learned: Learned | None = None

    def told(self, result: Forecast) -> Told | None:
        """What the notebook says beside a forecast; None where it holds nothing."""
        from chem.notebook.sprayed import strongest
        from chem.notebook.tried import told_of

        if self.learned is None or not self.kept:
            return None
        told = told_of(result, self.kept, self.learned, self.study)
        return replace(told, strongest=strongest(self.kept, self.study), sump=self.sump(result.mix))

    def told_of_mix(self, mix: Mix) -> Told | None:
        """What the notebook says beside advice; None where it holds nothing."""
        from chem.notebook.tried import told_of_mix

        none = self.learned is None or not self.kept
        return None if none or self.learned is None else told_of_mix(mix, self.kept, self.learned)

    def sump(self, mix: Mix) -> LeftInSump | None:
        """What stays of the tank sprayed last, and meets this one."""
        from chem.notebook.sprayed import left_in_sump

        return left_in_sump(self.kept, mix, self.study) if self.kept else None

    def number_for(self, mix: Mix, refused: str | None = None) -> str | None:
        """The number of a sheet of this mix; None without a notebook that can be written, and
        where it must never be poured: the code by which it is refused."""
        from chem.errors import InputProblem

        if self.notebook is None or refused or not mix.files:
            return None
        try:
            begin(self.notebook)
            return self.notebook.number_for(mix)
        except InputProblem as problem:
            say(f"No number on this sheet: {problem}", err=True)
            return None


def known_of(
    beside: Path | None, named: Path | None, without: bool, draws: int, seed: int
) -> Known:
    """What the notebook in reach teaches; nothing where there is none, or `--no-notebook`.

    Raises: InputProblem where it can't be read.
    """
    return what_it_teaches(in_reach(beside, named, without), draws, seed)


def what_it_teaches(book: Notebook | None, draws: int, seed: int) -> Known:
    """A Study that believes what a notebook taught, if there is one. Raises: InputProblem where it
    can't be read."""
    from chem.forecast import Study

    if book is None or not book.exists:
        return Known(Study(draws, seed), book)
    from chem.notebook.learning import learn_from

    kept, learned = learn_from(book, seed)
    return Known(Study(draws, seed, learned.beliefs), book, kept, learned)


def study_to_keep(book: Notebook, draws: int, seed: int) -> Study:
    """The Study by which an entry's forecast stands: with what the notebook taught, or, where an
    old line can't be read, by the labels alone, so that the new one is kept all the same."""
    from chem.errors import InputProblem
    from chem.forecast import Study

    try:
        return what_it_teaches(book, draws, seed).study
    except InputProblem as problem:
        say(f"By the labels alone: {problem}", err=True)
        return Study(draws, seed)


def begin(notebook: Notebook) -> None:
    """Where there is no notebook yet, take in what earlier versions kept, and say so."""
    from chem.notebook import data_folder, read_looks

    if notebook.exists:
        return
    earlier = read_looks(data_folder())
    for entry in earlier.entries:
        notebook.add(entry)
    if earlier.entries:
        where = data_folder()
        say(f"{len(earlier.entries)} earlier entries taken in from {where}", err=True)
    for problem in earlier.unread:
        say(str(problem), err=True)


def tell_copies(notebook: Notebook) -> None:
    """Say where a copy beside the notebook holds entries that it lacks."""
    for copy in notebook.copies():
        say(
            f"{copy.name} beside it holds entries that are not here: `jarsight notebook check` "
            "merges them",
            err=True,
        )


def answer(given: str | None, question: str, read: Callable[[str], T]) -> T:
    """What an option says, else what is typed, asked again until it can be read."""
    from chem.cli.asking import Unreadable, ask_line
    from chem.errors import InputProblem

    if given is not None:
        return read(given)
    while True:
        try:
            return read(ask_line(question).strip())
        except typer.Abort:
            say("\nStopped before the end: nothing was kept.", err=True)
            raise typer.Exit(Exit.INPUT) from None
        except Unreadable:
            raise
        except InputProblem as problem:
            say(str(problem), err=True)
