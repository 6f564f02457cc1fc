"""Pictures of labels, read and scored: `python` this file. Needs pillow,
tesseract with the labels' languages, and the faces named below (Debian: fonts-dejavu-core,
fonts-liberation).

Every text of `tests/labels/held/` is set in type, then turned, shaded, blurred and pressed as a
telephone does it mildly; what `label --photo` reads of it is held against what a person would copy.
A figure is right, asked (left out with a question), lost, or silently wrong.
"""

# The repository's folders are put on the path before what is in them is imported.
# ruff: noqa: E402

from __future__ import annotations

import argparse
import io
import random
import sys
import tempfile
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageFont

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import tomllib

from test_printed_law import HELD, NAME, facts, same

from chem.errors import InputProblem
from chem.label.paste import read_paste
from chem.label.photo import read_photo

PAPER, MARGIN_PX, LETTER_PX = 238, 60, 30
FONTS = ("DejaVuSans.ttf", "LiberationSans-Regular.ttf", "LiberationSerif-Regular.ttf")
"""Faces with every accent; pillow's own has none and draws a box for each."""


def rendered(text: str, dice: random.Random, *, harsh: bool) -> Image.Image:
    """A grey picture of a text; `harsh`: twice the tilt, blur and shade of the mild one."""
    much = 2.0 if harsh else 1.0
    font = ImageFont.truetype(dice.choice(FONTS), LETTER_PX)
    lines = text.strip("\n").split("\n")
    width = max(int(font.getlength(line)) for line in lines) + 2 * MARGIN_PX
    height = int(1.5 * LETTER_PX * len(lines)) + 2 * MARGIN_PX
    page = Image.new("L", (width, height), PAPER)
    pen = ImageDraw.Draw(page)
    for n, line in enumerate(lines):
        pen.text((MARGIN_PX, MARGIN_PX + 1.5 * LETTER_PX * n), line, fill=30, font=font)
    page = page.rotate(
        dice.uniform(-1.5, 1.5) * much,
        expand=True,
        fillcolor=PAPER,
        resample=Image.Resampling.BICUBIC,
    ).filter(ImageFilter.GaussianBlur(0.6 * much))
    shade = np.linspace(1.0, 1.0 - 0.15 * much, page.width)[None, :]
    noise = np.random.default_rng(dice.randrange(2**32)).normal(0.0, 4.0 * much, page.size[::-1])
    grey = np.clip(np.asarray(page, dtype=float) * shade + noise, 0.0, 255.0)
    out = io.BytesIO()
    Image.fromarray(grey.astype(np.uint8)).save(out, "JPEG", quality=int(85 / much**0.5))
    return Image.open(io.BytesIO(out.getvalue()))


def marks(path: Path, picture: Path) -> tuple[dict[str, int], list[str]]:
    """Counts of one picture's figures, and what went amiss."""
    wanted = facts(tomllib.loads(path.with_suffix(".toml").read_text(encoding="utf-8")))
    counts, amiss = dict.fromkeys(("figures", "right", "asked", "lost", "wrong"), 0), []
    counts["figures"] = len(wanted)
    try:
        text, questions = read_photo(picture)
        pasted = read_paste(text, NAME)
    except InputProblem as problem:
        counts["lost"] = len(wanted)
        return counts, [f"{path.stem}: {problem}"]
    got = facts(pasted.form)
    for key in wanted.keys() | got.keys():
        if key in wanted and key in got and same(wanted[key], got[key], 1e-3):
            counts["right"] += 1
            continue
        kind = "wrong" if key in got else "asked" if questions or pasted.not_understood else "lost"
        counts[kind] += 1
        amiss.append(f"{path.stem} {key}: wanted {wanted.get(key)}, got {got.get(key)} ({kind})")
    return counts, amiss


def main() -> None:
    """Print the counts of all pictures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--harsh", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--most", type=int, default=len(HELD))
    given = parser.parse_args()
    dice, total = random.Random(given.seed), dict[str, int]()
    with tempfile.TemporaryDirectory() as folder:
        for path in HELD[: given.most]:
            picture = Path(folder) / f"{path.stem}.png"
            text = path.read_text(encoding="utf-8")
            rendered(text, dice, harsh=given.harsh).save(picture)
            counts, amiss = marks(path, picture)
            total = {key: total.get(key, 0) + value for key, value in counts.items()}
            print(path.stem, *(f"{key} {value}" for key, value in counts.items()))
            print(*(f"  {line}" for line in amiss), sep="\n")
    print("all", *(f"{key} {value}" for key, value in total.items()))


if __name__ == "__main__":
    main()
