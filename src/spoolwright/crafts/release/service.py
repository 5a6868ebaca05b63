"""Use cases of a release: look everything over, print the pack, sign."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from spoolwright.crafts.release.gather import evidence_of
from spoolwright.crafts.release.model import Hole, PackMade, ReleaseSigned
from spoolwright.crafts.release.pack import ChainHead
from spoolwright.crafts.release.rules import holes
from spoolwright.crafts.visit.desk import Desk, signed
from spoolwright.crafts.visit.entry import Attachment, Body, Entry, Meaning, New, Records
from spoolwright.crafts.visit.folder import Folder, OpenItem
from spoolwright.crafts.visit.model import ShopKnown, VisitOpened
from spoolwright.crafts.visit.people import AuthorisationGiven, PersonKnown, Role
from spoolwright.errors import InputError


@dataclass(frozen=True)
class Review:
    """Everything that stands between an engine and its release."""

    visit: VisitOpened
    shop: ShopKnown | None
    open: tuple[OpenItem, ...]
    holes: tuple[Hole, ...]

    @property
    def complete(self) -> bool:
        """True when nothing blocks the release."""
        return self.shop is not None and not self.blocking and not self.holes

    @property
    def blocking(self) -> tuple[OpenItem, ...]:
        """The open items without which no release is signed."""
        return tuple(o for o in self.open if o.blocks_release)


def review_release(folder: Folder, records: Records, open_items: Sequence[OpenItem]) -> Review:
    """The open items of all crafts and every disagreement of the records."""
    visit = folder.of(VisitOpened)[-1].body
    shops = records.current(ShopKnown, under="shop")
    found = holes(
        evidence_of(folder, records, visit),
        word=visit.word,
        in_force={d.id: d.revision for d in folder.kind.type_file.document},
        people=[e.body for e in records.current(PersonKnown, under="person")],
        authorisations=[e.body for e in records.current(AuthorisationGiven, under="person")],
        visit_link=f"/visit/{folder.visit}/release",
    )
    if not shops:
        found.append(Hole("The shop's own name and approval are not recorded.", "/shop", Role.LEAD))
    if not visit.word:
        told = "No word is set that the release is to carry (overhauled, repaired, inspected ...)."
        found.append(Hole(told, f"/visit/{folder.visit}/release#word", Role.LEAD))
    return Review(visit, shops[0].body if shops else None, tuple(open_items), tuple(found))


def pack_subject(visit: str) -> str:
    """Where prints of the pack are recorded."""
    return f"visit/{visit}/release/pack"


def release_subject(visit: str) -> str:
    """Where the release is recorded."""
    return f"visit/{visit}/release"


def record_pack(desk: Desk, review: Review, pack: Attachment, head: ChainHead) -> Entry[Body]:
    """Record a print of the pack: each print is a revision, all are kept."""
    subject = pack_subject(review.visit.number)
    made = PackMade(
        pack=pack,
        head_seq=head.seq,
        head_digest=head.digest,
        open_items=len(review.open),
        holes=len(review.holes),
    )
    before = len(desk.records.history(subject))
    reason = "printed anew" if before else ""
    return desk.record(New(subject, made, review.visit.number, before, reason))[0]


def set_word(desk: Desk, folder: Folder, word: str, after: int) -> Entry[Body]:
    """Set the word that the release is meant to carry; the lead decides it.

    Raises
    ------
    NotEntitledError
        The person is not the lead.
    """
    desk.entitled(Role.LEAD)
    old = folder.of(VisitOpened)[-1]
    body = VisitOpened.model_validate(old.body.model_dump() | {"word": word})
    told = f"release word: {word or 'none'}"
    return desk.record(New(old.subject, body, folder.visit, after, told))[0]


def release_shown(review: Review, pack: Entry[PackMade], tracking: str, remarks: str) -> str:
    """Exactly what the certifying person signs."""
    v = review.visit
    told = f" Remarks: {remarks}" if remarks else ""
    return (
        f"Engine {v.engine_serial}, work order {v.number}: {v.word}. The work recorded in this visit is "
        f"complete and I release it under certificate {tracking}, on the pack with hash "
        f"{pack.body.pack.sha256[:16]}, printed at record {pack.body.head_seq}.{told}"
    )


def sign_release(
    desk: Desk, folder: Folder, review: Review, made: ReleaseSigned, shown: str, after: int = 0
) -> Entry[Body]:
    """Record the release of an engine, signed by authorised certifying staff.

    Raises
    ------
    InputError
        Something is open, the records disagree, or the pack is not the newest or older than a record.
    NotEntitledError
        The person is not certifying staff, or its authorisation has run out.
    """
    if not review.complete:
        count = len(review.blocking) + len(review.holes)
        raise InputError(
            f"{count} thing(s) stand between this engine and its release.", mend="Close each in its room."
        )
    pack = newest_pack(folder)
    if pack is None or pack.body.pack.sha256 != made.pack_sha256:
        raise InputError("the pack that you looked at is not the newest.", mend="Open the newest print.")
    if later := [e for e in folder.entries if e.seq > pack.seq and e.subject != pack.subject]:
        raise InputError(
            f"{len(later)} record(s) were made after the pack was printed.", mend="Print it again, then sign."
        )
    new = New(release_subject(folder.visit), made, folder.visit, after, "released again" if after else "")
    return desk.record(signed(new, desk, Meaning.RELEASED, shown, Role.CERTIFYING))[0]


def newest_pack(folder: Folder) -> Entry[PackMade] | None:
    """The newest print of the pack."""
    packs = folder.of(PackMade)
    return packs[-1] if packs else None
