"""Own figures: shares, lives, spares, from tables and from the shop's records."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from command_line import called
from spoolwright.core.reliability.shares import binomial_share
from spoolwright.crafts.scope.figures import Life, demand_of, lives_figures, reject_trend
from spoolwright.errors import InputError, LivesError, RangeError
from spoolwright.sources.lives_table import read_lives

NIST = (
    "".join(f"bearing,{h},failed\n" for h in (54, 187, 216, 240, 244, 335, 361, 373, 375, 386))
    + "bearing,500,suspended\n" * 10
)


@pytest.mark.parametrize(("found", "of"), [(0, 10), (1, 7), (5, 12), (9, 9), (37, 300)])
def test_shares_against_scipys_exact_interval(found: int, of: int) -> None:
    """Oracle: scipy.stats.binomtest(...).proportion_ci(method='exact')."""
    for coverage in (0.9, 0.95):
        told = stats.binomtest(found, of).proportion_ci(coverage, method="exact")
        mine = binomial_share(found, of, coverage)
        assert (mine.low, mine.high) == pytest.approx((told.low, told.high), abs=1e-12)
        assert mine.value == found / of


def test_a_share_of_nothing() -> None:
    assert (binomial_share(0, 0).low, binomial_share(0, 0).high) == (0.0, 1.0)
    with pytest.raises(RangeError, match="3 of 2"):
        binomial_share(3, 2)


def table(tmp_path: Path, rows: str, header: str = "part,hours,ended") -> Path:
    path = tmp_path / "lives.csv"
    path.write_text(f"{header}\n{rows}", encoding="utf-8")
    return path


def test_lives_from_a_table_give_the_handbooks_figures(tmp_path: Path) -> None:
    """NIST/SEMATECH e-Handbook 8.4.1.2: shape 1.7208, scale 606.5280."""
    (figure,) = lives_figures(read_lives(table(tmp_path, NIST)))
    assert figure.fit is not None and figure.curve is not None
    assert round(figure.fit.shape, 4) == 1.7208
    assert (figure.failed, figure.suspended) == (10, 10)
    mean = stats.weibull_min.mean(figure.fit.shape, scale=figure.fit.scale)
    assert figure.mean_life == pytest.approx(mean)


def test_stock_for_the_fleet(tmp_path: Path) -> None:
    """Poisson of the failures expected in a lead time: scipy.stats.poisson."""
    (figure,) = lives_figures(read_lives(table(tmp_path, NIST)))
    demand = demand_of(figure, 400.0, 45.0, 0.95)
    assert demand is not None and figure.mean_life is not None
    expected = 400.0 * 12.0 / 365.25 * 45.0 / figure.mean_life
    assert demand.in_lead_time == pytest.approx(expected)
    assert demand.stock == stats.poisson.ppf(0.95, expected)


def test_causes_apart_and_too_little_to_tell() -> None:
    rows = [Life("a", h, "failed", "wear") for h in (300.0, 500.0, 800.0)]
    rows += [Life("a", h, "failed", "crack") for h in (450.0, 900.0)] + [Life("a", 1000.0, "suspended")] * 3
    rows += [Life("b", 200.0, "failed")]
    first, second = lives_figures(rows)
    assert set(first.causes) == {"wear", "crack"}
    # the competing-modes example of five failures and three suspensions: scipy's censored fit is the oracle
    data = stats.CensoredData(uncensored=[300, 500, 800], right=[450, 900, 1000, 1000, 1000])
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    assert (first.causes["wear"].shape, first.causes["wear"].scale) == pytest.approx((shape, scale), rel=1e-3)
    assert second.fit is None and "1 item" in second.told


def test_brackets_are_read(tmp_path: Path) -> None:
    rows = "vane,600,between,300\nvane,900,between,600\nvane,1200,between,900\nvane,1000,suspended,\n"
    (figure,) = lives_figures(read_lives(table(tmp_path, rows, "part,hours,ended,good_at")))
    data = stats.CensoredData(interval=[[300, 600], [600, 900], [900, 1200]], right=[1000])
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    assert figure.fit is not None and figure.curve is None
    assert (figure.fit.shape, figure.fit.scale) == pytest.approx((shape, scale), rel=1e-3)


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        ("a,12,broke\n", "is no end"),
        ("a,many,failed\n", "no number of hours"),
        ("a,-3,failed\n", "no number of hours"),
        ("a,0,failed\n", "zero tells nothing"),
        (",12,failed\n", "not named"),
        ("a,12,between\n", "good_at belongs"),
        ("", "no row"),
    ],
)
def test_mistakes_are_told_with_their_line(tmp_path: Path, rows: str, told: str) -> None:
    with pytest.raises(LivesError) as caught:
        read_lives(table(tmp_path, rows))
    assert told in str(caught.value.problems[0])


def test_a_table_without_its_columns(tmp_path: Path) -> None:
    with pytest.raises(LivesError) as caught:
        read_lives(table(tmp_path, "", "part,age"))
    assert "hours, ended missing" in str(caught.value.problems[0])
    path = tmp_path / "x.csv"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="UTF-8"):
        read_lives(path)


def test_command_writes_both_tables(tmp_path: Path) -> None:
    lives = table(tmp_path, NIST)
    out, curves = tmp_path / "figures.csv", tmp_path / "curves.csv"
    done = called(
        "figures", lives, "--out", out, "--curves", curves, "--fleet-hours", "400", "--lead-days", "45"
    )
    assert done.code == 0, done.err
    assert "shape 1.721" in done.out and "stock" in done.out
    with out.open(encoding="utf-8", newline="") as f:
        (row,) = csv.DictReader(f)
    assert math.isclose(float(row["shape"]), 1.7208, abs_tol=5e-5)
    assert float(row["b10_h_low"]) < float(row["b10_h"]) < float(row["b10_h_high"])
    with curves.open(encoding="utf-8", newline="") as f:
        steps = list(csv.DictReader(f))
    assert [int(s["at_risk"]) for s in steps] == list(range(20, 10, -1))
    assert float(steps[-1]["survival"]) == pytest.approx(0.5)


def test_command_tells_mistakes(tmp_path: Path) -> None:
    done = called("figures", table(tmp_path, "a,12,broke\n"))
    assert done.code == LivesError.exit_code
    assert "is no end" in done.err + done.out


def test_trend_of_rejects_covers_as_stated() -> None:
    """Steady rejects: the 95 % interval of the exponent holds one; binomial 99.9 % band of 300 trials."""
    rng, held, told = np.random.default_rng(5601), 0, 0
    for _ in range(300):
        rejected = [n for n in range(1, 401) if rng.random() < 0.1]
        trend = reject_trend(rejected, 400)
        assert trend is not None
        told += 1
        held += trend.low <= 1.0 <= trend.high
    assert stats.binom.ppf(0.0005, told, 0.95) <= held
    assert reject_trend([3], 10) is None


def test_the_drawing_carries_no_style(tmp_path: Path) -> None:
    """Pages allow no style inside them, and print in their own ink."""
    from spoolwright.reports.survival_chart import survival_svg

    (figure,) = lives_figures(read_lives(table(tmp_path, NIST)))
    drawn = survival_svg(figure, "Lives of the bearing")
    assert drawn.startswith("<svg") and "style" not in drawn and "currentColor" in drawn
    assert "share that survives" in drawn
