"""Tables of checks and of what reopening costs: those shipped, and every mistake with its line."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from spoolwright.core.diagnosis.causes import module_causes
from spoolwright.errors import CheckTableError, CostTableError
from spoolwright.sources.check_table import read_check_table, shipped_check_table
from spoolwright.sources.cost_table import read_reopening_table, shipped_reopening_table
from spoolwright.sources.typefile import load_type, shipped_type

LOADED = load_type(shipped_type())
CHANNELS = [c.id for c in LOADED.type_file.channel]
CAUSES = [*(c.id for c in module_causes(LOADED.engine)), *(f"reading:{c}" for c in CHANNELS)]

CHECKS = """\
format = 1
currency = "EUR"
hourly_rate = 0
[[inspection]]
id = "look"
text = "Look"
hours = 1
finds = [{ causes = ["compressor_foulin"], sensitivity = 0.9, specificity = 0.9 }]
[[inspection]]
id = "look"
text = "Look again"
hours = 1
finds = [
    { causes = ["gear_loss"], sensitivity = 0.3, specificity = 0.6 },
    { causes = ["gear_loss"], sensitivity = 0.9, specificity = 0.9 },
]
[[calibration]]
id = "standard"
text = "Against a standard"
hours = 1
remaining = 1.0
channels = ["torqe"]
[[run]]
id = "probe"
text = "Add a probe"
hours = 2
speeds = [88.0]
probe = { output = "p55", level = 0.01, scatter = 0.001 }
removes = [{ cause = "dirt", share = 0.9 }]
"""


def mistakes(folder: Path, text: str) -> list[tuple[int | None, str]]:
    path = folder / "checks.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(CheckTableError) as caught:
        read_check_table(path, CAUSES, CHANNELS)
    assert all(p.mend for p in caught.value.problems)
    return [(p.line, p.what) for p in caught.value.problems]


def test_every_mistake_of_a_table_of_checks_is_told_with_its_line(tmp_path: Path) -> None:
    told = mistakes(tmp_path, CHECKS)
    wanted = [
        (3, "hourly_rate"),
        (8, "cause 'compressor_foulin'"),
        (10, "id 'look' stands twice"),
        (14, "tells no more than a guess"),
        (15, "two questions of 'look'"),
        (21, "remaining"),
        (22, "channel 'torqe'"),
        (23, "a probe is added in a repeat"),
        (27, "88 is no relative corrected speed"),
        (28, "'p55' is no output"),
        (29, "cause 'dirt'"),
    ]
    assert len(told) == len(wanted)
    for (line, what), (wanted_line, words) in zip(sorted(told, key=lambda t: t[0] or 0), wanted, strict=True):
        assert line == wanted_line, (line, what)
        assert words in what or words in ("hourly_rate", "remaining")


def test_the_tables_that_come_with_the_program_have_no_mistake() -> None:
    checks = read_check_table(shipped_check_table(), CAUSES, CHANNELS)
    costs = read_reopening_table(shipped_reopening_table(), CAUSES)
    assert checks.currency == costs.currency
    for path in (shipped_check_table(), shipped_reopening_table()):
        head = path.read_text(encoding="utf-8").splitlines()[:3]
        assert any("DEMONSTRATION DATA, NOT APPROVED" in line for line in head)
    assert all(row.basis for row in (*checks.inspection, *checks.calibration, *checks.run, *costs.reopening))


def test_every_mistake_of_a_table_of_costs_is_told_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "costs.toml"
    path.write_text(
        'format = 1\ncurrency = "EUR"\n'
        '[[reopening]]\nid = "a"\ntext = "A"\ncauses = ["gear_loss", "compresor_fouling"]\nhours = -1\n'
        '[[reopening]]\nid = "a"\ntext = "B"\ncauses = ["gear_loss"]\nhuors = 2\n',
        encoding="utf-8",
    )
    with pytest.raises(CostTableError) as caught:
        read_reopening_table(path, CAUSES)
    lines = [p.line for p in caught.value.problems]
    told = " ".join(f"{p.what} {p.mend}" for p in caught.value.problems)
    assert lines == [6, 7, 9, 11, 12]
    assert "Did you mean 'compressor_fouling'?" in told
    assert "stands in row 'a' already" in told
    assert "Did you mean 'hours'?" in told


def test_the_tables_that_the_how_to_page_shows_can_be_read(repository: Path, tmp_path: Path) -> None:
    page = (repository / "docs" / "how-to" / "next-check.md").read_text(encoding="utf-8")
    checks, costs = re.findall(r"```toml\n(.*?)```", page, flags=re.S)
    (tmp_path / "checks.toml").write_text(checks, encoding="utf-8")
    (tmp_path / "costs.toml").write_text(costs, encoding="utf-8")
    assert len(read_check_table(tmp_path / "checks.toml", CAUSES, CHANNELS).run) == 3
    assert read_reopening_table(tmp_path / "costs.toml", CAUSES).reopening[0].id == "hot_section"
