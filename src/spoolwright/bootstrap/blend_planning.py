"""Blends of a table of findings, planned stage by stage."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from spoolwright.bootstrap.inspecting import shop_part_of

if TYPE_CHECKING:
    from spoolwright.crafts.inspection.blend import BlendEffect, Taken
    from spoolwright.crafts.inspection.blend_plan import StageBlends
    from spoolwright.crafts.inspection.model import FindingRecorded, Judgement
    from spoolwright.crafts.inspection.stage import Stage
    from spoolwright.crafts.typefile.shop.inspection import DamageLimit

TOLD = (
    "plan", "why", "limit", "paragraph", "blend_depth_mm", "blend_total_mm", "blend_length_mm",
    "blend_radius_mm", "stress_nick_low", "stress_nick_high", "stress_blend", "fatigue_nick_low",
    "fatigue_nick_high", "fatigue_blend_low", "fatigue_blend_high", "mass_mg", "unbalance_g_mm", "area_mm2",
    "modes",
)  # fmt: skip


@dataclass(frozen=True)
class PlannedFinding:
    """A finding, what the plan does with its blade and why; its blend where there is one."""

    number: int
    finding: FindingRecorded
    judgement: Judgement
    plan: str
    why: str
    line: DamageLimit | None = None
    taken: Taken | None = None
    effect: BlendEffect | None = None


@dataclass(frozen=True)
class PlannedStage:
    """A stage of the table with its plan; none where its airfoil or allowance is not transcribed."""

    stage: Stage
    serial: str
    found: StageBlends | None
    findings: tuple[PlannedFinding, ...]


def plan_table(findings: Path, type_path: Path) -> list[PlannedStage]:
    """Every stage of a table of findings with its plan.

    Raises
    ------
    InputError
        A file cannot be read.
    FindingsError
        The table holds mistakes.
    """
    from spoolwright.crafts.inspection.stage import Stage
    from spoolwright.sources.findings_csv import read_findings

    shop = shop_part_of(type_path)
    read = read_findings(findings, shop.inspected_part)
    parts = {p.id: p for p in shop.inspected_part}
    stages = []
    for part, serial in dict.fromkeys((f.part, f.serial) for f in read):
        at = [i for i, f in enumerate(read) if (f.part, f.serial) == (part, serial)]
        limits = tuple(x for x in shop.damage_limit if x.part == part)
        stages.append(planned_stage(Stage(parts[part], limits, tuple(read[i] for i in at)), serial, at))
    return stages


def planned_stage(stage: Stage, serial: str, at: list[int]) -> PlannedStage:
    """A stage with its plan; `at` is the place of its findings in the table."""
    from spoolwright.crafts.inspection.blend_plan import plan_blends
    from spoolwright.crafts.inspection.rules import judge_stage

    found = plan_blends(stage)
    rows = []
    for i, finding, judged in zip(at, stage.findings, judge_stage(stage), strict=True):
        assert judged is not None
        rows.append(_planned(i + 1, finding, judged, stage, found))
    return PlannedStage(stage, serial, found, tuple(rows))


def _planned(
    number: int, finding: FindingRecorded, judged: Judgement, stage: Stage, found: StageBlends | None
) -> PlannedFinding:
    from spoolwright.crafts.inspection.blend import blend_effect, taken_by

    lines = {x.id: x for x in stage.limits}
    if found is None or finding.blade is None:
        line = lines.get(judged.limit) if judged.proposed.value.startswith("blend") else None
        taken = taken_by(finding, line, stage) if line else None
        return PlannedFinding(number, finding, judged, judged.proposed.value, judged.words, line, taken)
    gone, waits = dict(found.replaced_for), dict(found.waits)
    mine = next((b for b in found.blended if b.finding is finding), None)
    if finding.blade in gone:
        word = "the part goes" if found.is_whole else "replace"
        return PlannedFinding(number, finding, judged, word, gone[finding.blade])
    if mine is not None:
        line = lines[mine.judgement.limit]
        effect = blend_effect(finding, line, stage)
        return PlannedFinding(
            number, finding, mine.judgement, "blend", mine.judgement.words, line, mine.taken, effect
        )
    if finding.blade in waits and not judged.proposed.value.startswith("meets"):
        return PlannedFinding(number, finding, judged, "open", waits[finding.blade])
    return PlannedFinding(number, finding, judged, "stays", judged.words)


def planned_csv(stages: Iterable[PlannedStage]) -> str:
    """A row for each finding, in the table's order: what was entered, then its place in the plan."""
    from spoolwright.crafts.inspection.entering import COLUMNS, words_of

    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, (*COLUMNS, *TOLD), lineterminator="\r\n")
    writer.writeheader()
    rows = sorted((f for s in stages for f in s.findings), key=lambda f: f.number)
    for row in rows:
        writer.writerow(words_of(row.finding) | _told(row))
    return out.getvalue()


def _told(row: PlannedFinding) -> dict[str, str]:
    from spoolwright.crafts.inspection.blend_words import mode_words

    j = row.judgement
    told = {"plan": row.plan, "why": row.why, "limit": j.limit, "paragraph": j.paragraph}
    if row.taken is not None:
        s, t = row.taken.size, row.taken
        sizes = (float(x) for x in (s.depth, s.total, s.length, s.radius))
        figures = (*sizes, 1e3 * t.mass_g, t.unbalance_g_mm, t.area_mm2)
        names = (*TOLD[4:8], "mass_mg", "unbalance_g_mm", "area_mm2")
        told |= {n: f"{x:.4f}" for n, x in zip(names, figures, strict=True)}
    if row.effect is not None:
        e = row.effect
        told |= {"stress_nick_low": f"{e.nick.factor[0]:.4f}", "stress_nick_high": f"{e.nick.factor[1]:.4f}"}
        told["stress_blend"] = f"{e.blend.factor[0]:.4f}"
        for name, felt in (("nick", e.nick.felt), ("blend", e.blend.felt)):
            if felt is not None:
                told |= {f"fatigue_{name}_low": f"{felt.low:.4f}", f"fatigue_{name}_high": f"{felt.high:.4f}"}
        told["modes"] = e.modes_referred or "; ".join(mode_words(x) for x in e.lines)
    return told
