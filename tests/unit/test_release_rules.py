"""The cross-check of a visit's records. Each case plants one fault into records that agree."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from spoolwright.crafts.release.model import (
    Evidence,
    Hole,
    OrderSeen,
    OverhaulFacts,
    PartSeen,
    RevisionSeen,
    SerialSeen,
    SignatureSeen,
    TotalSeen,
)
from spoolwright.crafts.release.rules import holes
from spoolwright.crafts.visit.people import AuthorisationGiven, PersonKnown, Role

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
LATER = datetime(2026, 3, 3, 9, tzinfo=UTC)
PEOPLE = [PersonKnown(login="b.ash", name="B. Ash", roles=(Role.BUILDER,))]
AUTHORISATIONS = [
    AuthorisationGiven(login="b.ash", number="BU-7", role=Role.BUILDER, expires_on=date(2026, 6, 30))
]
AGREEING = Evidence(
    serials=(
        SerialSeen("Compressor, impeller", "C-110", "K-77", "receiving", "/a"),
        SerialSeen("Compressor, impeller", "C-110", "K-77", "the life ledger", "/b"),
    ),
    totals=(
        TotalSeen("engine FG-1", "hours since new", Decimal("4210.30"), "receiving", "/a"),
        TotalSeen("engine FG-1", "hours since new", Decimal("4210.3"), "the life ledger", "/b"),
    ),
    revisions=(RevisionSeen("OM-940", "9", "card CB-1", "/c"),),
    orders=(OrderSeen("the last build step", NOON, "the accepted run", LATER, "/d"),),
    signatures=(SignatureSeen("card CB-1, step 4", "b.ash", "B. Ash", "BU-7", NOON, "/c"),),
    parts=(PartSeen("S-200", "", ("S-200", "S-201"), "RC-19", "/p"),),
)


def found(evidence: Evidence, word: str = "repaired") -> list[Hole]:
    return holes(
        evidence,
        word=word,
        in_force={"OM-940": "9"},
        people=PEOPLE,
        authorisations=AUTHORISATIONS,
        visit_link="/v",
    )


def test_records_that_agree_have_no_hole() -> None:
    assert found(AGREEING) == []
    assert found(AGREEING, "overhauled") == []


PLANTED = {
    "another serial": (
        {
            "serials": (
                *AGREEING.serials,
                SerialSeen("Compressor, impeller", "C-110", "K-78", "card CB-1", "/c"),
            )
        },
        "K-78",
    ),
    "a serial twice": (
        {"serials": (*AGREEING.serials, SerialSeen("Store", "C-110", "K-77", "the kit sheet", "/c"))},
        "two places",
    ),
    "another part number of that serial": (
        {
            "serials": (
                *AGREEING.serials,
                SerialSeen("Compressor, impeller", "C-111", "K-77", "card CB-1", "/c"),
            )
        },
        "different parts",
    ),
    "a total off by a tenth": (
        {
            "totals": (
                *AGREEING.totals,
                TotalSeen("engine FG-1", "hours since new", Decimal("4210.4"), "the logbook", "/l"),
            )
        },
        "totals differ",
    ),
    "an old revision": ({"revisions": (RevisionSeen("OM-940", "8", "card CB-1", "/c"),)}, "revision 9"),
    "an unknown document": ({"revisions": (RevisionSeen("XX-1", "1", "card CB-1", "/c"),)}, "does not name"),
    "the run before the last build step": (
        {"orders": (OrderSeen("the last build step", LATER, "the accepted run", NOON, "/d"),)},
        "must come before",
    ),
    "a stranger's signature": (
        {"signatures": (SignatureSeen("step 4", "x", "X. Y", "BU-7", NOON, "/c"),)},
        "does not know",
    ),
    "another's authorisation": (
        {"signatures": (SignatureSeen("step 4", "b.ash", "B. Ash", "BU-8", NOON, "/c"),)},
        "unknown authorisation",
    ),
    "an authorisation that had ended": (
        {
            "signatures": (
                SignatureSeen("step 4", "b.ash", "B. Ash", "BU-7", datetime(2026, 7, 1, tzinfo=UTC), "/c"),
            )
        },
        "ended on 2026-06-30",
    ),
    "a part number that is not allowed": (
        {"parts": (replace(AGREEING.parts[0], part_number="S-299"),)},
        "documents allow S-200 or S-201",
    ),
    "a part without a certificate": (
        {"parts": (replace(AGREEING.parts[0], certificate=""),)},
        "without an accepted release certificate",
    ),
}


@pytest.mark.parametrize("name", PLANTED)
def test_one_planted_fault_gives_one_hole_that_names_it(name: str) -> None:
    change, words = PLANTED[name]
    (hole,) = found(replace(AGREEING, **change))
    assert words in hole.text
    assert hole.link


def test_the_last_day_of_an_authorisation_still_counts() -> None:
    last = SignatureSeen("step 4", "b.ash", "B. Ash", "BU-7", datetime(2026, 6, 30, 23, tzinfo=UTC), "/c")
    assert found(replace(AGREEING, signatures=(last,))) == []


def test_a_signature_after_leaving_is_found() -> None:
    left = [PEOPLE[0].model_copy(update={"left_on": date(2026, 3, 1)})]
    (hole,) = holes(
        AGREEING, word="repaired", in_force={"OM-940": "9"}, people=left, authorisations=AUTHORISATIONS,
        visit_link="/v",
    )  # fmt: skip
    assert "after leaving" in hole.text


@pytest.mark.parametrize(
    "step", ["disassembled", "cleaned", "inspected", "repaired", "reassembled", "tested"]
)
def test_the_word_overhauled_needs_every_step_of_the_rule(step: str) -> None:
    """14 CFR 43.2(a): (1) disassembled, cleaned, inspected, repaired as needed, reassembled; (2) tested."""
    missing = replace(AGREEING, overhaul=replace(OverhaulFacts(), **{step: ("card TD-3 is not signed.",)}))
    (hole,) = found(missing, "overhauled")
    assert "'overhauled' is blocked" in hole.text
    assert "43.2(a)(2)" in hole.text if step == "tested" else "43.2(a)(1)" in hole.text
    assert found(missing, "inspected") == []


def test_rebuilt_is_never_passed() -> None:
    """14 CFR 43.2(b) asks for new-part limits, which the check cannot show."""
    (hole,) = found(AGREEING, "rebuilt")
    assert "43.2(b)" in hole.text
