"""What expected information must obey whatever the numbers (Cover and Thomas 2006, 2.8: data processing)."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from spoolwright.core.diagnosis.information import entropy, grouped, inspected, measured, paired_noise
from spoolwright.core.numerics import FloatArray

N = 6
NEAR = 1e-12
NOISE = paired_noise(256, 4, 0)

weights = arrays(float, N, elements=st.floats(0.01, 1.0)).map(lambda w: w / w.sum())
groups = arrays(int, N, elements=st.integers(0, 3)).map(lambda g: np.unique(g, return_inverse=True)[1])
answers = arrays(float, (3, N), elements=st.floats(0.0, 1.0))
means = arrays(float, (N, 4), elements=st.floats(-3.0, 3.0))


@given(weights, groups, answers)
def test_information_lies_between_nothing_and_the_entropy(
    w: FloatArray, g: FloatArray, yes: FloatArray
) -> None:
    found = inspected(w, g, yes)
    assert 0.0 <= found.information <= float(entropy(grouped(w, g))) + NEAR
    assert np.allclose(found.apart, found.apart.T, atol=NEAR)
    assert found.apart.sum() >= -NEAR


@given(weights, groups, answers)
def test_a_further_question_never_tells_less(w: FloatArray, g: FloatArray, yes: FloatArray) -> None:
    told = [inspected(w, g, yes[:n]).information for n in (1, 2, 3)]
    assert told == sorted(told) or np.all(np.diff(told) >= -NEAR)


@given(weights, groups, answers, st.floats(0.0, 0.5))
def test_an_answer_written_down_wrong_now_and_then_never_tells_more(
    w: FloatArray, g: FloatArray, yes: FloatArray, slip: float
) -> None:
    spoilt = yes * (1.0 - slip) + (1.0 - yes) * slip
    assert inspected(w, g, spoilt).information <= inspected(w, g, yes).information + NEAR


@given(weights, groups, answers)
def test_telling_less_apart_never_needs_more(w: FloatArray, g: FloatArray, yes: FloatArray) -> None:
    coarse = np.minimum(g, 1)
    assert inspected(w, coarse, yes).information <= inspected(w, g, yes).information + NEAR


@given(weights, groups, st.floats(0.0, 1.0))
def test_an_answer_that_is_always_the_same_tells_nothing(w: FloatArray, g: FloatArray, yes: float) -> None:
    assert inspected(w, g, np.full((1, N), yes)).information <= NEAR


@given(weights, groups, means)
def test_a_measurement_tells_no_more_than_there_is_to_know(
    w: FloatArray, g: FloatArray, m: FloatArray
) -> None:
    found = measured(w, g, m, NOISE)
    assert 0.0 <= found.information <= float(entropy(grouped(w, g))) + NEAR


@given(weights, groups, means, arrays(float, 4, elements=st.floats(-5.0, 5.0)))
def test_what_moves_all_explanations_alike_tells_nothing(
    w: FloatArray, g: FloatArray, m: FloatArray, shift: FloatArray
) -> None:
    same = np.repeat(m[:1], N, axis=0)
    assert measured(w, g, same, NOISE).information <= 1e-9
    moved, kept = measured(w, g, m + shift, NOISE), measured(w, g, m, NOISE)
    assert abs(moved.information - kept.information) <= 1e-9


@given(weights, groups, means)
def test_a_sharper_or_a_fuller_measurement_tells_more(w: FloatArray, g: FloatArray, m: FloatArray) -> None:
    """Within the error of drawing: five standard errors of the difference, taken as of independent draws."""
    whole = measured(w, g, m, NOISE)
    for less in (measured(w, g, 0.5 * m, NOISE), measured(w, g, m[:, :2], NOISE)):
        assert less.information <= whole.information + 5.0 * np.hypot(less.error, whole.error) + NEAR


@given(st.integers(1, 50), st.integers(1, 5))
def test_draws_come_in_opposite_pairs_and_do_not_change_with_width(half: int, width: int) -> None:
    noise = paired_noise(2 * half, width, 4)
    assert np.array_equal(noise[::2], -noise[1::2])
    assert np.array_equal(noise, paired_noise(2 * half, width + 3, 4)[:, :width])
