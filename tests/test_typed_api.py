"""The public Python API: typed without Any, light to import, and each function with an example."""

from __future__ import annotations

import ast
import inspect
import re
import runpy
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

import chem
from chem.files import MixForm, ProductForm, WaterForm
from chem.label import Product, make_product
from chem.shelf import Cache, make_item, make_setting, shelf
from chem.tank import make_mix, make_water, read_mix

ROOT = Path(__file__).parent.parent
SCRIPTS = sorted((ROOT / "examples" / "python").glob("*.py"))
TYPED = ROOT / "tests" / "typed_api.py"
FUNCTIONS = [n for n in chem.__all__ if inspect.isfunction(getattr(chem, n))]
NO_ANY = "disallow_any_expr = true\ndisallow_any_explicit = true\ndisallow_any_decorated = true\n"


def mypy(folder: Path, *scripts: Path) -> subprocess.CompletedProcess[str]:
    """Strict, and in the scripts no expression whose type holds an Any."""
    modules = ",".join(s.stem for s in scripts)
    config = folder / "mypy.ini"
    config.write_text(
        "[mypy]\nstrict = true\nwarn_unused_ignores = true\n"
        f"[mypy-{modules}]\n{NO_ANY}disallow_any_unimported = true\n"
        "[mypy-periodictable.*,pyEQL.*,threadpoolctl.*]\nignore_missing_imports = true\n",
        encoding="utf-8",
    )
    return subprocess.run(
        [sys.executable, "-m", "mypy", "--config-file", str(config), "--cache-dir",
         str(ROOT / ".mypy_cache" / "typed_api"), *map(str, scripts)],
        capture_output=True, text=True, cwd=ROOT, check=False,
    )  # fmt: skip


def test_mypy_finds_no_any_in_what_the_public_functions_take_and_return(tmp_path: Path) -> None:
    text = TYPED.read_text(encoding="utf-8")
    used = set(re.findall(r"\bchem\.(\w+)", text))
    assert set(chem.__all__) - used == set()
    assert not re.search(r"type: ?ignore|\bAny\b(?! anywhere)|\bcast\(", text.split('"""', 2)[2])
    wrong = tmp_path / "wrong_api.py"
    wrong.write_text(
        "import chem\nchem.nonsense\nchem.make_product(density='1 kg/L')\n"
        "n: int = chem.forecast_mix(chem.read_mix('a.toml')).answer\n",
        encoding="utf-8",
    )
    done = mypy(tmp_path, TYPED, *SCRIPTS, wrong)
    found = [line for line in done.stdout.splitlines() if ": error:" in line]
    assert len(found) == 3 and all("wrong_api.py" in line for line in found), done.stdout
    for line, words in zip(found, ("nonsense", "name", "str"), strict=True):
        assert words in line


def test_the_typed_script_runs(capsys: pytest.CaptureFixture[str]) -> None:
    runpy.run_path(str(TYPED), run_name="__main__")
    assert capsys.readouterr().out.endswith("hypochlorite\n")


def test_every_public_function_has_a_script() -> None:
    assert {s.stem for s in SCRIPTS} == set(FUNCTIONS)


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda s: s.stem)
def test_the_scripts_run(script: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = script.read_text(encoding="utf-8")
    assert f"chem.{script.stem}(" in text and len(text.splitlines()) <= 40
    runpy.run_path(str(script), run_name="__main__")
    assert capsys.readouterr().out.strip()


def test_what_checkers_see_is_what_is_there() -> None:
    """The imports for type checkers and the table for the interpreter name the same things."""
    tree = ast.parse(Path(chem.__file__).read_text(encoding="utf-8"))
    block = next(n for n in tree.body if isinstance(n, ast.If) and isinstance(n.test, ast.Name))
    seen = {
        alias.asname or alias.name: (node.module, alias.name)
        for node in block.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    assert seen == chem._PLACES
    assert sorted(seen) == sorted(chem.__all__) and len(set(chem.__all__)) == len(chem.__all__)
    assert (Path(chem.__file__).parent / "py.typed").is_file()


@pytest.mark.parametrize(
    ("make", "form", "other"),
    [
        (make_product, ProductForm, {}),
        (make_water, WaterForm, {}),
        (make_mix, MixForm, {"additions": "add"}),
    ],
)
def test_what_is_made_takes_the_keys_of_its_file(
    make: object, form: type, other: dict[str, str]
) -> None:
    assert callable(make)
    taken = {other.get(name, name) for name in inspect.signature(make).parameters}
    assert taken == set(form.model_fields)


def same(made: Product, read: Product) -> bool:
    return made == replace(read, key=made.key, file=made.file)


def test_a_mix_made_is_the_mix_read(tmp_path: Path) -> None:
    label = {
        "density": "11.2 lb/gal",
        "ph": 5.5,
        "sources": ["calcium nitrate", "iron EDTA"],
        "usual_rate": "4 fl oz/1000 sq ft",
    }
    nested = {
        "guarantee": {"nitrate nitrogen": 4.0, "calcium": "6 %", "iron": 1.0},
        "chelated": {"iron": {"percent": 1.0, "agent": "EDTA"}},
        "says": {"pour": "last", "never_with": ["available phosphate"]},
    }
    product = make_product("Jug, invented", **label, **nested)
    assert product.key == "jug-invented"
    product = replace(product, key="jug")  # a file's is its stem; columns of doubts go by it
    lines = ['name = "Jug, invented"', *(f"{k} = {v!r}" for k, v in label.items())]
    lines += ["[guarantee]", '"nitrate nitrogen" = 4.0', 'calcium = "6 %"', "iron = 1.0"]
    lines += ["[chelated]", 'iron = { percent = 1.0, agent = "EDTA" }']
    lines += ["[says]", 'pour = "last"', 'never_with = ["available phosphate"]']
    (tmp_path / "jug.toml").write_text("\n".join(lines), encoding="utf-8")
    (tmp_path / "well.toml").write_text(
        'name = "Well, invented"\nph = 7.9\nalkalinity = "210 mg/L as CaCO3"\n'
        '[ions]\nCa = "68 mg/L"\n',
        encoding="utf-8",
    )
    (tmp_path / "mix.toml").write_text(
        'name = "Made"\nwater = "well.toml"\ncarrier = "2 gal/1000 sq ft"\ntank = "50 gal"\n'
        'coldest = "40 F"\n[[add]]\nproduct = "jug.toml"\n[[add]]\nproduct = "jug.toml"\n'
        'rate = "1 fl oz/1000 sq ft"\n[adjuvant]\nname = "spreader"\nph_at_most = 5.0\n',
        encoding="utf-8",
    )
    read = read_mix(tmp_path / "mix.toml")
    water = make_water(
        "Well, invented", ph=7.9, alkalinity="210 mg/L as CaCO3", ions={"Ca": "68 mg/L"}
    )
    made = make_mix(
        "Made",
        [(product, None), (product, "1 fl oz/1000 sq ft")],
        carrier="2 gal/1000 sq ft",
        tank="50 gal",
        coldest="40 F",
        water=water,
        adjuvant={"name": "spreader", "ph_at_most": 5.0},
    )
    assert water == read.water and water.identity == read.water.identity
    for ours, theirs in zip(made.additions, read.additions, strict=True):
        assert same(ours.product, theirs.product) and ours.rate == theirs.rate
    assert made == replace(read, file=made.file, additions=made.additions)
    ours, theirs = (chem.forecast_mix(m, count=16) for m in (made, read))
    assert ours.probability == theirs.probability and ours.ph == theirs.ph


def test_problems_of_what_is_made_name_it_and_its_key() -> None:
    with pytest.raises(chem.InputProblem) as caught:
        make_product("Odd", density="1.4", usual_rate="some", guarantee={"calcum": 3.0})
    told = [p.read for p in caught.value.problems]
    assert len(told) == 3 and all(t.startswith("product 'Odd', ") for t in told)
    assert any("density" in t for t in told) and any("guarantee.calcum" in t for t in told)
    with pytest.raises(chem.InputProblem, match=r"water 'W', ions\.Ca"):
        make_water("W", ions={"Ca": "5 ppm"})
    with pytest.raises(chem.InputProblem, match="at least one product"):
        make_mix("M", [], carrier="2 gal/1000 sq ft")
    with pytest.raises(chem.InputProblem, match="setting, temperature"):
        make_setting("2 gal/1000 sq ft", temperature="60")


def test_reprs_are_short_and_waters_are_not_mixed_up_for_it(tmp_path: Path) -> None:
    product = make_product("Urea, invented", density="1.1 kg/L", sources=["urea"],
                           guarantee={"urea nitrogen": 20.0})  # fmt: skip
    waters = [make_water("One name", hardness=f"{h} mg/L as CaCO3") for h in (50, 400)]
    mix = make_mix(
        "Tank", [(product, "4 fl oz/1000 sq ft")], carrier="2 gal/1000 sq ft", water=waters[0]
    )
    study = chem.Study(16, 1)
    result = chem.forecast_mix(mix, study=study)
    assert repr(product) == "<Product 'Urea, invented', solution>"
    assert repr(waters[0]) == repr(waters[1]) == "<Water 'One name'>"
    assert repr(mix) == "<Mix 'Tank': Urea, invented in One name>"
    assert (
        repr(result) == f"<Forecast of 'Tank': {result.answer}, chance {result.chance:.2f} at 4h>"
    )
    assert repr(study) == "<Study of 16 draws, seed 1; jugs known: 1>"
    settings = [make_setting("2 gal/1000 sq ft", water=w, draws=16) for w in waters]
    stock = [make_item(product, "4 fl oz/1000 sq ft")]
    first, again, other = (
        shelf(stock, s, pairs=False, cache=Cache(tmp_path, "now")).solves
        for s in (settings[0], settings[0], settings[1])
    )
    assert first > 0 and again == 0 and other > 0  # the cache goes by the water, not by its repr
