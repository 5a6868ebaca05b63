"""The species data: against the published cards, their heats of formation, and independent tables."""

from __future__ import annotations

import cantera as ct
import nasa_glenn
import numpy as np
import pytest

from spoolwright.core.gas import equilibrium
from spoolwright.core.gas.species import ATOMIC_WEIGHT, DRY_AIR, DRY_AIR_MOLAR_MASS, SPECIES

CARDS = nasa_glenn.cards()

# CODATA Key Values for Thermodynamics (Cox, Wagman, Medvedev 1989): S(298.15 K, 1 bar) [J/(mol K)] and its
# uncertainty.
CODATA_ENTROPY = {
    "N2": (191.609, 0.004),
    "O2": (205.152, 0.005),
    "Ar": (154.846, 0.003),
    "CO2": (213.785, 0.010),
    "H2O": (188.835, 0.010),
    "CO": (197.660, 0.004),
    "H": (114.717, 0.002),
    "O": (161.059, 0.003),
    "H2": (130.680, 0.003),
    "N": (153.301, 0.003),
}


@pytest.mark.parametrize("name", SPECIES)
def test_coefficients_are_the_published_ones(name: str) -> None:
    species, card = SPECIES[name], CARDS[name]
    assert species.elements == card["elements"]
    assert [list(species.low), list(species.high)] == card["data"]


@pytest.mark.parametrize("name", ["N2", "O2", "NO", "N", "O"])
def test_cards_agree_with_the_file_that_cantera_ships(name: str) -> None:
    # airNASA9.yaml: an independent transcription of the same report for five of the species.
    theirs = {s.name: s.input_data["thermo"]["data"] for s in ct.Species.list_from_file("airNASA9.yaml")}
    assert CARDS[name]["data"] == theirs[name][:2]


@pytest.mark.parametrize("name", SPECIES)
def test_coefficients_give_the_heat_of_formation_on_the_card(name: str) -> None:
    k = equilibrium.NAMES.index(name)
    _, h, _ = equilibrium.molar(np.array([298.15]))
    # the report's gas constant is 8.31451 J/(mol K); the printed digits of the coefficients allow 0.02 J/mol
    assert 8.31451 * 298.15 * h[k, 0] == pytest.approx(CARDS[name]["formation"], abs=0.02)


@pytest.mark.parametrize("name", CODATA_ENTROPY)
def test_coefficients_give_the_codata_entropy(name: str) -> None:
    entropy, uncertainty = CODATA_ENTROPY[name]
    k = equilibrium.NAMES.index(name)
    _, h, g = equilibrium.molar(np.array([298.15]))
    assert 8.31451 * (h - g)[k, 0] == pytest.approx(entropy, abs=uncertainty + 0.0005)


def test_atomic_weights_are_those_of_cantera() -> None:
    for element, weight in ATOMIC_WEIGHT.items():
        assert 1000.0 * weight == pytest.approx(ct.Element(element).weight, rel=1e-15)


def test_dry_air_is_that_of_the_air_card() -> None:
    # "Air" card of the same data base: mole per cent N2 78.084, O2 20.9476, Ar 0.9365, CO2 0.0319; M
    # 28.9651159 with the atomic weights of 1997 (carbon dioxide and argon have moved by 1e-5 since).
    assert DRY_AIR == nasa_glenn.AIR
    assert sum(DRY_AIR.values()) == pytest.approx(1.0, abs=1e-12)
    grams = 1000.0 * DRY_AIR_MOLAR_MASS
    assert grams == pytest.approx(28.9651159, rel=2e-5)


@pytest.mark.parametrize("name", SPECIES)
def test_both_segments_meet_at_1000_kelvin(name: str) -> None:
    just_above = np.nextafter(1000.0, 2000.0)
    below, above = equilibrium.molar(np.array([1000.0])), equilibrium.molar(np.array([just_above]))
    k = equilibrium.NAMES.index(name)
    for low, high in zip(below, above, strict=True):
        # ten printed digits, terms up to ten times the sum
        assert high[k, 0] == pytest.approx(low[k, 0], rel=1e-7, abs=1e-7)
