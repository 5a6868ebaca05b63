"""The store loses nothing and hides nothing

Three things are done to shops: eight writers are killed at random moments, on SQLite and, where
SPOOLWRIGHT_TEST_POSTGRES names one, on PostgreSQL; the power is cut at random moments with unflushed writes
dropped (tests/shop/power_cut.py; without its flushes the same store must lose records, or the cuts would show
nothing); live content is edited (tests/shop/edits.py). A slice of the same runs in `make test`.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from shop import power_cut
from shop.edits import EDITS, FOUND, REFUSED, Edited, edit_live_content
from shop.writers import Killed, kill_at_random

KILLS, CUTS, A_RUN = 300, 100, 20
POSTGRES = os.environ.get("SPOOLWRIGHT_TEST_POSTGRES", "")


def absent() -> str | None:
    """Why the proof cannot be run here."""
    return power_cut.absent()


def run(progress: Callable[[int, int], None]) -> dict[str, Any]:
    steps = KILLS * (2 if POSTGRES else 1) + CUTS + sum(EDITS.values())
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        killed = kill_at_random(None, work / "killed", KILLS, 1, lambda n: progress(n, steps))
        done = KILLS
        elsewhere = _killed_on_postgres(work, lambda n: progress(done + n, steps)) if POSTGRES else None
        done += KILLS if elsewhere else 0
        cuts, control = _cut(work, lambda n: progress(done + n, steps))
        done += CUTS
        edited = edit_live_content(_new(work / "edits"), EDITS, 1, lambda n: progress(done + n, steps))
    broken = [*killed.broken, *(elsewhere.broken if elsewhere else []), *cuts.broken, *edited.missed_at]
    holds = not broken and any("lost:" in b for b in control.broken)
    return {
        "claim": "nothing that was acknowledged as signed is lost and no half record is left, verify passes, "
        f"after SIGKILL at {KILLS} random moments under 8 writers and {CUTS} power cuts; each of "
        f"{sum(EDITS.values()):,} edits of live content is refused or found",
        "measured": {
            **_of_killed("SIGKILL on SQLite", killed),
            **(_of_killed("SIGKILL on PostgreSQL", elsewhere) if elsewhere else {}),
            **_of_cuts(cuts, control),
            **_of_edits(edited),
            **({"what broke": "; ".join(broken[:5])} if broken else {}),
        },
        "cases": killed.kills + (elsewhere.kills if elsewhere else 0) + cuts.cuts + edited.made,
        "holds": holds,
    }


def _killed_on_postgres(work: Path, progress: Callable[[int], None]) -> Killed:
    from sqlalchemy import create_engine, text

    engine = create_engine(POSTGRES.replace("postgresql://", "postgresql+psycopg://", 1))
    schema = f"proof_{os.getpid()}"
    with engine.begin() as connection:
        connection.execute(text(f"CREATE SCHEMA {schema}"))
    mark = "&" if "?" in POSTGRES else "?"
    try:
        url = f"{POSTGRES}{mark}options=-csearch_path%3D{schema}"
        return kill_at_random(url, work / "killed-postgresql", KILLS, 2, progress)
    finally:
        with engine.begin() as connection:
            connection.execute(text(f"DROP SCHEMA {schema} CASCADE"))
        engine.dispose()


def _cut(work: Path, progress: Callable[[int], None]) -> tuple[power_cut.Cuts, power_cut.Cuts]:
    """So many power cuts over several recordings, and the same store without its flushes."""
    library = power_cut.build(work)
    every = power_cut.Cuts()
    for seed in range(CUTS // A_RUN):
        found = power_cut.cut_at_random(_new(work / f"cut-{seed}"), library, A_RUN, seed)
        every.add(found)
        progress(every.cuts)
    control = power_cut.cut_at_random(_new(work / "control"), library, A_RUN, 99, sync=False)
    return every, control


def _of_killed(where: str, killed: Killed) -> dict[str, str]:
    acknowledged = f"{killed.told:,} batches acknowledged, {killed.recorded:,} records"
    told = (
        f"{killed.processes:,} processes killed, {acknowledged}; lost, half or faulty: {len(killed.broken)}"
    )
    return {f"{where}: {killed.kills} moments": told}


def _of_cuts(cuts: power_cut.Cuts, control: power_cut.Cuts) -> dict[str, str]:
    told = f"{cuts.dropped:,} unflushed writes at risk, {cuts.checkpoints} checkpoints in the recordings"
    lost = sum("lost:" in b for b in control.broken)
    return {
        f"power cuts: {cuts.cuts}": f"{told}; lost, half or faulty: {len(cuts.broken)}",
        f"the same without flushes: {control.cuts}": f"{lost:,} acknowledged batches lost, as they must be",
    }


def _of_edits(edited: Edited) -> dict[str, str]:
    every: Counter[str] = sum(edited.ends.values(), Counter())
    rows = {
        f"edits, {name.replace('_', ' ')}": ", ".join(f"{count} {end}" for end, count in sorted(ends.items()))
        for name, ends in edited.ends.items()
    }
    all_told = f"{every[REFUSED]} refused, {every[FOUND]} found, {edited.missed} missed"
    return {**rows, f"edits: {edited.made:,}": all_told}


def _new(folder: Path) -> Path:
    folder.mkdir()
    return folder
