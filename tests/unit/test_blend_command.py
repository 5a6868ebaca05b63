"""`spoolwright blend plan`: what it prints and writes of a table of findings."""

from __future__ import annotations

import csv
from pathlib import Path

from typer.testing import CliRunner

from spoolwright.cli.main import app
from spoolwright.core.blade.removed import segment_area

TABLE = """part,blade,zone,damage,unit,depth,length,position
power_turbine_blade_1,5,le_tip,nick,mm,0.3,1,60
power_turbine_blade_1,20,le_tip,nick,mm,0.3,1,
power_turbine_blade_1,30,le_tip,crack,mm,0.3,1,60
"""


def test_each_finding_with_its_blend_and_the_stage_together(tmp_path: Path) -> None:
    """The area is that of the exact segment of the sizes that stand in the same row."""
    table, out = tmp_path / "findings.csv", tmp_path / "plan.csv"
    table.write_text(TABLE)
    done = CliRunner().invoke(app, ["blend", "plan", str(table), "--out", str(out)])
    assert done.exit_code == 2, done.output
    assert "Blend blade 5; replace blade 30; open: blade 20." in done.output
    assert "Measure first: its place along the span." in done.output
    assert "Advisory" in done.output
    rows = list(csv.DictReader(out.read_text().splitlines()))
    assert [r["plan"] for r in rows] == ["blend", "open", "replace"]
    blend = rows[0]
    area = segment_area(float(blend["blend_length_mm"]), float(blend["blend_total_mm"]))
    assert abs(float(blend["area_mm2"]) - area) < 1e-3
    assert float(blend["stress_blend"]) < float(blend["stress_nick_low"])


def test_a_table_with_a_mistake_is_told_by_line(tmp_path: Path) -> None:
    table = tmp_path / "findings.csv"
    table.write_text(TABLE.replace("30,le_tip", "99,le_tip"))
    done = CliRunner().invoke(app, ["blend", "plan", str(table)])
    assert done.exit_code == 4
    assert "blade '99' is not there. Numbers go from 1 to 38." in " ".join(done.output.split())
