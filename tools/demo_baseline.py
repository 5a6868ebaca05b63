"""Makes the demonstration shop's baseline again: 24 simulated engines, two accepted runs each, calibrated.

Takes some minutes. Needed whenever the calibration or its tables change: python tools/demo_baseline.py
"""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

from spoolwright.bootstrap.calibrating import calibrate
from spoolwright.rig.quick import QuickOptions, quick_runs
from spoolwright.rig.write import write_run
from spoolwright.sources.typefile import load_type, shipped_type

ENGINES, RUNS, SEED = 24, 2, 7000
OUT = Path(__file__).parents[1] / "src" / "spoolwright" / "data" / "corrie_940.baseline.json"


def main() -> None:
    """Record, calibrate, write without blanks."""
    known = load_type(shipped_type())
    options = QuickOptions(limit_set="repaired", runs_per_engine=RUNS)
    with tempfile.TemporaryDirectory() as folder:
        runs = quick_runs(known.type_file, known.engine, ENGINES * RUNS, SEED, options)
        for i, run in enumerate(runs):
            write_run(run, Path(folder), f"run-{i:03d}", "parquet")
        wide = Path(folder) / "baseline.json"
        calibrate([Path(folder)], shipped_type(), wide)
        OUT.write_text(json.dumps(json.loads(wide.read_text()), separators=(",", ":")) + "\n")


if __name__ == "__main__":
    main()
