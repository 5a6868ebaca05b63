"""What every test may ask for."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import hypothesis
import pytest

# As the program itself does: small matrices gain nothing from threads, and lose much on a busy machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# A shared machine stalls now and then; a property that is slow is not thereby false. The usual run tries the
# same cases every time; SPOOLWRIGHT_FUZZ=1 looks for new ones.
hypothesis.settings.register_profile("house", deadline=None, derandomize="SPOOLWRIGHT_FUZZ" not in os.environ)
hypothesis.settings.load_profile("house")


@pytest.fixture(scope="session")
def repository() -> Path:
    """The root of the working tree."""
    return Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def hot_section(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Recording of a repaired engine short of power, its run sheet beside it; made once for all tests."""
    from spoolwright.rig.presets import preset_options
    from spoolwright.rig.record import record_run
    from spoolwright.rig.write import write_run
    from spoolwright.sources.typefile import load_type, shipped_type

    known = load_type(shipped_type())
    run = record_run(known.type_file, known.engine, preset_options("hot-section", known.type_file, 5.0))
    return write_run(run, tmp_path_factory.mktemp("hot-section"), "run", "parquet").recording


@pytest.fixture(scope="session")
def chromium() -> str:
    """Path of Debian's chromium; without it a browser test is skipped, in CI it fails."""
    found = shutil.which("chromium")
    if found is None:
        reason = "chromium is not installed (Debian: apt install chromium chromium-driver)"
        pytest.fail(reason) if os.environ.get("CI") else pytest.skip(reason)
    return found
