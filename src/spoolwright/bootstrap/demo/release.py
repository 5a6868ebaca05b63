"""The release of a demonstration engine."""

from __future__ import annotations

from spoolwright.bootstrap.demo.story import Story
from spoolwright.bootstrap.releasing import print_pack, reviewed
from spoolwright.crafts.release.compose import Asked
from spoolwright.crafts.release.model import ReleaseSigned
from spoolwright.crafts.release.service import newest_pack, release_shown, sign_release


def prints_pack(story: Story, tracking: str) -> None:
    """The pack is printed and kept."""
    print_pack(story.shop, story.desk("cora", 30), story.folder, Asked(tracking))


def signs_release(story: Story, tracking: str) -> None:
    """Certifying staff signs on the newest print."""
    review, pack = reviewed(story.shop, story.folder), newest_pack(story.folder)
    assert pack is not None
    made = ReleaseSigned(
        tracking_number=tracking, word=review.visit.word, remarks="", pack_sha256=pack.body.pack.sha256,
        completed_on=story.at.date(),
    )  # fmt: skip
    sign_release(story.desk("cora"), story.folder, review, made, release_shown(review, pack, tracking, ""))
