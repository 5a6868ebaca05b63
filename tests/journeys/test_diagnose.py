"""From recordings of accepted runs to a named cause, through the command line, as the how-to page shows it.

The truth is what the rig planted. Engines of the history are quick runs of the rig; the run that is diagnosed
is a whole one.
"""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path
from typing import Any

import pytest

from command_line import Answer, called
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.rig.write import write_run
from spoolwright.sources.runsheet import sheet_beside
from spoolwright.sources.typefile import load_type, shipped_type

PAGE = Path(__file__).resolve().parents[2] / "docs" / "how-to" / "diagnose-a-run.md"
LEARNT = 10


def shown() -> list[list[str]]:
    """The commands of the page's walk on the rig."""
    part = PAGE.read_text(encoding="utf-8").split("## Try it on the rig")[1].split("## ")[0]
    (block,) = re.findall(r"```sh\n(.*?)```", part, flags=re.S)
    return [shlex.split(line)[1:] for line in block.splitlines() if line]


@pytest.fixture(scope="module")
def walk(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Answer]]:
    """The page's commands, one after the other, in a folder of their own."""
    folder = tmp_path_factory.mktemp("walk")
    loaded = load_type(shipped_type())
    (folder / "corrie_940.toml").write_bytes(Path(shipped_type()).read_bytes())
    for i, run in enumerate(
        quick_runs(loaded.type_file, loaded.engine, LEARNT, 83_000, QuickOptions(limit_set="repaired"))
    ):
        write_run(run, folder / "accepted" / f"visit-{i % 2}", f"run-{i}")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        return folder, [called(*words, columns=200) for words in shown()]


def told(folder: Path) -> dict[str, Any]:
    return dict(json.loads((folder / "why.json").read_text(encoding="utf-8")))


def test_the_walk_names_what_was_planted(walk: tuple[Path, list[Answer]]) -> None:
    folder, (learnt, recorded, found) = walk
    assert (learnt.code, learnt.err, recorded.code) == (0, "", 0)
    assert (found.code, found.err) == (10, "")
    (truth,) = (folder / "failed").glob("*.truth.json")
    assert json.loads(truth.read_text(encoding="utf-8"))["module_faults"] == {"bleed_leak": 2.0}
    d = told(folder)
    assert d["outcome"] in ("cause_found", "group_found")
    named = d["groups"][0]["causes"] if d["outcome"] == "group_found" else [d["suspects"][0]["id"]]
    assert "bleed_leak" in named
    leak = next(s for s in d["suspects"] if s["id"] == "bleed_leak")
    assert leak["magnitude"]["low"] - 0.5 < 2.0 < leak["magnitude"]["high"] + 0.5
    assert "Bleed or anti-ice valve leaking" in found.out


def test_the_baseline_tells_what_it_rests_on_and_where_the_model_is_wrong(
    walk: tuple[Path, list[Answer]],
) -> None:
    folder, (learnt, *_) = walk
    b = json.loads((folder / "corrie_940.baseline.json").read_text(encoding="utf-8"))
    assert len(b["rests_on"]) + len(b["left_out"]) == LEARNT
    assert "Build scatter, one standard deviation" in learnt.out and "Where the model is wrong" in learnt.out
    assert b["engines"] == len({r["engine"] for r in b["rests_on"]})
    assert {e["output"] for e in b["errors"]} >= {"power", "fuel_flow", "p3"}


def test_other_evidence_has_its_say(walk: tuple[Path, list[Answer]]) -> None:
    """The history knows vibration and oil of its engines, and the run has them."""
    folder, _ = walk
    b = json.loads((folder / "corrie_940.baseline.json").read_text(encoding="utf-8"))
    assert {"vib_compressor", "p_oil"} <= set(b["fleet"])
    assert all(f["scatter"] > 0.0 for f in b["fleet"].values())


def asked(folder: Path, *words: object) -> Answer:
    return called("diagnose", *words, "--type", folder / "corrie_940.toml", columns=200)


def test_nonsense_gets_one_sentence_each(walk: tuple[Path, list[Answer]], tmp_path: Path) -> None:
    folder, _ = walk
    one, two = sorted((folder / "accepted").rglob("*.csv"))[:2]
    mixed = asked(folder, one, two)
    assert mixed.code == 4 and "the runs are of different engines" in mixed.err
    given = json.loads((folder / "corrie_940.baseline.json").read_text(encoding="utf-8"))
    other = tmp_path / "other.json"
    other.write_text(json.dumps({**given, "type_id": "other_700"}), encoding="utf-8")
    wrong = asked(folder, one, "--baseline", other)
    assert wrong.code == 4 and "calibrated for type 'other_700'" in wrong.err
    other.write_text("{}", encoding="utf-8")
    empty = asked(folder, one, "--baseline", other)
    assert empty.code == 4 and "other.json: this is not a calibration of this version" in empty.err
    short = tmp_path / "short.csv"
    short.write_text("".join(one.read_text(encoding="utf-8").splitlines(True)[:60]), encoding="utf-8")
    sheet_beside(short).write_bytes(sheet_beside(one).read_bytes())
    still = asked(folder, short, "--json", tmp_path / "short.json")
    assert still.code == 11 and "holds no steady point" in still.out
    assert asked(folder, tmp_path).code in (11, 4)
    for answer in (mixed, wrong, empty):
        assert len(answer.err.strip().splitlines()) == 1


def test_priors_with_mistakes_are_told_by_line(walk: tuple[Path, list[Answer]], tmp_path: Path) -> None:
    folder, _ = walk
    (one, *_) = sorted((folder / "accepted").rglob("*.csv"))
    priors = tmp_path / "priors.toml"
    priors.write_text(
        'format = 1\nbasis = "log"\n[shares]\nhealthy = 0.6\nmodule = 0.3\nreading = 0.1\npair = 0.1\n'
        '[[weight]]\ncause = "compresor_fouling"\nweight = 2\n',
        encoding="utf-8",
    )
    answer = asked(folder, one, "--priors", priors)
    assert answer.code == 4 and "2 mistake(s) in the table of priors" in answer.err
    assert "the shares add up to 1.1. Make them add up to 1." in answer.err
    assert "priors.toml:9" in answer.err and "compressor_fouling" in answer.err


def test_an_engine_outside_the_history_is_told_and_the_diagnosis_goes_on(
    walk: tuple[Path, list[Answer]], tmp_path: Path
) -> None:
    folder, _ = walk
    (failed,) = (folder / "failed").glob("*.csv")
    table = tmp_path / "shop.csv"
    table.write_text("engine,visit,released_on,part_lot\nH1,V-1,2026-01-20,L-7\n", encoding="utf-8")
    given = (failed, "--baseline", folder / "corrie_940.baseline.json", "--history", table)
    answer = asked(folder, *given, "--json", tmp_path / "why.json")
    assert (answer.code, answer.err) == (10, "")
    found = json.loads((tmp_path / "why.json").read_text(encoding="utf-8"))
    said = [c for c in found["cautions"] if "shop history" in c]
    where = f"Engine '{found['engine_serial']}' is not in the shop history 'shop.csv'"
    assert said == [f"{where}, so no engines that share this cause are listed."]
    assert found["sisters"] == []
