"""What every journey may ask for."""

from __future__ import annotations

from pathlib import Path

import pytest
from reported_run import Reported, no_doubts, reported_run
from visits import Demo, Result, assessed

from command_line import called
from spoolwright.bootstrap import visits


@pytest.fixture(scope="session")
def reported(hot_section: Path, tmp_path_factory: pytest.TempPathFactory) -> Reported:
    """A run recorded, assessed and reported once for all journeys."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(visits, "doubts", lambda kind: no_doubts)
        return reported_run(hot_section, tmp_path_factory.mktemp("reported"))


@pytest.fixture(scope="session")
def hot(hot_section: Path, tmp_path_factory: pytest.TempPathFactory) -> Result:
    """The repaired engine short of power, assessed."""
    return assessed(hot_section, out=tmp_path_factory.mktemp("hot") / "out.json")


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    """What `spoolwright demo` made of an engine whose vanes were reset in the cell."""
    folder = tmp_path_factory.mktemp("demo")
    return Demo(folder, called("demo", "--preset", "adjusted", "--out", folder))
