"""Puts hostile things in the place of every file the command line takes: `hostile_calls.py RECORDING FOLDER`.

Runs in a process of its own with bounded memory and time. Tells each call and its answer as JSON.
"""

from __future__ import annotations

import contextlib
import json
import os
import resource
import shutil
import signal
import sys
import time
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))
from peak_memory import peak_bytes

from command_line import called
from spoolwright.sources import typefile
from spoolwright.sources.runsheet import sheet_beside
from spoolwright.sources.typefile import shipped_type

MEMORY, SECONDS = 4 * 2**30, 60
ODD_NAMES = [
    "a\nb",
    "\x1b[31mred",
    "-",
    "--type",
    "ü é",
    "a b'\"$(x)",
    "🙂",
    "x" * 250,
    "x" * 5000,
    "\udcff\udcfe",
]


@dataclass(frozen=True)
class Sound:
    """Files that are in order."""

    run: Path
    type_file: Path
    folder: Path


def things(folder: Path) -> Iterator[tuple[str, Path]]:
    """Names and paths of what is no sound file of any kind."""
    contents = {
        "empty": b"",
        "one NUL": b"\x00",
        "binary": bytes(range(256)) * 400,
        "blank lines": b"\n" * 100_000,
        "UTF-16": "format = 1\ntime [s],ng [rpm]\n0,1\n".encode("utf-16"),
        "Latin-1": "# 20 °C\nnäme = 'ü'\n".encode("latin-1"),
        "10,000 digits": b"format = " + b"9" * 10_000 + b"\n",
        "JSON number of 10,000 digits": b'{"format": ' + b"9" * 10_000 + b"}",
        "deep list": b"x = " + b"[" * 200_000,
        "deep JSON": b"[" * 200_000,
        "deep key": b".".join([b"a"] * 100_000) + b" = 1",
        "just too large": b"#" * 5_000_001,
        "picture": b"\x89PNG\r\n\x1a\n" + bytes(100),
        "not a number": b'{"format": NaN, "shapes": {"power": Infinity}}',
        "escape codes": b'"\x1b[31m" = 1\n\x1b]0;title\x07',
        "one heading": b"time [s],ng [rpm]\n",
        "one row": b"time [s],ng [rpm]\n0,30000\n",
    }
    for k, (name, data) in enumerate(contents.items()):
        path = folder / f"thing-{k}"
        path.write_bytes(data)
        yield name, path
    yield "missing", folder / "nowhere" / "file"
    yield "folder", folder
    yield "below a file", shipped_type() / "file"
    yield "no name", Path("")
    yield from special(folder)
    for k, name in enumerate(ODD_NAMES):
        path = folder / name
        with contextlib.suppress(OSError):
            path.write_bytes(b"odd\n")
        yield f"odd name {k}", path


def special(folder: Path) -> Iterator[tuple[str, Path]]:
    """What is no plain file."""
    os.mkfifo(folder / "pipe")
    yield "pipe", folder / "pipe"
    (folder / "circle").symlink_to(folder / "circle")
    yield "circle of links", folder / "circle"
    (folder / "dangling").symlink_to(folder / "gone")
    yield "link to nothing", folder / "dangling"
    for device in ("zero", "null", "stdin", "full"):
        yield f"/dev/{device}", Path("/dev") / device
    with (folder / "hole").open("wb") as file:
        file.truncate(2**40)
    yield "a terabyte of nothing", folder / "hole"


def places(s: Sound, thing: Path) -> dict[str, list[object]]:
    """Every call in which a file may be the wrong one."""
    fit = ["--type", s.type_file]
    return {
        "assess RUN": ["assess", *fit, "--sheet", sheet_beside(s.run), "--", thing],
        "assess RUN, sheet beside": ["assess", *fit, "--", thing],
        "assess --sheet": ["assess", s.run, *fit, "--sheet", thing],
        "assess --type": ["assess", s.run, "--type", thing],
        "assess --channel-map": ["assess", s.run, *fit, "--channel-map", thing],
        "assess --baseline": ["assess", s.run, *fit, "--baseline", thing],
        "calibrate": ["calibrate", *fit, "--out", s.folder / "b.json", "--", thing],
        "diagnose RUN": ["diagnose", *fit, "--sheet", sheet_beside(s.run), "--", thing],
        "diagnose --baseline": ["diagnose", s.run, *fit, "--baseline", thing],
        "diagnose --priors": ["diagnose", s.run, *fit, "--priors", thing],
        "sheet new": ["sheet", "new", *fit, "--out", s.folder / "new.toml", "--", thing],
        "sheet check": ["sheet", "check", *fit, "--", thing],
        "type check": ["type", "check", "--", thing],
        "rig record --type": ["rig", "record", "--type", thing, "--out", s.folder / "rig"],
    }


def _out_of_time(*_: object) -> None:
    raise TimeoutError("out of time")


def read_once() -> None:
    """The sound type file is read once, not for every call: what is tried is the hostile one."""
    read, kept = typefile.load_type, typefile.load_type(shipped_type())
    typefile.load_type = lambda path: kept if path == shipped_type() else read(path)


def answers(s: Sound) -> Iterator[dict[str, object]]:
    for name, thing in things(s.folder / "things"):
        for place, words in places(s, thing).items():
            (s.folder / "new.toml").unlink(missing_ok=True)
            began = time.perf_counter()
            signal.alarm(SECONDS)
            answer = called(*words)
            signal.alarm(0)
            yield {
                "thing": name, "place": place, "code": answer.code, "seconds": time.perf_counter() - began,
                "err": answer.err[:3000], "said": len(answer.err) + len(answer.out),
                "controls": sorted({c for c in answer.err + answer.out if unicodedata.category(c) == "Cc"}),
            }  # fmt: skip


if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    signal.signal(signal.SIGALRM, _out_of_time)
    run, place = Path(sys.argv[1]), Path(sys.argv[2])
    (place / "things").mkdir()
    copy = place / f"run{run.suffix}"
    shutil.copyfile(run, copy)
    shutil.copyfile(sheet_beside(run), sheet_beside(copy))
    read_once()
    found = list(answers(Sound(copy, shipped_type(), place)))
    memory = peak_bytes()
    print(json.dumps({"answers": found, "memory": memory}))
