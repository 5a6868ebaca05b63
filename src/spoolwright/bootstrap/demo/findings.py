"""Findings of the demonstration: a compressor stage that met stones."""

from __future__ import annotations

from spoolwright.bootstrap.demo.story import Story
from spoolwright.crafts.inspection.lengths import Size
from spoolwright.crafts.inspection.model import FindingRecorded
from spoolwright.crafts.inspection.service import record_findings, with_known_serial
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


def finds_stone_damage(story: Story) -> None:
    """The inspector records nine findings on the first compressor stage; nothing is decided yet."""

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
    record_findings(story.desk("ines", 25), folder, [with_known_serial(folder, b) for b in bodies])
