"""Drawings: marks are round, labels do not overlap, a trace reads back, an SVG parses (ElementTree)."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sample_assessment import HOSTILE, assessment, curve, strips

from spoolwright.crafts.testcell.model import Event, Strip
from spoolwright.reports.charts import PRINT_STYLE, chart_svg, charts
from spoolwright.reports.drawing import CHARACTER, Room, mark_texts, round_marks
from spoolwright.reports.traces import TICK, event_marks, print_svg, time_marks, trace

SVG = "{http://www.w3.org/2000/svg}"


@given(low=st.floats(-1e6, 1e6), span=st.floats(1e-2, 1e6), most=st.integers(2, 8))
def test_marks_are_few_round_and_inside(low: float, span: float, most: int) -> None:
    high = low + span
    marks = round_marks(low, high, most)
    assert len(marks) <= most
    slack = 1e-6 * span
    assert all(low - slack <= m <= high + slack for m in marks)
    for a, b in pairwise(marks):
        first = (b - a) / 10 ** math.floor(math.log10(b - a) + 1e-9)
        assert min(abs(first - k) for k in (1, 2, 5, 10)) < 1e-4


def test_marks_show_as_many_decimals_as_they_differ_by() -> None:
    assert mark_texts([0.28, 0.3, 0.32]) == ["0.28", "0.30", "0.32"]
    assert mark_texts([500.0, 1000.0]) == ["500", "1\u202f000"]


def test_labels_keep_out_of_each_other() -> None:
    room = Room((0.0, 0.0, 100.0, 40.0), 10.0)
    spots = [(10.0, 10.0, 0.0, 0.0), (10.0, 25.0, 0.0, 0.0)]
    first, second, third = (room.place("1.7", spots) for _ in range(3))
    assert first == (10.0, 10.0, 10.0 + 30 * CHARACTER, 20.0)
    assert second is not None and second[1] == 25.0
    assert third is None


def boxes(svg: str) -> list[tuple[float, float, float, float]]:
    """Boxes of point and limit labels, from a width that no character of the font exceeds by much."""
    found = []
    for t in ET.fromstring(svg).iter(f"{SVG}text"):
        if t.get("class") in ("small", "limit-word"):
            x, y = float(t.get("x", "")), float(t.get("y", ""))
            found.append((x, y - 7.0, x + 5.0 * len(t.text or ""), y))
    return found


def test_point_labels_do_not_overlap_and_the_limit_is_named_once() -> None:
    (chart,) = charts(assessment())
    svg = chart_svg(chart, style=PRINT_STYLE)
    placed = boxes(svg)
    assert placed
    for i, a in enumerate(placed):
        for b in placed[i + 1 :]:
            assert not (a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3])
    assert [t.text for t in ET.fromstring(svg).iter(f"{SVG}text")].count("limit") == 1


def test_axes_carry_units_and_the_unused_point_is_a_cross() -> None:
    (chart,) = charts(assessment())
    svg = chart_svg(chart)
    words = [t.text or "" for t in ET.fromstring(svg).iter(f"{SVG}text")]
    assert "corrected MGT [°C]" in words and "corrected power [kW]" in words
    assert svg.count('class="cross"') == 1


def test_before_is_hollow_and_after_is_filled() -> None:
    before, after = (curve().model_copy(update={"block": b, "id": f"c{b}"}) for b in (0, 1))
    (chart,) = charts(assessment().model_copy(update={"curves": (before, after)}))
    svg = chart_svg(chart)
    used = sum(p.used for p in curve().points)
    assert (svg.count('class="hollow"'), svg.count('class="dot"')) == (used, used)
    assert svg.count('class="band"') == 1


def test_a_pair_is_not_drawn_again_with_its_axes_exchanged() -> None:
    c = curve()
    turned = c.model_copy(update={"x_quantity": c.y_quantity, "y_quantity": c.x_quantity})
    assert len(charts(assessment().model_copy(update={"curves": (c, turned)}))) == 1


def read_back(path: str, step: float) -> list[tuple[float, float]]:
    """Times and values of a path in whole steps, by the rules of SVG 1.1, 8.3 (M absolute, l relative)."""
    out = []
    for mx, my, rest in re.findall(r"M(-?\d+) (-?\d+)l([-\d ]*)", path):
        x, y = int(mx), int(my)
        out.append((x * TICK, -y * step))
        deltas = [int(d) for d in re.findall(r"-?\d+", rest)]
        for dx, dy in zip(deltas[::2], deltas[1::2], strict=True):
            x, y = x + dx, y + dy
            out.append((x * TICK, -y * step))
    return out


@given(st.lists(st.tuples(st.integers(0, 40), st.floats(-1e5, 1e5) | st.none()), min_size=2, max_size=40))
def test_a_trace_reads_back_to_its_step(rows: list[tuple[int, float | None]]) -> None:
    times, at = [], 0.0
    for gap, _ in rows:
        at += gap * TICK
        times.append(at)
    strip = Strip(
        run="1", channel="x", name="x", unit="rpm", time_s=tuple(times), values=tuple(v for _, v in rows)
    )
    drawn = trace(strip, 0.0, at or 1.0)
    known = [(t, v) for t, v in zip(times, strip.values, strict=True) if v is not None]
    found = read_back(drawn.path, drawn.step)
    # A stretch of one row is drawn as a line of no length: its row stands twice.
    unique = [p for i, p in enumerate(found) if i == 0 or p != found[i - 1]]
    wanted = [p for i, p in enumerate(known) if i == 0 or p != known[i - 1]]
    for t, v in wanted:
        assert any(abs(t - a) < TICK and abs(v - b) <= 0.51 * drawn.step for a, b in unique)


def test_a_gap_breaks_the_line() -> None:
    drawn = trace(strips()[0], 0.0, 1200.0)
    assert drawn.path.count("M") == 2


def test_event_numbers_keep_apart() -> None:
    events = [Event(run="1", at_s=t, kind="hold", text="x") for t in (0.0, 1.0, 50.0, 100.0)]
    assert event_marks(events, 0.0, 100.0, 2.0) == [("1", 0.0), ("3", 50.0), ("4", 100.0)]
    assert [text for text, _ in time_marks(0.0, 3600.0)] == [f"0:{m:02d}:00" for m in range(0, 60, 10)] + [
        "1:00:00"
    ]


@pytest.mark.parametrize("many", [1, 12, 30])
def test_printed_strips_fit_a_page(many: int) -> None:
    one = strips()[0].model_copy(update={"name": HOSTILE})
    svg = print_svg([one] * many, assessment().events)
    root = ET.fromstring(svg)
    _, _, width, height = map(float, (root.get("viewBox") or "").split())
    assert height / width < (297 - 41 - 15) / (210 - 34)  # A4 less the margins and the heading
    assert svg.count('class="trace"') == 2 * many


def test_a_name_with_control_characters_still_gives_a_drawing() -> None:
    one = strips()[0].model_copy(update={"name": "Ng\x1b<&>"})
    words = "".join(ET.fromstring(print_svg([one], [])).itertext())
    assert "Ng?<&>" in words
