"""The command line as a person meets it: exit codes, streams, messages, no traceback."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
EXAMPLES = ROOT / "examples"


def jarsight(*arguments: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "chem", *arguments],
        capture_output=True,
        text=True,
        cwd=cwd or ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT), "COLUMNS": "80"},
        check=False,
        stdin=subprocess.DEVNULL,
    )


def test_forecast_prints_the_answer_first_and_exits_0_whatever_it_is() -> None:
    done = jarsight("forecast", "examples/curdles.toml", "--draws", "64")
    assert done.returncode == 0
    assert done.stdout.splitlines()[2].startswith("Will curdle")
    assert done.stderr == ""


def test_json_is_the_only_thing_on_stdout() -> None:
    done = jarsight("forecast", "examples/stays-clear.toml", "--draws", "32", "--json")
    assert json.loads(done.stdout)["answer"] == "clear"


def test_options_try_another(tmp_path: Path) -> None:
    page = tmp_path / "sheet.html"
    done = jarsight(
        "forecast", "examples/water-decides.toml", "--draws", "32", "--water", "soft.toml",
        "--carrier", "3 gal/1000 sq ft", "--temperature", "50 F", "--coldest", "40 F",
        "--for", "24h", "--short", "--html", str(page),
    )  # fmt: skip
    assert done.returncode == 0
    assert len(done.stdout.strip().splitlines()) == 6
    assert "clear for 24 hours" in done.stdout
    assert page.read_text().startswith("<!doctype html>")
    assert not list(tmp_path.glob("*.partial"))


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["forecast", "examples/curdels.toml"], "did you mean `curdles.toml`"),
        (["forecast", "examples/curdles.toml", "--carrier", "2 gal"], "--carrier"),
        (["forecast", "examples/curdles.toml", "--water", "hrad.toml"], "water"),
        (["forecast", "examples/curdles.toml", "--temperature", "60"], "F or C"),
        (["forecast", "examples"], "can't be read"),
        (["forecast", "examples/curdles.toml", "--html", "nowhere/x.html"], "folder"),
        (["forecast", "examples/curdles.toml", "--draws", "2"], "16"),
    ],
)
def test_bad_input_exits_2_without_traceback(arguments: list[str], words: str) -> None:
    done = jarsight(*arguments)
    assert done.returncode == 2
    assert words in done.stderr
    assert "Traceback" not in done.stderr


def test_broken_toml_and_binary_files(tmp_path: Path) -> None:
    broken = tmp_path / "broken.toml"
    broken.write_text("name = calcium")
    assert "not valid TOML" in jarsight("forecast", str(broken)).stderr
    broken.write_bytes(b"\xff\xfe\x00")
    done = jarsight("forecast", str(broken))
    assert done.returncode == 2 and "Traceback" not in done.stderr


def test_help_groups_commands_and_names_exit_codes() -> None:
    done = jarsight("--help")
    assert done.returncode == 0
    assert "never replaces the jar test" in " ".join(done.stdout.split())
    assert "Exit codes" in done.stdout
    assert "forecast" in done.stdout and "new" in done.stdout


def test_import_is_light() -> None:
    """`--help` must not pay for numpy, pint or pyEQL."""
    heavy = ("numpy", "pint", "pyEQL")
    code = f"import chem.cli.main, sys; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True
    )
    assert done.stdout.strip() == "[]"


def test_a_pasted_label_becomes_a_product_file(tmp_path: Path) -> None:
    out = tmp_path / "pasted.toml"
    label = ROOT / "tests" / "labels" / "calcium-nitrate.txt"
    done = jarsight("label", "--paste", str(label), "--name", "Pasted, invented", "--out", str(out))
    assert done.returncode == 0, done.stderr
    assert done.stdout == out.read_text(encoding="utf-8")
    assert "Understood:" in done.stderr and "Left out:" in done.stderr
    named = jarsight("label", "Pasted, invented", "--paste", str(label))
    assert named.stdout == out.read_text(encoding="utf-8")
    as_json = jarsight("label", "--paste", str(label), "--json", "--draws", "32")
    assert json.loads(as_json.stdout)["adds_up"] in {True, False}
    assert jarsight("label", str(out), "--draws", "32").returncode == 0
    typed = subprocess.run(
        [sys.executable, "-m", "chem", "label", "--paste", "-"],
        input="Soluble Potash (K2O) 25%\nDerived from: potassium carbonate",
        capture_output=True, text=True, cwd=ROOT, check=False,
    )  # fmt: skip
    assert typed.returncode == 0 and "potassium carbonate" in typed.stdout
    nothing = tmp_path / "nothing.txt"
    nothing.write_text("keep out of reach")
    assert jarsight("label", "--paste", str(nothing)).returncode == 2


# ---------------------------------------------------------------- files that are none, or odd


GOOD = (EXAMPLES / "curdles.toml").read_text(encoding="utf-8")
FEW = ("--draws", "16")


@pytest.mark.parametrize(
    "data",
    [
        b"\xef\xbb\xbf" + GOOD.encode(),
        GOOD.replace("\n", "\r\n").encode(),
        GOOD.replace("soft.toml", "..\\\\waters\\\\mine.toml").encode(),
    ],
    ids=["byte order mark", "CRLF", "backslashes"],
)
def test_files_as_windows_writes_them_are_read(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "waters").mkdir()
    (tmp_path / "mixes").mkdir()
    (tmp_path / "waters" / "mine.toml").write_text('name = "Mine"\nph = 7\n', encoding="utf-8")
    (tmp_path / "mixes" / "mix.toml").write_bytes(data)
    done = jarsight("forecast", str(tmp_path / "mixes" / "mix.toml"), *FEW)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("name = 'x'", "carrier\n  wrong: this key is missing"),
        ("a = " + "[" * 20_000, "tables too deep"),
        ("a = 1" + "0" * 6_000, "a number too long"),
        ("#" * 1_000_001, "larger than 1 MB"),
        (GOOD.replace('"60 F"', "true"), "temperature = true\n  wrong: `true` or `false`"),
        (GOOD.replace('"60 F"', "2020-01-01"), "a date or time can't stand here"),
        (GOOD.replace('"2 gal/1000 sq ft"', '"2 gal"'), "write: such as `2 gal/1000 sq ft`"),
        (GOOD.replace('"2 gal/1000 sq ft"', "0"), "spray volume must be above zero"),
        (GOOD.replace("2 gal/", "1e-300 gal/"), "outside 0.000001 to 100000000 L/ha"),
        (GOOD.replace("2 gal/1000", "0.01 gal/1000"), "products alone fill 937.5 %"),
        (GOOD.replace('"50 gal"', '"1e300 gal"'), "outside 0.000001 to 10000000 L"),
        (GOOD.replace("Calcium on top of an 8-8-8", "\\u0000"), "nothing is written here"),
        (GOOD.replace("soft.toml", "nowhere"), "mix.toml, water = `nowhere`"),
        (GOOD.replace("npk-orthophosphate.toml", "a" * 5_000), "mix.toml, add[1].product"),
        (GOOD + "rat = 5\n", "add[2].rat = 5\n  wrong: no such key here\n  write: did you mean"),
        (GOOD + "[adjuvant]\nname = 'x'\nph_at_least = 8\nph_at_most = 5\n", "no pH lies between"),
        (GOOD + "[adjuvant]\nname = 'x'\nph_at_most = '<5'\n", "leaves one end open"),
    ],
    ids=lambda v: v[-40:],
)
def test_odd_mix_is_told_by_file_and_key(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "mix.toml"
    path.write_text(text, encoding="utf-8")
    done = jarsight("forecast", str(path), *FEW)
    assert done.returncode == 2 and done.stdout == ""
    assert words in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("name", ["x" * 300, "a/" * 3_000, "m.toml/x"])
def test_a_name_that_no_system_takes(name: str) -> None:
    for command in (["forecast"], ["label"], ["solution"]):
        done = jarsight(*command, name)
        assert done.returncode == 2 and "wrong:" in done.stderr
        assert "Traceback" not in done.stderr


@pytest.mark.parametrize("name", ["A long name of a mix " * 12, "x" * 200, "red \\u001b[31m\\nrow"])
def test_any_name_keeps_the_sheet_at_60_columns(tmp_path: Path, name: str) -> None:
    path = tmp_path / "mix.toml"
    path.write_text(GOOD.replace("Calcium on top of an 8-8-8", name), encoding="utf-8")
    done = jarsight("forecast", str(path), *FEW)
    assert max(map(len, done.stdout.splitlines())) <= 60
    assert "\x1b" not in done.stdout


# ---------------------------------------------------------------- where it goes


@pytest.mark.parametrize("name", ["", ".", "x" * 300, "no/x.html"])
def test_a_page_that_cannot_be_written_leaves_nothing(tmp_path: Path, name: str) -> None:
    done = jarsight("forecast", str(EXAMPLES / "curdles.toml"), *FEW, "--html", name, cwd=tmp_path)
    assert done.returncode == 2 and "Traceback" not in done.stderr
    assert done.stdout == "" and not list(tmp_path.iterdir())


def test_two_files_are_written_both_or_none(tmp_path: Path) -> None:
    curve = tmp_path / "curve.svg"
    done = jarsight(
        "ph", "examples/stays-clear.toml", "--to", "5", "--with", "citric acid", *FEW,
        "--svg", str(curve), "--keep", str(tmp_path / "no" / "acid.toml"),
    )  # fmt: skip
    assert done.returncode == 2 and not list(tmp_path.iterdir())


@pytest.mark.skipif(os.name != "posix", reason="pipes and devices of a POSIX system")
def test_a_device_is_written_to_and_a_reader_may_leave() -> None:
    run = f"{sys.executable} -m chem forecast examples/curdles.toml --draws 16"
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    for command, code in (
        (f"{run} --html /dev/null", 0),
        (f"set -o pipefail; {run} | head -1", 0),
        (f"set -o pipefail; {run} | true", 0),
        (f"{run} >&-", 0),
        (f"{run} > /dev/full", 2),
    ):
        done = subprocess.run(
            ["bash", "-c", command],
            capture_output=True, text=True, cwd=ROOT, env=environment, check=False,
        )  # fmt: skip
        assert done.returncode == code, command
        assert "Traceback" not in done.stderr and "Exception ignored" not in done.stderr
    assert Path("/dev/null").is_char_device()


def test_letters_that_the_terminal_lacks_are_replaced(tmp_path: Path) -> None:
    path = tmp_path / "mix.toml"
    path.write_text(GOOD.replace("Calcium on", "Calcium \u00e0 la \u65e5"), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "chem", "forecast", str(path), *FEW],
        capture_output=True, encoding="cp437", cwd=ROOT, check=False,
        env=os.environ | {"PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "cp437"},
    )  # fmt: skip
    assert done.returncode == 0 and done.stdout.startswith("Calcium \u00e0 la ?")


ODD = "Calcium \u00e0 l\u2019eau \u2013 \u00bd \u00b5m, \u2265 5 \u00b0C, stra\u00dfe \u65e5"


@pytest.mark.parametrize(
    ("encoding", "shown"),
    [
        ("ascii", "Calcium a l'eau - 1/2 um, >= 5  deg C, strasse ?"),
        ("cp437", "Calcium \u00e0 l'eau - \u00bd \u00b5m, \u2265 5 \u00b0C, stra\u00dfe ?"),
        ("cp850", "Calcium \u00e0 l'eau - \u00bd \u00b5m, >= 5 \u00b0C, stra\u00dfe ?"),
        ("cp1252", "Calcium \u00e0 l\u2019eau \u2013 \u00bd \u00b5m, >= 5 \u00b0C, stra\u00dfe ?"),
    ],
)
def test_a_letter_that_the_terminal_lacks_gives_way_to_the_nearest(
    encoding: str, shown: str
) -> None:
    from chem.cli.saying import NEAREST

    assert ODD.encode(encoding, NEAREST).decode(encoding) == shown


def test_a_sheet_and_its_json_on_a_plain_ascii_terminal(tmp_path: Path) -> None:
    (tmp_path / "mix.toml").write_text(GOOD.replace("Calcium on", ODD), encoding="utf-8")
    plain = {"LC_ALL": "C", "PYTHONIOENCODING": "ascii", "PYTHONPATH": str(ROOT)}
    told = []
    for more in ([], ["--json"], ["--help"]):
        done = subprocess.run(
            [sys.executable, "-m", "chem", "forecast", "mix.toml", *FEW, *more],
            capture_output=True, encoding="ascii", cwd=tmp_path, check=True,
            env=os.environ | plain,
        )  # fmt: skip
        told.append(done.stdout)
    assert "Calcium a l'eau - 1/2 um, >= 5" in told[0]
    assert json.loads(told[1])["mix"].startswith(ODD)


@pytest.mark.skipif(os.name != "posix", reason="sends an interrupt")
@pytest.mark.parametrize("wait_s", [0.3, 0.9])
def test_an_interrupt_ends_it_without_a_word(tmp_path: Path, wait_s: float) -> None:
    page = tmp_path / "page.html"
    running = subprocess.Popen(
        [sys.executable, "-m", "chem", "forecast", "examples/five-products.toml",
         "--draws", "20000", "--html", str(page)],
        cwd=ROOT, env=os.environ | {"PYTHONPATH": str(ROOT)}, start_new_session=True,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    time.sleep(wait_s)
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=30)
    assert running.returncode in (130, -signal.SIGINT)
    assert out == "" and "Traceback" not in err
    assert not list(tmp_path.iterdir())


# ---------------------------------------------------------------- options


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["forecast", "examples/curdles.toml", "--temperature", ""], "--temperature"),
        (["forecast", "examples/curdles.toml", "--water", "hrad"], "--water = `hrad`"),
        (["ph", "examples/curdles.toml", "--to", "<5", "--with", "citric acid"], "one end open"),
        (["ph", "examples/curdles.toml", "--to", "5-6", "--with", "citric acid"], "one pH"),
        (["diagnose", "examples/curdles.toml", "--seen", "haze", "--poured", "9"], "2 products"),
        (["label", "npk-orthophosphate", "--out", "x.toml"], "--paste only"),
        (["label", "npk-orthophosphate", "--name", "X"], "--paste only"),
    ],
)
def test_options_that_can_not_be_used(arguments: list[str], words: str) -> None:
    done = jarsight(*arguments)
    assert done.returncode == 2 and done.stdout == ""
    assert words in done.stderr


def test_a_solution_of_nothing_at_a_given_ph(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text("ph = 7\n", encoding="utf-8")
    done = jarsight("solution", str(tmp_path / "s.toml"))
    assert done.returncode == 0 and "pH 7.000" in done.stdout


def test_a_label_in_any_encoding_an_editor_saves(tmp_path: Path) -> None:
    text = "Soluble Potash (K2O) 25%\nStore below 30 \u00b0C"
    for encoding in ("utf-16", "utf-8-sig", "cp1252"):
        path = tmp_path / "label.txt"
        path.write_bytes(text.encode(encoding))
        done = jarsight("label", "--paste", str(path))
        assert done.returncode == 0 and '"soluble potash" = 25' in done.stdout, encoding
    broken = subprocess.run(
        [sys.executable, "-m", "chem", "label", "--paste", "-"], input=text.encode("cp1252"),
        capture_output=True, cwd=ROOT, env=os.environ | {"PYTHONPATH": str(ROOT)}, check=False,
    )  # fmt: skip
    assert broken.returncode == 0


def test_a_coldest_warmer_than_the_tank_is_remarked() -> None:
    done = jarsight("forecast", "examples/curdles.toml", *FEW, "--coldest", "90 F")
    assert done.returncode == 0
    assert "is warmer than the tank" in " ".join(done.stdout.split())


def test_a_fault_of_ours_is_told_and_left_on_disk(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Exit 70 is EX_SOFTWARE of BSD's sysexits(3)."""
    from chem.cli import main

    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setattr("sys.argv", ["jarsight", "forecast", str(EXAMPLES / "curdles.toml")])
    monkeypatch.setattr("chem.tank.mix_from", lambda *given: 1 // 0)
    with pytest.raises(SystemExit) as ended:
        main.run()
    told = capsys.readouterr()
    assert ended.value.code == 70 and told.out == ""
    assert "A fault of ours" in told.err and "Traceback" not in told.err
    (left,) = tmp_path.glob("jarsight-fault-*.txt")
    assert str(left) in told.err
    assert "ZeroDivisionError" in left.read_text(encoding="utf-8")


def test_files_that_would_hang_or_fill_the_memory_are_refused(tmp_path: Path) -> None:
    pipe, dotted = tmp_path / "pipe.toml", tmp_path / "dotted.toml"
    os.mkfifo(pipe)
    dotted.write_text("a" + ".a" * 20_000 + " = 1\n", encoding="utf-8")
    for path, said in ((pipe, "a pipe or a device"), (dotted, "more than 20 parts")):
        done = jarsight("forecast", str(path))
        assert done.returncode == 2 and said in done.stderr


@pytest.mark.parametrize("command", ["forecast", "why", "jar", "pour", "label"])
def test_no_name_commands_the_terminal(command: str, tmp_path: Path) -> None:
    """Escape sequences (ECMA-48), C1 controls and turned direction (Unicode Annex 9) in names."""
    evil = "red \x1b[31m bell \x07 c1 \x9b2J turned \u202e back"
    product = (ROOT / "data/demo/products/kelp-extract.toml").read_text(encoding="utf-8")
    named = f"name = {json.dumps(evil)}"
    (tmp_path / "evil.toml").write_text(
        "\n".join(named if line.startswith("name =") else line for line in product.splitlines()),
        encoding="utf-8",
    )
    (tmp_path / "mix.toml").write_text(
        f'{named}\nwater = "unknown"\ncarrier = "2 gal/1000 sq ft"\n'
        '[[add]]\nproduct = "evil.toml"\nrate = "1 fl oz/1000 sq ft"\n',
        encoding="utf-8",
    )
    file = "evil.toml" if command == "label" else "mix.toml"
    done = jarsight(command, file, "--draws", "16", cwd=tmp_path)
    missing = jarsight(command, evil, cwd=tmp_path)
    assert done.returncode == 0 and missing.returncode == 2
    for told in (done.stdout + done.stderr, missing.stdout + missing.stderr):
        assert "red" in told
        assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202e]", told)


def test_every_word_goes_to_the_screen_by_one_door() -> None:
    for path in (ROOT / "chem" / "cli").rglob("*.py"):
        if path.name != "saying.py":
            assert not re.search(r"typer\.echo\(|(?<![\w.])print\(", path.read_text()), path


def test_the_same_words_whatever_the_order_of_a_hash() -> None:
    """Python orders sets by a seed of its own in each process."""
    told = []
    for seed in ("1", "7"):
        done = subprocess.run(
            [sys.executable, "-m", "chem", "forecast", "examples/five-products.toml"],
            capture_output=True, text=True, cwd=ROOT, check=True,
            env=os.environ | {"PYTHONHASHSEED": seed},
        )  # fmt: skip
        told.append(done.stdout)
    assert told[0] == told[1]
