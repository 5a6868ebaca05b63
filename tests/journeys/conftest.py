"""What every journey may ask for."""

from __future__ import annotations

from pathlib import Path

import pytest
from reported_run import Reported, no_doubts, reported_run

from spoolwright import bootstrap


@pytest.fixture(scope="session")
def reported(hot_section: Path, tmp_path_factory: pytest.TempPathFactory) -> Reported:
    """A run recorded, assessed and reported once for all journeys."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(bootstrap, "_doubts", lambda kind: no_doubts)
        return reported_run(hot_section, tmp_path_factory.mktemp("reported"))
