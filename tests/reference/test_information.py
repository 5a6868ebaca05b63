"""Expected information of checks against closed forms and SciPy's quadrature.

Sources: Shannon 1948, Bell System Technical Journal 27, 379 (entropy; capacity of a binary channel); Cover
and Thomas, Elements of Information Theory, 2nd ed. 2006, sections 7.1.4, 7.1.5 (binary symmetric and erasure
channel) and problem 7.8 (Z channel: capacity 0.322 bit when a one is lost half of the time, at 2/5 of ones);
entropies by `scipy.stats.entropy`; normal mixtures by `scipy.integrate.quad` and
`scipy.stats.multivariate_normal`.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import entropy as scipy_entropy
from scipy.stats import multivariate_normal, norm

from spoolwright.core.diagnosis.information import entropy, grouped, inspected, measured, paired_noise

EACH = np.arange(2)


def bits(*p: float) -> float:
    return float(scipy_entropy(p, base=2))


@pytest.mark.parametrize("p", [(1.0, 0.0), (0.5, 0.5), (0.7, 0.2, 0.1), (0.25,) * 4])
def test_entropy_is_that_of_scipy(p: tuple[float, ...]) -> None:
    assert float(entropy(np.array(p))) == pytest.approx(bits(*p), abs=1e-14)


@pytest.mark.parametrize("wrong", [0.0, 0.05, 0.11, 0.25, 0.5])
def test_a_binary_symmetric_channel_gives_one_less_its_noise(wrong: float) -> None:
    found = inspected(np.array([0.5, 0.5]), EACH, np.array([[1.0 - wrong, wrong]]))
    assert found.information == pytest.approx(1.0 - bits(wrong, 1.0 - wrong), abs=1e-14)
    assert found.error == 0.0


def test_a_channel_that_loses_half_of_the_ones_gives_its_capacity() -> None:
    found = inspected(np.array([0.6, 0.4]), EACH, np.array([[0.0, 0.5]]))
    assert found.information == pytest.approx(math.log2(1.25), abs=1e-14)


def test_an_erasure_gives_what_is_not_erased() -> None:
    """Two questions that answer (no, yes), (yes, no) or, erased, (no, no): two yes/no looks at one erasure
    channel."""
    erased = 0.3
    # first question: the cause is a and not erased; second: it is b and not erased
    found = inspected(np.array([0.5, 0.5]), EACH, np.array([[1.0 - erased, 0.0], [0.0, 1.0 - erased]]))
    assert found.information == pytest.approx(1.0 - erased, abs=1e-14)


def test_questions_together_are_the_joint_table() -> None:
    prior, yes = np.array([0.5, 0.3, 0.2]), np.array([[0.9, 0.2, 0.4], [0.1, 0.7, 0.6]])
    joint = np.array(
        [
            prior * (yes[0] if a else 1 - yes[0]) * (yes[1] if b else 1 - yes[1])
            for a in (0, 1)
            for b in (0, 1)
        ]
    )
    exact = bits(*prior) + bits(*joint.sum(axis=1)) - bits(*joint.ravel())
    assert inspected(prior, np.arange(3), yes).information == pytest.approx(exact, abs=1e-14)


def two_normals(distance: float, share: float) -> float:
    """Mutual information of a choice of two normals of unit variance and the number drawn [bit]."""

    def part(y: float) -> float:
        a, b = share * norm.pdf(y), (1.0 - share) * norm.pdf(y, distance)
        return -(a + b) * math.log2(a + b) if a + b > 0.0 else 0.0

    mixture = quad(part, -9.0, distance + 9.0, points=[0.0, distance], limit=200)[0]
    return mixture - 0.5 * math.log2(2.0 * math.pi * math.e)


@pytest.mark.parametrize("distance", [0.3, 1.0, 2.0, 4.0])
@pytest.mark.parametrize("share", [0.5, 0.2])
@pytest.mark.parametrize("dimensions", [1, 7])
def test_two_normals_give_what_quadrature_gives(distance: float, share: float, dimensions: int) -> None:
    along = np.random.default_rng(3).standard_normal(dimensions)
    means = np.stack([np.zeros(dimensions), distance * along / np.linalg.norm(along)])
    found = measured(np.array([share, 1.0 - share]), EACH, means, paired_noise(60_000, dimensions, 2))
    exact = two_normals(distance, share)
    assert found.information == pytest.approx(exact, abs=max(4.0 * found.error, 1e-5))
    assert found.error < 0.004


def test_few_draws_are_as_near_as_their_error_says() -> None:
    exact, errors = two_normals(1.5, 0.5), []
    for seed in range(40):
        means = np.array([[0.0], [1.5]])
        found = measured(np.array([0.5, 0.5]), EACH, means, paired_noise(512, 1, seed))
        errors.append((found.information - exact) / found.error)
    assert np.sqrt(np.mean(np.square(errors))) < 1.5


def test_groups_of_several_explanations_against_plain_drawing() -> None:
    """Five explanations in two groups, in two dimensions: 200,000 plain draws and SciPy's densities."""
    random = np.random.default_rng(8)
    weights, groups = np.array([0.1, 0.3, 0.2, 0.25, 0.15]), np.array([0, 1, 0, 1, 1])
    means = random.standard_normal((5, 2)) * 1.5
    true = random.choice(5, size=200_000, p=weights)
    y = means[true] + random.standard_normal((len(true), 2))
    density = np.array([multivariate_normal.pdf(y, m) for m in means]).T * weights
    after = np.array([density[:, groups == g].sum(axis=1) for g in (0, 1)]) / density.sum(axis=1)
    left = scipy_entropy(after, base=2, axis=0)
    exact, error = bits(0.3, 0.7) - left.mean(), left.std() / math.sqrt(len(left))
    found = measured(weights, groups, means, paired_noise(20_000, 2, 1))
    assert found.information == pytest.approx(exact, abs=4.0 * math.hypot(error, found.error))


def test_what_is_told_apart_is_the_fall_of_confusion() -> None:
    """Right nine times in ten: the chance to confuse the two falls from 2 x 0.25 to 2 x 0.09."""
    found = inspected(np.array([0.5, 0.5]), EACH, np.array([[0.9, 0.1]]))
    assert found.apart == pytest.approx(np.array([[0.0, 0.16], [0.16, 0.0]]), abs=1e-14)


def test_weights_add_up_by_group() -> None:
    assert grouped(np.array([0.1, 0.2, 0.3, 0.4]), np.array([1, 0, 1, 2])).tolist() == pytest.approx(
        [0.2, 0.4, 0.4]
    )
