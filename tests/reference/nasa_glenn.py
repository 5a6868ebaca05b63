"""Cantera with the published NASA nine-coefficient data: the outside measure of the gas properties.

The data come from the cards in data/nasa_glenn_coefficients.inp, not from the package; evaluation, mixing and
equilibrium are Cantera's.
"""

from __future__ import annotations

from pathlib import Path

import cantera as ct

CARDS = Path(__file__).parent / "data" / "nasa_glenn_coefficients.inp"
COMPLETE = ("N2", "O2", "Ar", "CO2", "H2O")
ALL = (*COMPLETE, "CO", "OH", "H", "O", "NO", "NO2", "H2", "N")
AIR = {"N2": 0.78084, "O2": 0.209476, "Ar": 0.009365, "CO2": 0.000319}  # Gordon 1982, the "Air" card


def _numbers(line: str) -> list[float]:
    fields = (line[i : i + 16].replace("D", "E").strip() for i in range(0, 80, 16))
    return [float(f) for f in fields if f]


def cards() -> dict[str, dict]:
    """Elements, heat of formation [J/mol] and coefficients of every species."""
    lines = [line for line in CARDS.read_text().splitlines() if not line.startswith("!")]
    out = {}
    for i in range(0, len(lines), 8):
        name, head = lines[i].split()[0], lines[i + 1]
        fields = ((head[k : k + 2].strip(), head[k + 2 : k + 8]) for k in range(10, 50, 8))
        out[name] = {
            "elements": {e.capitalize(): int(float(n)) for e, n in fields if e},
            "formation": float(head[65:]),
            "data": [_numbers(lines[i + k]) + _numbers(lines[i + k + 1]) for k in (3, 6)],
        }
    return out


def solution(names: tuple[str, ...] = ALL) -> ct.Solution:
    """An ideal gas of these species."""
    species = [
        ct.Species.from_dict(
            {
                "name": name,
                "composition": card["elements"],
                "thermo": {
                    "model": "NASA9",
                    "reference-pressure": 1e5,
                    "temperature-ranges": [200.0, 1000.0, 6000.0],
                    "data": card["data"],
                },
            }
        )
        for name, card in cards().items()
        if name in names
    ]
    return ct.Solution(thermo="ideal-gas", species=species)


def older_solution() -> ct.Solution:
    """The seven-coefficient data of NASA TM-4513 (1993) that Cantera ships, for comparison."""
    species = [s for s in ct.Species.list_from_file("nasa_gas.yaml") if s.name in ALL]
    return ct.Solution(thermo="ideal-gas", species=species)


def burnt(gas: ct.Solution, far: float = 0.0, war: float = 0.0, x: float = 1.9) -> dict[str, float]:
    """Moles per kg of dry air of completely burnt CHx in moist air."""
    weight = dict(zip(gas.species_names, gas.molecular_weights / 1000.0, strict=True))
    molar_air = sum(share * weight[name] for name, share in AIR.items())
    moles = {name: share / molar_air for name, share in AIR.items()}
    fuel = far / (ct.Element("C").weight + x * ct.Element("H").weight) * 1000.0
    moles["CO2"] += fuel
    moles["O2"] -= fuel * (1 + x / 4)
    moles["H2O"] = war / weight["H2O"] + fuel * x / 2
    return moles


def set_state(gas: ct.Solution, T: float, far: float = 0.0, war: float = 0.0, x: float = 1.9) -> ct.Solution:
    """Put the gas to T and the composition of completely burnt fuel, at 1 bar."""
    gas.TPX = T, 1e5, burnt(gas, far, war, x)
    return gas


def supplied_enthalpy(
    gas: ct.Solution, T3: float, far: float, war: float = 0.0, x: float = 1.9, lhv: float = 43.124e6
) -> float:
    """Enthalpy of air at T3 and fuel at 298.15 K, per kg of products [J/kg].

    The fuel's enthalpy is the one that makes its net heating value at 298.15 K, to CO2 and water vapour,
    exact.
    """
    air = set_state(gas, T3, 0.0, war).enthalpy_mass * (1.0 + war)
    cold_air = set_state(gas, 298.15, 0.0, war).enthalpy_mass * (1.0 + war)
    cold_products = set_state(gas, 298.15, far, war, x).enthalpy_mass * (1.0 + far + war)
    fuel = cold_products + far * lhv - cold_air
    return (air + fuel) / (1.0 + far + war)


def flame(
    gas: ct.Solution, T3: float, p: float, far: float, war: float = 0.0, x: float = 1.9, lhv: float = 43.124e6
) -> tuple[float, float]:
    """Temperature of complete combustion and of chemical equilibrium [K]."""
    h = supplied_enthalpy(gas, T3, far, war, x, lhv)
    gas.TPX = 1500.0, p, burnt(gas, far, war, x)
    gas.HP = h, p
    complete = gas.T
    gas.equilibrate("HP", rtol=1e-10, max_steps=5000)
    return complete, gas.T
