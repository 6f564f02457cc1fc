"""Labels on the desk: pasted, typed or photographed, read back line by line, kept once answered."""

from __future__ import annotations

import asyncio
import shutil
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from chem.errors import InputProblem, Problem
from chem.files import file_name
from chem.files.writing import write_text

if TYPE_CHECKING:
    from chem.desk.app import Desk

NO_READER = (
    "Photographs are read by tesseract, which is not on this machine (Debian: apt install "
    "tesseract-ocr). Paste or type the text instead."
)
NO_NAME = Problem("What you call it", "it is left blank", "such as Calcium liquor", "name")


class Labels:
    """From a label's text to a product file."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    def _page(
        self,
        name: str = "",
        text: str = "",
        toml: str = "",
        problems: Sequence[Problem] = (),
        unsure: Sequence[str] = (),
    ) -> Response:
        """The label's page: what was typed, and beside each line what was understood of it."""
        from chem.label.paste import read_paste
        from chem.sheets.paste import beside_lines, paste_questions

        lines: list[tuple[int, str, str]] = []
        asked = [*unsure]
        if text and not problems:
            try:
                pasted = read_paste(text, name)
                lines = beside_lines(text, pasted)
                asked += paste_questions(pasted)
                toml = pasted.toml
            except InputProblem as problem:
                problems = problem.problems
        return self._desk.page(
            "label.html",
            422 if problems else 200,
            title="A label",
            name=name,
            text=text,
            lines=lines,
            asked=asked,
            toml=toml,
            problems=problems,
            no_reader="" if shutil.which("tesseract") else NO_READER,
        )

    async def ask(self, request: Request) -> Response:
        """A label to paste, type or photograph."""
        return self._page()

    async def read(self, request: Request) -> Response:
        """The text back with what was understood, and the file that would be written."""
        form = await request.form()
        name, text = str(form.get("name", "")).strip(), str(form.get("text", ""))
        wrong = [] if name else [NO_NAME]
        return await asyncio.to_thread(self._page, name, text, problems=wrong)

    async def photo(self, request: Request) -> Response:
        """A photograph's text, to be looked over like one that was pasted."""
        async with request.form(max_files=1, max_fields=4) as form:
            name, sent = str(form.get("name", "")).strip(), form.get("photo")
            data = await sent.read() if isinstance(sent, UploadFile) else b""
        if not name:
            return self._page(problems=[NO_NAME])
        try:
            text, unsure = await asyncio.to_thread(_photographed, data)
        except InputProblem as problem:
            return self._page(name, problems=problem.problems)
        return await asyncio.to_thread(self._page, name, text, unsure=unsure)

    async def keep(self, request: Request) -> Response:
        """Write a new product file, once it reads back without a problem."""
        from chem.label import read_product

        form = await request.form()
        name, text = (str(form.get(k, "")).strip() for k in ("name", "text"))
        toml = str(form.get("toml", ""))
        try:
            if not name:
                raise InputProblem(NO_NAME)
            file = self._desk.shed.folder_of("products") + file_name(name)
            path = free(self._desk, file)
            checked(toml, path.name, read_product)
            write_text(path, toml)
        except InputProblem as problem:
            return self._page(name, text, toml, problem.problems)
        return RedirectResponse(f"/product?file={quote(file)}", 303)

    async def product(self, request: Request) -> Response:
        """What a label holds in ions."""
        from chem.advice.jug import jug
        from chem.label import read_product
        from chem.sheets.jug import jug_sheet

        path = self._desk.shed.named(request.query_params.get("file", ""), "products")
        product = read_product(path)
        sheet = await self._desk.ask(lambda _: jug_sheet(jug(product), self._desk.shed.units))
        return self._desk.page("answer.html", title=product.name, sheet=sheet, back="")


def free(desk: Desk, file: str) -> Path:
    """Where a new file goes. Raises: InputProblem where one lies there already."""
    path = desk.shed.path(file)
    if path.exists():
        wrong = "a file of that name lies there already"
        raise InputProblem(Problem(f"`{file}`", wrong, "another name", "name"))
    return path


def _photographed(data: bytes) -> tuple[str, list[str]]:
    """The text on a picture and its questions. Raises: InputProblem."""
    from chem.label.photo import read_photo

    if not data:
        wrong = "no picture was chosen"
        raise InputProblem(Problem("Photograph", wrong, "a sharp, level picture", "photo"))
    if shutil.which("tesseract") is None:
        wrong = "tesseract, which reads pictures, is not on this machine"
        raise InputProblem(Problem("Photograph", wrong, "the label's text below", "photo"))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "label"
        path.write_bytes(data)
        try:
            return read_photo(path)
        except InputProblem as problem:
            raise InputProblem(
                [Problem("Photograph", p.wrong, p.instead, "photo") for p in problem.problems]
            ) from None


def checked(text: str, file: str, read: Callable[[Path], object]) -> None:
    """Raises: InputProblem where a file of that text could not be read back."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / file
        path.write_text(text, encoding="utf-8")
        read(path)
