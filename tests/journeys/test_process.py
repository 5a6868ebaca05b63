"""The program among others: pipes, signals, full disks, terminals of every kind."""

from __future__ import annotations

import os
import pty
import re
import resource
import select
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from visits import TYPE

from command_line import PROGRAM, called, started
from spoolwright import bootstrap
from spoolwright.sources.runsheet import sheet_beside

ESCAPE = "\x1b["


@pytest.fixture
def run(hot_section: Path, tmp_path: Path) -> Path:
    """The repaired engine's run in a folder of its own."""
    shutil.copyfile(hot_section, tmp_path / "run.parquet")
    shutil.copyfile(sheet_beside(hot_section), tmp_path / "run.run.toml")
    return tmp_path / "run.parquet"


def names(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


def test_into_a_pipe_go_words_alone(run: Path) -> None:
    """80 columns, where nothing else is known; no colour, no bar, nothing on the error stream."""
    done = started(["assess", run, *TYPE])
    assert (done.returncode, done.stderr) == (10, "")
    assert ESCAPE not in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_a_reader_who_leaves_ends_it_without_complaint(run: Path) -> None:
    with subprocess.Popen(
        [*PROGRAM, *map(str, ["assess", run, *TYPE, "--all"])], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout is not None and process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""
        assert process.wait() == 141  # 128 + SIGPIPE, as a shell tells it


def test_ctrl_c_ends_it_with_a_word_and_leaves_nothing_half_done(tmp_path: Path) -> None:
    words = ["rig", "record", "--out", tmp_path / "out", "--name", "run"]
    # in a shell's background an interrupt is ignored, and what starts there inherits that
    with subprocess.Popen(
        [*PROGRAM, *map(str, words)],
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    ) as process:
        time.sleep(2.0)
        process.send_signal(signal.SIGINT)
        _, told = process.communicate(timeout=30)
    assert process.returncode == 130  # 128 + SIGINT
    assert told == "spoolwright: interrupted. No report was left half written.\n"
    assert not (tmp_path / "out").exists()


def test_ctrl_c_while_the_program_loads_ends_it_with_a_word() -> None:
    """An import hook strikes where a hand on the keyboard might: when the command line is being loaded."""
    struck = """
import sys
class Strike:
    def find_spec(self, name, *_):
        if name == "spoolwright.cli.main":
            raise KeyboardInterrupt
sys.meta_path.insert(0, Strike())
from spoolwright.__main__ import run
run()
"""
    done = subprocess.run([sys.executable, "-c", struck], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (130, "")
    assert done.stderr == "spoolwright: interrupted. No report was left half written.\n"


def test_the_program_runs_as_a_module() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "spoolwright", "--version"], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout.split()[0]) == (0, "spoolwright")


def test_a_pipe_named_as_a_report_is_refused_and_stays_a_pipe(run: Path) -> None:
    pipe = run.with_name("report.json")
    os.mkfifo(pipe)
    answer = called("assess", run, *TYPE, "--json", pipe)
    assert answer.code == 6
    assert "it is a device or a pipe" in answer.err
    assert pipe.is_fifo()


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="there is no /dev/full here")
def test_a_summary_that_finds_no_room_is_told(run: Path) -> None:
    words = [*PROGRAM, *map(str, ["assess", run, *TYPE])]
    with open("/dev/full", "w") as full:
        done = subprocess.run(words, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 6
    assert done.stderr == "spoolwright: cannot write: No space left on device. Make room, then run again.\n"


@pytest.mark.parametrize("kind", ["json", "html", "pdf"])
def test_a_report_that_finds_no_room_costs_neither_the_result_nor_an_older_report(
    run: Path, kind: str
) -> None:
    """A limit on the size of files stands for a full disk: writing fails half way through."""
    report = run.with_name(f"report.{kind}")
    report.write_text("an older one")

    def small_files() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (50_000, 50_000))

    done = started(["assess", run, *TYPE, f"--{kind}", report], preexec_fn=small_files)
    assert done.returncode == 6
    assert "do not meet" in done.stdout
    assert "Written" not in done.stdout
    assert re.fullmatch(r"spoolwright: \S+: .*File too large.*\n", done.stderr), done.stderr
    assert report.read_text() == "an older one"
    assert names(run.parent) == sorted(["run.parquet", "run.run.toml", report.name])


def test_little_memory_ends_in_a_sentence(run: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def greedy(*_: object, **__: object) -> None:
        bytearray(2**62)

    monkeypatch.setattr(bootstrap, "assess", greedy)
    answer = called("assess", run, *TYPE)
    assert answer.code == 4
    assert answer.err == "spoolwright: there is not enough memory for this. Assess fewer or shorter runs.\n"


def test_streams_that_are_closed_hinder_nothing(run: Path) -> None:
    for closing in (">&-", "2>&-", "<&-"):
        words = [*PROGRAM[:2], f"'{PROGRAM[2]}'", *map(str, ["assess", run, *TYPE]), closing]
        done = subprocess.run(["sh", "-c", " ".join(words)], capture_output=True, text=True, check=False)
        assert (done.returncode, done.stderr) == (10, ""), closing


def test_letters_that_a_stream_cannot_show_are_replaced(run: Path) -> None:
    done = started(["assess", run, *TYPE], env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert (done.returncode, done.stderr) == (10, "")
    assert done.stdout.isascii()


def on_a_terminal(words: list[object], **around: str) -> tuple[int, str]:
    """Exit code and everything shown, both streams on one terminal."""
    mine, theirs = pty.openpty()
    kept = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "COLUMNS")}
    env = {**kept, "TERM": "xterm-256color", **around}
    with subprocess.Popen([*PROGRAM, *map(str, words)], stdout=theirs, stderr=theirs, env=env) as process:
        os.close(theirs)
        shown = b""
        while select.select([mine], [], [], 60)[0]:
            try:
                part = os.read(mine, 65536)
            except OSError:  # the other end is closed
                break
            if not part:
                break
            shown += part
        code = process.wait()
    os.close(mine)
    return code, shown.decode()


def test_on_a_terminal_a_bar_shows_how_far_it_is(run: Path) -> None:
    code, shown = on_a_terminal(["assess", run, *TYPE])
    assert code == 10
    assert "Assessing: " in shown and ESCAPE in shown
    assert re.search(r"\x1b\[(1;)?31m.*do not meet|\x1b\[1;31m", shown)


def test_colour_is_left_out_where_nobody_wants_it(run: Path) -> None:
    """With NO_COLOR in the environment no colour is added; 30 to 37 and 90 to 97 are colours."""
    code, shown = on_a_terminal(["assess", run, *TYPE], NO_COLOR="1")
    assert code == 10
    assert not re.search(r"\x1b\[(?:\d+;)*(?:3[0-7]|9[0-7])[;m]", shown)


def test_on_a_plain_terminal_no_bar_is_drawn(run: Path) -> None:
    code, shown = on_a_terminal(["assess", run, *TYPE], TERM="dumb")
    assert code == 10
    assert ESCAPE not in shown and "Assessing" not in shown


def test_no_fault_of_the_program_is_hidden(run: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("planted")

    monkeypatch.setattr(bootstrap, "assess", broken)
    answer = called("assess", run, *TYPE)
    assert answer.code == 70
    assert "a fault in the program itself (ZeroDivisionError: planted)" in answer.err
    monkeypatch.setenv("SPOOLWRIGHT_TRACEBACK", "1")
    with pytest.raises(ZeroDivisionError, match="planted"):
        called("assess", run, *TYPE)
