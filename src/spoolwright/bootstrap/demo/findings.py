"""Findings of the demonstration: a compressor stage that met stones."""

from __future__ import annotations

from spoolwright.bootstrap.demo.story import Story
from spoolwright.crafts.inspection.deciding import give_views
from spoolwright.crafts.inspection.lengths import Size
from spoolwright.crafts.inspection.model import Decision, FindingRecorded
from spoolwright.crafts.inspection.service import record_findings, stage_of, with_known_serial
from spoolwright.crafts.typefile.shop.inspection import Damage

SEEN = (
    (2, "le_mid", Damage.NICK, "0.08", "0.6", "18"),
    (5, "le_tip", Damage.NICK, "0.35", "1.1", "30"),
    (6, "le_tip", Damage.NICK, "0.42", "1.3", "31"),
    (11, "le_tip", Damage.DENT, "0.10", "0.9", "33"),
    (17, "te_tip", Damage.NICK, "0.28", "0.8", "29"),
    (17, "le_mid", Damage.SCRATCH, "0.06", "1.2", "16"),
    (23, "le_tip", Damage.GOUGE, "1.30", "3.0", "32"),
    (30, "le_root", Damage.NICK, "0.20", "0.7", "8"),
    (34, "le_tip", Damage.NICK, "0.51", "1.4", "34"),
)
"""Blade, zone, damage; depth, length and place along the span [mm]."""


VIEWS: tuple[Decision, ...] = (
    "serviceable", "blend", "blend", "serviceable", "blend", "serviceable", "scrap", "blend", "blend",
)  # fmt: skip


def finds_stone_damage(story: Story) -> None:
    """Nine findings on the first compressor stage, with two people's own looks; nothing is decided yet."""

    def size(value: str) -> Size:
        return Size(value=value, unit="mm", uncertainty="0.02")

    bodies = [
        FindingRecorded(
            part="axial_rotor_1", blade=blade, zone=zone, damage=damage, depth=size(depth),
            length=size(length),
            position=size(place), fillet_distance=size(str(float(place) - 2.0)), gauge="PM-001",
        )
        for blade, zone, damage, depth, length, place in SEEN
    ]  # fmt: skip
    folder = story.folder
    known = [with_known_serial(folder, b) for b in bodies]
    record_findings(story.desk("ines", 25), folder, known)
    for login in ("ines", "otto"):  # each looks before the tool's proposals are shown
        desk = story.desk(login, 15)
        stage = stage_of(desk, story.folder, "axial_rotor_1", known[0].serial)
        give_views(desk, stage, dict(enumerate(VIEWS, 1)))
