"""Mine against a shop's labels: the best neighbours first, the screen, and what is kept."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from chem.cli import main
from chem.errors import InputProblem
from chem.forecast import Study
from chem.sheets.blocks import as_text
from chem.sheets.shelf import shelf_sheet
from chem.sheets.shelf_data import shelf_csv, shelf_json
from chem.shelf import (
    Item,
    Setting,
    Shelf,
    Tanks,
    Together,
    local,
    make_item,
    read_item,
    shelf,
    tanks,
)
from chem.shelf.ledger import ROW, Ledger
from chem.shelf.neighbours import cost_per_kg, neighbours
from chem.shelf.tanks import Odds, Tank
from chem.shelf.together import CLEAR, QUARRELS, SAID_CLEAR
from chem.tank import find_water

ROOT = Path(__file__).parent.parent
PRODUCTS = ROOT / "data" / "demo" / "products"
NITRATE, SULFATE = "calcium-nitrate-liquor", "ammonium-sulfate-liquor"
EPSOM = "magnesium-sulfate-heptahydrate"


def setting(draws: int = 16) -> Setting:
    return Setting(find_water("soft", None), 0.0815, 20.0, None, draws, 1)


def demo(*names: str) -> list[Item]:
    return [read_item(PRODUCTS / f"{name}.toml") for name in names]


def labelled(folder: Path, of: str, key: str, price: str = "") -> Item:
    """A demo label under another name, at a price."""
    text = (PRODUCTS / f"{of}.toml").read_text(encoding="utf-8")
    name = f'name = "{key}, invented"' + (f'\nprice = "{price}"' if price else "")
    lines = [name, *(line for line in text.splitlines() if line[:6] not in ("name =", "price "))]
    (folder / f"{key}.toml").write_text("\n".join(lines), encoding="utf-8")
    return read_item(folder / f"{key}.toml")


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> list[Item]:
    folder = tmp_path_factory.mktemp("shop")
    return [
        labelled(folder, "iron-edta", "iron unpriced"),
        labelled(folder, "iron-edta", "iron dear", "$48 per 2.5 gal"),
        labelled(folder, "iron-citric", "iron with acid", "$3 per gal"),
        labelled(folder, "iron-edta", "iron cheap", "$30 per 2.5 gal"),
        labelled(folder, "npk-orthophosphate", "without iron", "$1 per gal"),
    ]


@pytest.fixture(scope="module")
def found(shop: list[Item]) -> Shelf:
    mine = demo(NITRATE, SULFATE, "potassium-thiosulfate-liquor")
    return shelf(mine, setting(), against=shop, wanting="Iron", engine=local(1))


def test_each_label_meets_each_of_mine_and_none_its_like(found: Shelf) -> None:
    assert found.mine == 3 and len(found.items) == 7
    assert {t.members for t in found.pairs} == {(i, j) for i in range(3) for j in range(3, 7)}
    assert len(found.alone) == 7 and not found.groups and found.asked is None
    for pair in found.pairs:
        alone = Study(16, 1).look(found.mix(pair))
        assert pair.odds is not None and pair.odds.probability == alone.probability


def test_of_equal_neighbours_the_cheapest_comes_first(shop: list[Item]) -> None:
    mine, labels = demo(NITRATE, SULFATE), [shop[i] for i in (0, 1, 3, 2)]
    members = [(i, j) for j in range(2, 6) for i in range(2)]
    clear = CLEAR | SAID_CLEAR
    marks = [clear, clear, clear, clear, clear, clear, clear, QUARRELS]
    shows = [0.02, 0.02, 0.01, 0.01, 0.03, 0.03, 0.0, 0.9]

    def unseen(tank: Tank) -> Together:
        raise AssertionError(tank)

    met = Tanks(
        unseen,
        np.array(members, np.int32),
        np.ones(8),
        np.array(marks, np.uint8),
        np.array(shows),
    )
    items = [*mine, *labels]

    def ranked(line: str) -> list[str]:
        names = [items[n.place].name for n in neighbours(items, 2, met, line)]
        return [name.removesuffix(", invented") for name in names]

    assert ranked("iron") == ["iron cheap", "iron dear", "iron unpriced", "iron with acid"]
    assert ranked("") == ["iron dear", "iron unpriced", "iron cheap", "iron with acid"]


def test_best_neighbours_come_first(found: Shelf) -> None:
    fits = [n.fits for n in found.neighbours]
    assert fits == sorted(fits, reverse=True) and fits[0] > 0
    for n in found.neighbours:
        beside = [t for t in found.pairs if n.place in t.members]
        assert n.odds == pytest.approx(1.0 - np.mean([t.shows("4h") for t in beside]))
        assert n.fits == sum(t.clear and t.answer.word == "clear" for t in beside)
        assert len(n.apart) == sum(t.quarrels for t in beside)
        told = {*n.apart, *n.unsure, *n.no_worse}
        assert len(told) + n.fits == found.mine and set(n.refused) <= set(n.apart)


def test_cost_is_of_the_nutrient_by_its_weight(shop: list[Item]) -> None:
    # 2.5 US gal are 9.46 L (3.785411784 L each: NIST SP 811, table B.8); the label's 10.2 lb/gal
    # are 1.222 kg/L, 5 % of it iron: 0.578 kg, for 30.
    assert cost_per_kg(shop[3].product, "iron") == pytest.approx(30.0 / 0.578, rel=2e-3)
    assert cost_per_kg(shop[0].product, "iron") is None
    assert cost_per_kg(shop[3].product, "calcium") is None


def test_what_must_never_meet_and_what_has_no_iron_is_named(found: Shelf) -> None:
    text = as_text(shelf_sheet(found))
    assert "BEST NEIGHBOURS, BY ODDS, THEN BY COST OF IRON" in text
    best = found.names[found.neighbours[0].place]
    assert f"- 1. {best}: with " in text and "$ 51." in " ".join(text.split())
    assert "NEVER IN ONE TANK" in text and "toxic gas" in text
    assert "1 of the shop's labels hold no iron" in " ".join(text.split())
    assert all(len(line) <= 60 for line in text.splitlines())


def test_json_and_table_have_the_neighbours_in_order(found: Shelf) -> None:
    data = json.loads(shelf_json(found))
    assert data["mine"] == list(found.names[:3]) and data["wanting"] == "iron"
    assert [n["product"] for n in data["neighbours"]] == [
        found.names[n.place] for n in found.neighbours
    ]
    costs = {n["product"]: n["cost_per_kg"] for n in data["neighbours"]}
    assert costs["iron cheap, invented"] == pytest.approx(51.9, abs=0.1)
    assert costs["iron unpriced, invented"] is None
    assert {entry["decided_by"] for entry in data["pairs"]} <= {"full", "screen"}
    best = [entry["b"] for entry in data["pairs"]][:3]
    assert set(best) == {found.names[found.neighbours[0].place]}
    table = list(shelf_csv(found))
    assert table[0].endswith("decided_by,neighbour_b,cost_per_kg_b\n")
    assert data["neighbours"][0]["product"] in table[1] and ",full,1," in table[1]
    assert len(table) == 1 + len(found.pairs) + len(found.alone)


def test_a_nutrient_that_no_label_has_is_refused_with_what_there_is(shop: list[Item]) -> None:
    for wanting, instead in (("irn", "iron"), ("boron", "iron")):
        with pytest.raises(InputProblem) as refused:
            shelf(demo(NITRATE), setting(), against=shop, wanting=wanting)
        assert f"--wanting {wanting}" in str(refused.value) and instead in str(refused.value)


def test_a_label_of_mine_in_the_shop_is_not_its_own_neighbour() -> None:
    mine = demo(NITRATE)
    beside = shelf(mine, setting(), against=[*mine, *demo(SULFATE)], engine=local(1))
    assert [beside.items[n.place].product.key for n in beside.neighbours] == [SULFATE]


def test_dry_goods_cool_a_shelfs_tank_as_they_do_a_forecasts() -> None:
    # Epsom salt takes up heat as it dissolves (heats.csv): 20 lb in 2 gal cool it by kelvins.
    dry = make_item(demo(EPSOM)[0].product, "4 lb/1000 sq ft")
    items = [dry, *demo("npk-orthophosphate", "potassium-carbonate-liquor")]
    result = shelf(items, setting(), engine=local(1))
    cooled = 0
    for pair in (*result.pairs, *result.alone):
        seen = Study(16, 1).look(result.mix(pair))
        assert pair.odds is not None
        assert (pair.odds.probability, pair.odds.clogs) == (seen.probability, seen.clogs)
        assert pair.odds.ph == pytest.approx(seen.ph.median, abs=1e-9)
        cooled += seen.tank.t_celsius < 19.0
    assert cooled == 3


def test_the_screen_says_what_all_draws_say(monkeypatch: pytest.MonkeyPatch) -> None:
    names = ("urea-liquor", "magnesium-nitrate-liquor", "iron-edta", SULFATE, "ph-buffer")
    items = demo(*names)
    screened = shelf(items, setting(128), engine=local(1))
    by = [t.odds.decided_by for t in (*screened.pairs, *screened.alone) if t.odds is not None]
    assert by.count("screen") >= 4 and by.count("full") >= 2
    monkeypatch.setattr(tanks, "SCREENED_FROM", 1000)
    whole = {t.members: t for t in shelf(items, setting(128), engine=local(1)).pairs}
    for pair in screened.pairs:
        full = whole[pair.members]
        assert pair.odds is not None and full.odds is not None and full.odds.decided_by == "full"
        assert pair.answer == full.answer
        assert pair.odds.probability == full.odds.probability
        assert pair.odds.clogs == full.odds.clogs
        assert pair.odds.ph == pytest.approx(full.odds.ph, abs=0.3)


def test_a_pair_is_a_row_and_comes_back_as_it_was() -> None:
    times = {"15min": 0.125, "4h": 0.25, "24h": 0.5}
    one = Odds(times, times, 6.5, 0.1, 0.0, "gypsum", "gypsum", 600.0, "full")
    other = Odds(times, times, 7.5, 0.2, 0.1, None, None, None, "screen")
    kept = Ledger()
    for i in range(1000):
        kept[Tank((i, i + 1))] = one if i % 2 else other
    kept[Tank((1, 2), 0.5)] = other
    assert kept.get(Tank((501, 502))) == one and kept.get(Tank((998, 999))) == other
    assert kept.get(Tank((1, 2), 0.5)) == other and kept.get(Tank((2, 1))) is None
    assert len(kept) == 1001 and ROW.itemsize < 100


def test_pairs_are_made_as_they_are_looked_at(found: Shelf) -> None:
    bad = found.pairs.where(QUARRELS)
    assert len(bad) == sum(t.quarrels for t in found.pairs) > 0
    assert all(t.quarrels for t in bad) and isinstance(found.pairs[0], Together)
    assert found.pairs[:3] == list(found.pairs)[:3]


KILLED = """
import os, signal, sys
from pathlib import Path
from chem.shelf import Cache, local, read_stock, shelf, tanks
from test_shelf_against import demo, setting
tanks.ROWS_AT_ONCE = 32
def stop(done, whole):
    if done >= 6:
        print(done, flush=True)
        os.kill(os.getpid(), signal.SIGKILL)
with Cache(Path(sys.argv[1]), "these tables") as kept:
    shelf(demo("calcium-nitrate-liquor"), setting(),
          against=demo("iron-edta", "urea-liquor", "ammonium-sulfate-liquor", "ph-buffer"),
          engine=local(1), cache=kept, progress=stop)
"""


def test_after_a_kill_only_the_rest_is_computed(tmp_path: Path) -> None:
    from chem.shelf import Cache

    told = subprocess.run(
        [sys.executable, "-c", KILLED, str(tmp_path)],
        env=os.environ | {"PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "tests")])},
        capture_output=True,
        text=True,
        check=False,
    )
    assert told.returncode == -signal.SIGKILL, told.stderr
    with Cache(tmp_path, "these tables") as kept:
        again = shelf(
            demo(NITRATE),
            setting(),
            against=demo("iron-edta", "urea-liquor", SULFATE, "ph-buffer"),
            engine=local(1),
            cache=kept,
        )
    assert len(again.pairs) == 4
    assert again.solves == 16 * (9 - int(told.stdout))


@pytest.mark.parametrize(
    ("options", "read"),
    [
        (("--wanting", "iron"), "--wanting"),
        (("--against", "demo", "--triples"), "--triples"),
        (("--against", "demo", "--alone"), "--alone"),
    ],
)
def test_options_without_meaning_together_are_told(
    options: tuple[str, ...],
    read: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    carrier = ("--carrier", "2 gal/1000 sq ft")
    monkeypatch.setattr(sys, "argv", ["jarsight", "shelf", "--in", "demo", *carrier, *options])
    with pytest.raises(SystemExit) as left:
        main.run()
    told = capsys.readouterr()
    assert left.value.code == 2 and told.out == ""
    assert f"command line, {read}" in told.err and "wrong:" in told.err


def test_the_command_lists_the_shops_labels(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("JARSIGHT_CACHE", str(tmp_path / "cache"))
    for folder, names in (("mine", (NITRATE,)), ("theirs", ("urea-liquor", SULFATE))):
        (tmp_path / folder).mkdir()
        for name in names:
            text = (PRODUCTS / f"{name}.toml").read_bytes()
            (tmp_path / folder / f"{name}.toml").write_bytes(text)
    (tmp_path / "theirs" / "spoilt.toml").write_text("name = 3", encoding="utf-8")
    where = ("--in", str(tmp_path / "mine"), "--against", str(tmp_path / "theirs"))
    plain = ("--carrier", "2 gal/1000 sq ft", "--draws", "16", "--json")
    monkeypatch.setattr(sys, "argv", ["jarsight", "shelf", *where, *plain])
    with pytest.raises(SystemExit) as left:
        main.run()
    told = json.loads(capsys.readouterr().out)
    assert not left.value.code
    assert [n["file"] for n in told["neighbours"]] == ["urea-liquor.toml", f"{SULFATE}.toml"]
    assert [out["file"] for out in told["left_out"]] == ["spoilt.toml"]
    assert len(told["pairs"]) == 2 and told["wanting"] is None
