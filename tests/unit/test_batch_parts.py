"""Results of a batch on disk: nothing doubled, nothing half, nothing mixed."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest
from pyarrow import parquet

from sample_diagnosis import cause_found, group_found, nothing_found
from spoolwright.errors import InputError, OutputError
from spoolwright.reports.batch_parts import HEAD, PARTS, Parts
from spoolwright.reports.batch_rows import FAILED, SHARED, Hashes, Row, failed_row, row_of
from spoolwright.reports.batch_terminal import counted

RESTS_ON = {"program": "spoolwright 1", "type_file_sha256": "a1", "baseline_sha256": ""}


def hashes(recording: str) -> Hashes:
    return Hashes(recording, "sheet", {"type_file": "t"})


def rows(names: Sequence[str]) -> list[Row]:
    return [row_of(nothing_found(), name, hashes(name)) for name in names]


def test_rows_come_back_as_they_were_diagnosed(tmp_path: Path) -> None:
    found = group_found()
    with Parts.opened(tmp_path, RESTS_ON, resume=False) as parts:
        parts.add([row_of(found, "b", hashes("b"))])
        parts.add(rows(["a"]))
        (first, second) = parquet.read_table(parts.finish()).to_pylist()
    assert (first["recording"], second["recording"]) == ("a", "b")
    assert (second["outcome"], second["sentence"]) == (found.outcome, found.sentence)
    top = max(found.suspects, key=lambda s: s.probability)
    assert second["causes"][0]["id"] == top.id
    assert second["causes"][0]["probability"] == top.probability
    assert second["causes"][0]["size"] == top.magnitude.mean
    assert second["margins"][0]["now"] == top.margins[0].now.value


def test_results_are_gone_on_with_only_when_asked(tmp_path: Path) -> None:
    with Parts.opened(tmp_path, RESTS_ON, resume=False) as parts:
        parts.add(rows(["a", "b"]))
    with (
        pytest.raises(OutputError, match="holds results already"),
        Parts.opened(tmp_path, RESTS_ON, resume=False),
    ):
        pass
    with Parts.opened(tmp_path, RESTS_ON, resume=True) as parts:
        parts.add(rows(["c"]))
        assert parts.keys() == {n: hashes(n).key for n in "abc"}


def test_results_that_rest_on_something_else_are_not_mixed(tmp_path: Path) -> None:
    with Parts.opened(tmp_path, RESTS_ON, resume=False):
        pass
    other = {**RESTS_ON, "baseline_sha256": "ff"}
    with (
        pytest.raises(InputError, match=r"rest on another baseline \(none, now ff\)"),
        Parts.opened(tmp_path, other, resume=True),
    ):
        pass


def test_what_a_kill_left_half_written_is_not_seen(tmp_path: Path) -> None:
    with Parts.opened(tmp_path, RESTS_ON, resume=False) as parts:
        parts.add(rows(["a"]))
    torn = tmp_path / PARTS / "part-000001.parquet.tmp"
    torn.write_bytes((tmp_path / PARTS / "part-000000.parquet").read_bytes()[:100])
    with Parts.opened(tmp_path, RESTS_ON, resume=True) as parts:
        assert set(parts.keys()) == {"a"}
    assert not torn.exists()


def test_a_damaged_part_is_named(tmp_path: Path) -> None:
    with Parts.opened(tmp_path, RESTS_ON, resume=False) as parts:
        parts.add(rows(["a"]))
        (tmp_path / PARTS / "part-000000.parquet").write_bytes(b"PAR1 but no more")
        with pytest.raises(InputError, match=r"part-000000.*damaged"):
            parts.keys()


def test_rows_to_be_made_again_leave_the_others_where_they_are(tmp_path: Path) -> None:
    with Parts.opened(tmp_path, RESTS_ON, resume=False) as parts:
        parts.add(rows(["a", "b"]))
        parts.add(rows(["c"]))
        parts.drop({"a", "c"})
        assert set(parts.keys()) == {"b"}
        parts.add(rows(["a"]))
        assert parquet.read_table(parts.finish())["recording"].to_pylist() == ["a", "b"]


def test_a_second_batch_is_kept_out(tmp_path: Path) -> None:
    with (
        Parts.opened(tmp_path, RESTS_ON, resume=False),
        pytest.raises(OutputError, match="another batch"),
        Parts.opened(tmp_path, RESTS_ON, resume=True),
    ):
        pass


def test_a_head_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    (tmp_path / HEAD).write_text("{")
    with pytest.raises(InputError, match=HEAD), Parts.opened(tmp_path, RESTS_ON, resume=True):
        pass


def test_a_key_changes_with_everything_it_rests_on() -> None:
    none = dict.fromkeys(SHARED, "")
    every = [
        Hashes("x", "", none),
        Hashes("", "x", none),
        *(Hashes("", "", {**none, k: "x"}) for k in SHARED),
    ]
    assert len({h.key for h in (*every, Hashes("", "", none))}) == len(SHARED) + 3


def test_a_run_that_ended_its_process_is_tried_again_and_a_bad_file_is_not() -> None:
    assert failed_row("a", hashes("a"), "it is empty.")["key"] == hashes("a").key
    assert failed_row("a", hashes("a"), "the process ended.", again=True)["key"] == ""


def test_names_that_are_no_text_can_be_told(tmp_path: Path) -> None:
    with Parts.opened(tmp_path, RESTS_ON, resume=False) as parts:
        parts.add([failed_row("a", hashes("a"), "\udcff.csv: it is empty.")])
        (row,) = parquet.read_table(parts.finish()).to_pylist()
    assert row["error"] == r"\udcff.csv: it is empty."


def test_like_errors_are_counted_together_whatever_the_file(tmp_path: Path) -> None:
    with Parts.opened(tmp_path, RESTS_ON, resume=False) as parts:
        parts.add(
            [failed_row(f"x/{n}.csv", hashes(n), f"{n}.csv: it is empty. Copy it again.") for n in "abc"]
        )
        parts.add([row_of(cause_found(), "d", hashes("d"))])
        counts = counted(parts.finish())
    assert counts.outcomes == {FAILED: 3, "cause_found": 1}
    assert counts.errors == {"it is empty. Copy it again.": 3}
    assert counts.first == {"it is empty. Copy it again.": "x/a.csv"}
    assert counts.failed == 3
