"""From a recording to a verdict through the command line, as a person at the bench goes."""

from __future__ import annotations

import json
import re
import shutil
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from visits import (
    FORMATS,
    SIGNED,
    TYPE,
    Demo,
    Result,
    as_recorded,
    assessed,
    numbers,
    with_faults,
    written_as,
)

from command_line import called
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.rig.write import write_run
from spoolwright.sources.runsheet import sheet_beside
from spoolwright.sources.typefile import load_type, shipped_type


def same_numbers(a: Any, b: Any, within: float) -> bool:
    """Whether two parts of results hold the same numbers in the same places."""
    x, y = numbers(a), numbers(b)
    return x.keys() == y.keys() and all(x[k] == pytest.approx(y[k], rel=within, abs=1e-300) for k in x)


def rated(result: Result) -> dict[str, dict[str, Any]]:
    """Verdicts on performance: those whose limit is at a rating."""
    known = {x.id for x in load_type(shipped_type()).type_file.limit if x.regime == "rating"}
    return {k: v for k, v in result.verdicts.items() if v["limit"] in known}


# every format


@pytest.mark.parametrize("format", [f for f in FORMATS if f != "parquet"])
def test_a_run_in_every_format_gets_the_same_verdicts(
    format: str, hot_section: Path, hot: Result, tmp_path: Path
) -> None:
    """Written in the type's units, to all digits: units convert there and back to a rounding."""
    run = written_as(as_recorded(hot_section), sheet_beside(hot_section), tmp_path, format)
    again = assessed(run, out=tmp_path / "out.json")
    assert (hot.answer.code, again.answer.code) == (10, 10)
    assert again.outcomes() == hot.outcomes()
    assert same_numbers(again.told["verdicts"], hot.told["verdicts"], 1e-9)
    assert same_numbers(again.told["rated"], hot.told["rated"], 1e-9)
    assert again.told["runs"][0]["file"] == run.name
    assert again.told["runs"][0]["sha256"] != hot.told["runs"][0]["sha256"]


def test_what_the_page_says_first_the_terminal_says_first(hot: Result) -> None:
    head = hot.answer.out.splitlines()
    assert head[0].startswith("Corrie 940, serial FG-2954, run 1")
    assert head[1].strip() == "Demonstration data, not approved."
    assert "do not meet" in hot.answer.out.split("What is asked for next")[0]
    assert hot.told["disposition"]["accepted_by"] == "____"


# doubt first


def test_a_wrong_channel_cannot_be_told_until_a_person_signs(
    hot_section: Path, hot: Result, tmp_path: Path
) -> None:
    run = written_as(with_faults(as_recorded(hot_section)), sheet_beside(hot_section), tmp_path, "parquet")
    doubted = assessed(run, out=tmp_path / "doubted.json")
    assert doubted.answer.code == 11
    findings = {f["kind"]: f for f in doubted.told["findings"] if f["bars_use"]}
    assert findings["swapped"]["channels"] == ["ng", "np"]
    assert findings["wrong_unit"]["channels"] == ["p_amb"]
    assert all(f["probability"] > 0.95 and f["corrected_by"] == "" for f in findings.values())
    judged = rated(doubted)
    assert judged and {v["outcome"] for v in judged.values()} == {"cannot_tell"}

    sheet = sheet_beside(run)
    sheet.write_text(sheet.read_text(encoding="utf-8") + SIGNED, encoding="utf-8")
    signed = assessed(run, out=tmp_path / "signed.json")
    assert (signed.answer.code, signed.outcomes()) == (10, hot.outcomes())
    assert same_numbers(signed.told["verdicts"], hot.told["verdicts"], 1e-9)
    assert {f["corrected_by"] for f in signed.told["findings"] if f["bars_use"]} == {"A. Person", "B. Person"}


def test_both_values_of_a_corrected_channel_stay(hot_section: Path, hot: Result, tmp_path: Path) -> None:
    """1 inHg is 3386.389 Pa (NIST SP 811, appendix B.8); the numbers were read as hectopascals."""
    run = written_as(with_faults(as_recorded(hot_section)), sheet_beside(hot_section), tmp_path, "parquet")
    sheet_beside(run).write_text(sheet_beside(run).read_text(encoding="utf-8") + SIGNED, encoding="utf-8")
    signed = assessed(run, "--html", tmp_path / "page.html", out=tmp_path / "signed.json")
    for point in signed.told["points"]:
        both = {r["channel"]: r for r in point["readings"] if r["as_recorded"]}
        assert set(both) == {"ng", "np", "p_amb"}
        assert both["ng"]["as_recorded"]["value"] == both["np"]["mean"]["value"]
        assert both["np"]["as_recorded"]["value"] == both["ng"]["mean"]["value"]
        ratio = both["p_amb"]["mean"]["value"] / both["p_amb"]["as_recorded"]["value"]
        assert ratio == pytest.approx(3386.389 / 100.0, rel=1e-6)
    assert "as recorded" in (tmp_path / "page.html").read_text(encoding="utf-8")


# several runs


@pytest.fixture(scope="module")
def visit(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Two runs of one engine on two days; the later one first."""
    folder, known = tmp_path_factory.mktemp("visit"), load_type(shipped_type())
    options = QuickOptions(runs_per_engine=2)
    paths = []
    for n, run in enumerate(quick_runs(known.type_file, known.engine, 2, seed=11, options=options), start=1):
        day = run.sheet.performed_on + timedelta(days=2 - n)
        sheet = run.sheet.model_copy(update={"run": str(3 - n), "performed_on": day})
        paths.append(
            write_run(type(run)(run.recording, sheet, run.truth), folder, f"run-{n}", "parquet").recording
        )
    return paths[0], paths[1]


def test_every_run_of_a_visit_is_shown_in_order_of_its_day(visit: tuple[Path, Path], tmp_path: Path) -> None:
    """Judged is what both show together; neither hides the other."""
    one, two = (assessed(p, out=tmp_path / "one.json").told for p in visit)
    both = assessed(*visit, out=tmp_path / "both.json").told
    turned = assessed(*reversed(visit), out=tmp_path / "turned.json").told
    assert [(r["file"], r["run"]) for r in both["runs"]] == [("run-2.parquet", "1"), ("run-1.parquet", "2")]
    assert turned["runs"] == both["runs"]
    assert [v["outcome"] for v in turned["verdicts"]] == [v["outcome"] for v in both["verdicts"]]
    held = {(p["run"], p["id"]) for t in (one, two) for p in t["points"]}
    assert {(p["run"], p["id"]) for p in both["points"]} == held
    steady = {v["run"] for v in both["verdicts"] if v["rating"] is None and v["reading"]}
    assert steady == {"1", "2"}


def test_runs_that_do_not_belong_together_are_refused(
    visit: tuple[Path, Path], hot_section: Path, tmp_path: Path
) -> None:
    answer = called("assess", visit[0], hot_section, *TYPE)
    assert (answer.code, answer.out) == (4, "")
    assert "the runs are of different engines" in answer.err or "have the run number" in answer.err
    answer = called("assess", hot_section, hot_section, *TYPE)
    assert answer.code == 4
    assert "two run sheets have the run number '1'. Number the runs of the visit apart." in answer.err
    answer = called("assess", *visit, *TYPE, "--sheet", sheet_beside(visit[0]))
    assert answer.code == 4
    assert "1 run sheet(s) are named for 2 recording(s)." in answer.err


# an adjustment in the cell


def test_the_demonstration_says_where_its_files_are(demo: Demo) -> None:
    assert (demo.answer.code, demo.answer.err) == (0, "")
    assert demo.result.told["disposition"]["outcome"] == "all_meet"
    said = dict(re.findall(r"^ *(\w[\w ]*): (\S+)$", demo.answer.out, flags=re.M))
    assert set(said) >= {"recording", "run sheet", "truth", "page", "print", "result"}
    assert (demo.folder / "report.html").read_text(encoding="utf-8").startswith("<!doctype html>")
    assert (demo.folder / "report.pdf").read_bytes().startswith(b"%PDF-")
    assert "not approved" in (demo.folder / "report.html").read_text(encoding="utf-8")


def test_points_before_and_after_an_adjustment_are_never_mixed(demo: Demo) -> None:
    told = demo.result.told
    block = {p["id"]: p["block"] for p in told["points"]}
    made = next(e["at_s"] for e in told["events"] if e["kind"] == "adjustment")
    assert {p["block"] for p in told["points"] if p["to_s"] < made} == {0}
    assert {p["block"] for p in told["points"] if p["from_s"] > made} == {1}
    for curve in told["curves"]:
        assert {block[p["point"]] for p in curve["points"]} == {curve["block"]}
    assert {v["block"] for v in rated(demo.result).values()} == {1}


def test_an_adjustment_forgotten_on_the_sheet_is_not_passed_over(demo: Demo, tmp_path: Path) -> None:
    """Nobody wrote that the vanes were reset: then their angle contradicts the first points."""
    run = tmp_path / demo.recording.name
    shutil.copyfile(demo.recording, run)
    sheet = sheet_beside(demo.recording).read_text(encoding="utf-8")
    without = re.sub(r"\[\[adjustment\]\]\n(?:.+\n)+", "", sheet)
    assert without != sheet
    sheet_beside(run).write_text(without, encoding="utf-8")
    mixed = assessed(run, out=tmp_path / "mixed.json")
    assert {p["block"] for p in mixed.told["points"]} == {0}
    assert mixed.answer.code != 0
    assert "vane_angle" in [c for f in mixed.told["findings"] if f["bars_use"] for c in f["channels"]]


# conditions that must hold


def test_an_instrument_past_its_date_leaves_performance_untold(
    hot_section: Path, hot: Result, tmp_path: Path
) -> None:
    text = shipped_type().read_text(encoding="utf-8")
    due = re.search(
        r'channel = "torque", serial = "(A\d+)", calibrated_on = ([\d-]+), due_on = ([\d-]+)', text
    )
    assert due is not None
    late = tmp_path / "late.toml"
    late.write_text(text.replace(due[0], due[0].replace(due[3], "2026-03-01")), encoding="utf-8")
    out = tmp_path / "out.json"
    answer = called("assess", hot_section, "--type", late, "--json", out)
    told = Result(answer, json.loads(out.read_text(encoding="utf-8")))
    assert answer.code == 11
    (gate,) = [g for g in told.told["gates"] if g["state"] == "fails"]
    assert f"torque (serial {due[1]}, due 2026-03-01)" in gate["text"]
    judged = rated(told)
    assert judged and {v["outcome"] for v in judged.values()} == {"cannot_tell"}
    assert all(gate["mend"] in v["next_step"] for v in judged.values())
    others = {k: v for k, v in told.verdicts.items() if k not in judged}
    late = {k for k, v in others.items() if any("not in calibration" in w for w in v["why"])}
    assert {"torque_red_line", "torque_steady"} <= {others[k]["limit"] for k in late}
    assert {others[k]["outcome"] for k in late} == {"cannot_tell"}
    kept = {k: v["outcome"] for k, v in others.items() if k not in late}
    assert kept and kept.items() <= hot.outcomes().items()


# the run sheet


def filled(skeleton: str, values: dict[str, str]) -> str:
    """A begun sheet with its waiting lines filled in."""
    for key, value in values.items():
        skeleton, count = re.subn(rf"^# {key} = .*$", f"{key} = {value}", skeleton, count=1, flags=re.M)
        assert count == 1, key
    return skeleton


def test_a_sheet_begun_checked_filled_in_and_assessed(hot_section: Path, hot: Result, tmp_path: Path) -> None:
    run = tmp_path / "run.parquet"
    shutil.copyfile(hot_section, run)
    answer = called("assess", run, *TYPE)
    assert answer.code == 4
    assert (
        "there is no run sheet 'run.run.toml' beside it. Begin one with `spoolwright sheet new`" in answer.err
    )

    begun = called("sheet", "new", run, *TYPE)
    assert begun.code == 0
    sheet = sheet_beside(run)
    skeleton = sheet.read_text(encoding="utf-8")
    assert 'serial = "FG-2954"' in skeleton and "# limit_set = " in skeleton
    waiting = called("sheet", "check", sheet, *TYPE)
    assert waiting.code == 4
    for key in ("run", "limit_set", "precipitation", "sampled_on", "lower_heating_value", "density_15c"):
        assert f"'{key}' is missing." in waiting.err
    assert called("assess", run, *TYPE).code == 4
    twice = called("sheet", "new", run, *TYPE)
    assert (twice.code, sheet.read_text(encoding="utf-8")) == (6, skeleton)
    assert "there is a run sheet already" in twice.err

    written = sheet_beside(hot_section).read_text(encoding="utf-8")
    keys = [
        "run", "limit_set", "torque_conformation", "mgt_trim_class", "precipitation", "sampled_on",
        "lower_heating_value", "heating_value_standard_uncertainty", "density_15c", "hydrogen_to_carbon",
    ]  # fmt: skip
    values = {k: re.search(rf"^{k} = (.*)$", written, flags=re.M)[1] for k in keys}  # type: ignore[index]
    sheet.write_text(filled(skeleton, values), encoding="utf-8")
    ready = called("sheet", "check", sheet, *TYPE)
    assert (ready.code, ready.err) == (0, "")
    assert "Checks not signed, open after the run: leak_check_before" in ready.out
    done = assessed(run, out=tmp_path / "out.json")
    assert {k: v["outcome"] for k, v in rated(hot).items()}.items() <= done.outcomes().items()
    assert {s["state"] for s in done.told["schedule"] if s["item"] == "borescope"} == {"open"}


def test_every_mistake_of_a_sheet_is_told_with_its_line(hot_section: Path, tmp_path: Path) -> None:
    text = sheet_beside(hot_section).read_text(encoding="utf-8")
    bad = text.replace('limit_set = "repaired"', 'limit_set = "repared"').replace(
        'unit = "MJ/kg"', 'unit = "kPa"', 1
    )
    (tmp_path / "bad.run.toml").write_text(bad, encoding="utf-8")
    answer = called("assess", hot_section, *TYPE, "--sheet", tmp_path / "bad.run.toml")
    line = bad[: bad.index('"repared"')].count("\n") + 1
    assert answer.code == 4
    assert "2 mistake(s) in the run sheet:" in answer.err
    assert f"bad.run.toml:{line} [limit_set]" in answer.err and "Did you mean 'repaired'?" in answer.err
    assert "'kPa' is a unit of pressure. Give a unit of specific energy." in answer.err


# learning


def test_runs_that_teach_nothing_are_named(
    visit: tuple[Path, Path], hot_section: Path, tmp_path: Path
) -> None:
    faulty = written_as(
        with_faults(as_recorded(hot_section)), sheet_beside(hot_section), tmp_path, "parquet", "faulty"
    )
    out = tmp_path / "learnt.json"
    answer = called("calibrate", *visit, faulty, *TYPE, "-o", out, columns=200)
    assert (answer.code, answer.err) == (0, "")
    assert (
        "Left out: faulty.parquet, run 1 of engine FG-2954: no usable point: 'p_amb' is in doubt"
        in answer.out
    )
    told = json.loads(out.read_text(encoding="utf-8"))
    assert f"rests on {told['runs']} accepted run" in answer.out
    assert len(told["rests_on"]) + len(told["left_out"]) == len(visit) + 1
    advised = assessed(hot_section, "--baseline", out, out=tmp_path / "advised.json")
    assert advised.told["model_basis"].startswith(("shape learnt from", "not calibrated"))
    alone = called("calibrate", faulty, *TYPE, "-o", tmp_path / "none.json", columns=200)
    assert alone.code == 0 and "Left out: faulty.parquet" in alone.out
    assert "The average engine rests on the data sheet alone" in alone.out


# what a person gets wrong


def test_help_shows_an_example_that_is_understood(hot_section: Path, tmp_path: Path) -> None:
    shown = called("assess", "--help")
    assert (shown.code, shown.err) == (0, "")
    (example,) = re.findall(r"^ *spoolwright (assess run-1.*)$", shown.out, flags=re.M)
    for name in ("run-1.csv", "run-2.mf4", "corrie_940.toml"):
        example = example.replace(name, str(tmp_path / name))
    answer = called(*example.split())
    assert (answer.code, "corrie_940.toml: the type file cannot be read" in answer.err) == (4, True)


def test_a_wrong_call_says_what_to_mend(hot_section: Path, tmp_path: Path) -> None:
    copy = tmp_path / "run.parquet"
    shutil.copyfile(hot_section, copy)
    shutil.copyfile(sheet_beside(hot_section), sheet_beside(copy))
    calls: list[tuple[list[object], int, str]] = [
        (["assess"], 2, "Missing argument 'RUN'"),
        (["assess", copy], 2, "Missing option '--type'"),
        (["asess", copy], 2, "Did you mean 'assess'?"),
        (["assess", copy, "--type", tmp_path / "no.toml"], 4, "the type file cannot be read: No such file"),
        (["assess", copy, "--type", tmp_path], 4, "the type file cannot be read: Is a directory."),
        (["assess", copy, "--type", sheet_beside(copy)], 4, "mistake(s) in the type file"),
        (["assess", tmp_path / "no.csv", *TYPE], 4, "no.csv: it cannot be read: No such file or directory."),
        (["assess", tmp_path, *TYPE], 4, "it is not a plain file. Give the path of a recording."),
        (["assess", shipped_type(), *TYPE, "--sheet", sheet_beside(copy)], 4, "corrie_940.toml: "),
        (["assess", copy, *TYPE, "--json", copy], 6, "it would overwrite an input, or another result."),
        (["assess", copy, *TYPE, "--html", tmp_path], 6, "it is a folder. Give the name of a file in it."),
        (["assess", copy, *TYPE, "--pdf", copy / "x.pdf"], 6, f"no file can be written in '{copy}'."),
        (["assess", copy, *TYPE, "--json", tmp_path / "a", "--html", tmp_path / "a"], 6, "or another result"),
        (["rig", "record", "--rate", "0"], 3, "rate 0 1/s is outside 1 to 100."),
        (["rig", "record", "--ambient", "rh=1e9"], 3, "weather rh = 1e+09 is outside 0 to 100."),
        (["rig", "record", "--ambient", "t=nan"], 3, "weather t = nan is outside -60 to 60."),
        (["rig", "record", "--name", "a/b"], 4, "'a/b' is no name of a file."),
        (["rig", "record", "--out", copy], 6, f"no file can be written in '{copy}'."),
        (["rig", "record", "--seed", "-1"], 2, "Invalid value for '--seed'"),
        (["rig", "record", "--preset", "nope"], 4, "Use one of: healthy, thin-margin"),
        (["rig", "record", "--fault", "nope"], 4, "Write NAME=SIZE, SIZE a number."),
        (["rig", "record", "--fault", "rub=nan"], 3, "size nan of fault 'rub' is outside -1000 to 1000."),
        (["rig", "record", "--fault", "rub=1e9"], 3, "size 1e+09 of fault 'rub' is outside -1000 to 1000."),
        (["rig", "record", "--sensor-fault", "bias:mgt=inf"], 4, "'inf' is not a number."),
        (["rig", "record", "--sensor-fault", "stuck:mgt@1..5"], 4, "is no fault of the data."),
        (["rig", "record", "--sensor-fault", "stuck:mgt@9-5"], 4, "it ends at 5 s, before it begins at 9 s."),
        (["demo", "--preset", "nope", "--out", tmp_path / "demo"], 4, "preset 'nope' is not known."),
        (["type", "check", sheet_beside(copy)], 4, "Nothing is assessed with this file until it is mended."),
    ]
    before = copy.read_bytes()
    for words, code, told in calls:
        answer = called(*words)
        assert (answer.code, answer.out) == (code, "") and told in answer.err, (words, answer)
    assert copy.read_bytes() == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["run.parquet", "run.run.toml"]
