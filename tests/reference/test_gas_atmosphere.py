"""Standard atmosphere against the published tables of ISO 2533 / ICAO Doc 7488 and an independent package."""

from __future__ import annotations

import ambiance
import numpy as np
import pytest

from spoolwright.core.gas import atmosphere
from spoolwright.errors import RangeError

# ISO 2533:1975, table 5. Geopotential height m:
# T K, p hPa, density kg/m3, sound speed m/s, viscosity 1e-5 Pa s
ISO_2533 = """
-1000  294.650 1139.29 1.34700  344.111 1.8206
-600   292.050 1087.44 1.29713  342.589 1.8081
-300   290.100 1049.81 1.26067  341.443 1.7988
0      288.150 1013.25 1.22500  340.294 1.7894
500    284.900 954.608 1.16727  338.369 1.7737
750    283.275 926.336 1.13920  337.403 1.7658
10500  219.900 244.743 0.387725 297.274 1.4394
11000  216.650 226.320 0.363918 295.069 1.4216
12000  216.650 193.303 0.310827 295.069 1.4216
14000  216.650 141.018 0.226753 295.069 1.4216
15000  216.650 120.445 0.193673 295.069 1.4216
16000  216.650 102.874 0.165419 295.069 1.4216
"""

# ICAO Doc 7488, 3rd ed. 1993. Geopotential height m: T K, p Pa, density kg/m3, sound speed m/s, theta, delta
ICAO = """
1000   281.650 89874.6  1.111643 336.434 0.977442 0.886993
1500   278.400 84556.0  1.058067 334.487 0.966163 0.834503
2000   275.150 79495.2  1.006490 332.529 0.954885 0.784557
3000   268.650 70108.5  0.909122 328.578 0.932327 0.691917
5000   255.650 54019.9  0.736116 320.529 0.887212 0.533135
8000   236.150 35599.8  0.525167 308.063 0.819538 0.351343
11000  216.650 22632.0  0.363918 295.069 0.751865 0.223361
20000  216.650 5474.87  0.0880345 295.069 0.751865 0.054033
"""

# Pressure altitude ft: T K, p Pa, theta, delta
FEET = """
1000   286.1688 97716.6 0.993124 0.964388
4000   280.2252 87510.5 0.972498 0.863662
6000   276.2628 81199.6 0.958746 0.801378
10000  268.3380 69681.6 0.931244 0.687704
20000  248.5260 46563.2 0.862488 0.459543
"""


def printed(number: float, text: str) -> bool:
    """Whether a number rounds to what is printed (half a unit of the last digit, and a hair for a tie)."""
    decimals = len(text.partition(".")[2])
    return abs(number - float(text)) <= 0.5000001 * 10.0**-decimals


def rows(table: str) -> list[str]:
    return table.strip().split("\n")


def misprinted(numbers: tuple[float, ...], texts: list[str]) -> list[str]:
    return [text for number, text in zip(numbers, texts, strict=True) if not printed(number, text)]


@pytest.mark.parametrize("row", rows(ISO_2533), ids=lambda row: row.split()[0])
def test_table_of_iso_2533(row: str) -> None:
    height, *texts = row.split()
    air = atmosphere.standard_air(float(height))
    hectopascal, viscosity = air.pressure / 100.0, 1e5 * air.viscosity
    assert misprinted((air.temperature, hectopascal, air.density, air.sound_speed, viscosity), texts) == []


@pytest.mark.parametrize("row", rows(ICAO), ids=lambda row: row.split()[0])
def test_table_of_icao(row: str) -> None:
    height, *texts = row.split()
    air = atmosphere.standard_air(float(height))
    numbers = (air.temperature, air.pressure, air.density, air.sound_speed, air.theta, air.delta)
    assert misprinted(numbers, texts) == []


@pytest.mark.parametrize("row", rows(FEET), ids=lambda row: row.split()[0])
def test_table_by_pressure_altitude(row: str) -> None:
    feet, *texts = row.split()
    air = atmosphere.standard_air(0.3048 * float(feet))
    assert misprinted((air.temperature, air.pressure, air.theta, air.delta), texts) == []
    # the printed pressure gives the height back to what its last digit is worth there (1 m is 5 ... 12 Pa)
    assert atmosphere.pressure_altitude(float(texts[1])) / 0.3048 == pytest.approx(float(feet), abs=0.05)


def test_geometric_heights_against_ambiance() -> None:
    z = np.linspace(-1999.0, 20000.0, 45)
    theirs = ambiance.Atmosphere(z)
    air = atmosphere.standard_air(atmosphere.geopotential_height(z))
    np.testing.assert_allclose(air.temperature, theirs.temperature, rtol=1e-9)
    np.testing.assert_allclose(air.sound_speed, theirs.speed_of_sound, rtol=1e-9)
    # below sea level it starts from a rounded pressure at its lowest height
    np.testing.assert_allclose(air.pressure, theirs.pressure, rtol=3e-7)
    np.testing.assert_allclose(air.density, theirs.density, rtol=3e-7)
    np.testing.assert_allclose(air.viscosity, theirs.dynamic_viscosity, rtol=1e-9)


def test_geometric_height_is_not_geopotential() -> None:
    # z = 11000 m is H = 10980.998 m (ISO 2533, table 5)
    assert atmosphere.geopotential_height(11000.0) == pytest.approx(10980.998, abs=5e-4)


def test_temperature_deviation_leaves_the_pressure() -> None:
    hot = atmosphere.standard_air(2000.0, 20.0)
    assert hot.temperature == pytest.approx(295.15)
    assert printed(hot.pressure, "79495.2")
    assert hot.density == pytest.approx(79495.2 / (287.05287 * 295.15), rel=1e-6)


def test_heights_outside_are_refused() -> None:
    with pytest.raises(RangeError, match="geopotential height 25000 m is outside -2000 m to 20000 m"):
        atmosphere.standard_air(25000.0)
    with pytest.raises(RangeError, match="pressure 200000 Pa"):
        atmosphere.pressure_altitude(2e5)
