"""Inspection, whatever is entered: order does not matter, words read back, nothing is guessed at."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from shop.memory import demonstration_type
from spoolwright.crafts.inspection.entering import KEYS, SIZES, finding_from, quick_words, words_of
from spoolwright.crafts.inspection.model import FindingRecorded, Proposed
from spoolwright.crafts.inspection.rules import Stage, judge_stage
from spoolwright.crafts.typefile.shop.inspection import NUMBERED, InspectedPart
from spoolwright.errors import InputError
from spoolwright.sources.findings_csv import findings_csv, findings_from

SHOP = demonstration_type().shop


@st.composite
def findings_on(draw: st.DrawFn, part: InspectedPart) -> FindingRecorded:
    """A finding on a part; most of its lengths small, some not measured."""
    zone = draw(st.sampled_from(part.zone))
    words = {
        "part": part.id,
        "serial": draw(st.sampled_from(["", "S-1"])),
        "zone": draw(st.sampled_from([zone.id, zone.key or zone.id])),
        "damage": draw(st.sampled_from([d.value for d in KEYS])),
        "unit": draw(st.sampled_from(["mm", "in"])),
        "uncertainty": draw(st.sampled_from(["", "0.01"])),
        "remark": draw(st.sampled_from(["", 'a "b", c; d'])),
    }
    if part.count > 1 and (zone.side in NUMBERED or draw(st.booleans())):
        words["blade"] = str(draw(st.integers(1, part.count)))
    for name in SIZES:
        if name != "position" and draw(st.booleans()):
            words[name] = f"{draw(st.integers(0, 150)) / 100:.2f}"
    return finding_from(words, part)


STAGES = st.sampled_from(SHOP.inspected_part).flatmap(
    lambda part: st.tuples(st.just(part), st.lists(findings_on(part), min_size=1, max_size=8))
)


@settings(max_examples=60, deadline=None)
@given(STAGES, st.randoms(use_true_random=False))
def test_order_does_not_matter(stage: tuple[InspectedPart, list[FindingRecorded]], rng: object) -> None:
    part, findings = stage
    order = list(range(len(findings)))
    rng.shuffle(order)  # type: ignore[attr-defined]
    plain = judge_stage(Stage(part, SHOP.damage_limit, tuple(findings)))
    mixed = judge_stage(Stage(part, SHOP.damage_limit, tuple(findings[i] for i in order)))
    assert [plain[i] for i in order] == mixed


@settings(max_examples=60, deadline=None)
@given(STAGES)
def test_a_withdrawn_finding_counts_for_nothing(stage: tuple[InspectedPart, list[FindingRecorded]]) -> None:
    part, findings = stage
    gone = [f.model_copy(update={"withdrawn": True, "remark": "dirt"}) for f in findings]
    alone = judge_stage(Stage(part, SHOP.damage_limit, (findings[0],)))
    beside = judge_stage(Stage(part, SHOP.damage_limit, (findings[0], *gone)))
    assert beside == [alone[0], *[None] * len(gone)]


@settings(max_examples=60, deadline=None)
@given(STAGES)
def test_within_limits_says_that_every_check_holds(
    stage: tuple[InspectedPart, list[FindingRecorded]],
) -> None:
    part, findings = stage
    for judged in judge_stage(Stage(part, SHOP.damage_limit, tuple(findings))):
        assert judged is not None
        holds = [c.holds for c in judged.checks]
        within = judged.proposed in (Proposed.AS_IS, Proposed.BLEND)
        assert all(holds) if within else not holds or not all(holds)
        assert (judged.limit == "") == (judged.proposed is Proposed.REFER)


@settings(max_examples=60, deadline=None)
@given(STAGES)
def test_words_and_tables_read_back(stage: tuple[InspectedPart, list[FindingRecorded]]) -> None:
    part, findings = stage
    assert [finding_from(words_of(f), part) for f in findings] == findings
    assert findings_from(findings_csv(findings).encode(), "f.csv", SHOP.inspected_part) == findings


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=60), st.sampled_from(SHOP.inspected_part))
def test_any_line_is_a_finding_or_a_sentence(line: str, part: InspectedPart) -> None:
    try:
        finding = finding_from(quick_words(line, part) | {"unit": "mm"}, part)
    except InputError as error:
        assert error.mend
    else:
        assert finding.part == part.id
