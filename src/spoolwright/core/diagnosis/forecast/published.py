"""The rules as they stand before a shop has compared any build, each with its source.

Where a source says "[M] from memory, no oracle", the figure is the trade's common knowledge without a
document that was seen; its standard deviation is wide, and the shop's own builds narrow it.
"""

from __future__ import annotations

from typing import Final

from spoolwright.core.diagnosis.forecast.rules import Rule, RuleBook

CAUSES: Final = {
    "clearance": "tip clearance over blade height, excess over nominal [% of height]",
    "nozzle_area": "nozzle throat area over nominal, less 1 [%]",
    "blend": "blended area over the blade area of the row [%]",
    "friction": "rise of blade surface friction over the admissible roughness [%]",
    "fouling": "compressor flow lost to dirt, as judged [%]",
    "seal": "seal clearance over new, less 1 [%]",
    "leak": "leakage found by a leak check, of inlet flow [%]",
    "vanes": "rigging error of the variable vanes, closed is positive [deg]",
    "gear_drag": "gear loss over nominal, less 1 [%]",
    "accessory_drag": "accessory power over nominal, less 1 [%]",
}
"""Kinds of findings, what is counted as their excess, and in what unit."""

COMPRESSOR, GAS_GENERATOR_TURBINE, POWER_TURBINE = "compressor", "gas_generator_turbine", "power_turbine"
MODULES: Final = (COMPRESSOR, GAS_GENERATOR_TURBINE, POWER_TURBINE)

_MEMORY = "[M] from memory, no oracle"
_TP1032 = (
    "Haas and Kofskey, NASA TP-1032 (1977), summary: total efficiency falls about 1.5 % (recessed casing) to "
    "2.0 % (reduced blade height) for each 1 % of blade height, clearances of 2 to 5 % (abstract verified)"
)
_OTHER = "the spread covers another turbine, tip and reaction"
_MASHIMO = (
    "Mashimo, Watanabe and Ariga, J. Eng. Power 101 (1979) 337, abstract: about 4 % of performance for a "
    "relative clearance of 1.25 to 12.5 %, a centrifugal stage, 0.36 % per 1 % (verified); axial stages "
    "1.5 to 2 "
)
_DIAKUNCHAK = "Diakunchak, J. Eng. Gas Turbines Power 114 (1992) 161, and others: flow to efficiency 3 to 1 "
_CHOKED = "definition of capacity: choked flow is in proportion to throat area (1-D gas dynamics)"
_CAMPBELL = (
    "; the spread is that of flow-rig area against the area that works in the engine (Campbell and Welna, "
    "NACA: physical and effective area differ where a later row chokes, abstract seen)"
)

MODEL: Final = "model"
"""Cause of the rules that tell how far the model itself may be off; no finding has it."""
_SHEET = "a data sheet states its figures to about this; replaced by a calibrated baseline's own; [M]"
_RULES: Final = (
    Rule("model_power", MODEL, "", "", 0.0, 0.005, -1.0, 1.0, _SHEET, 1.0,
         "ln power at a given MGT, at all ratings, of the average build over the model's"),
    Rule("model_power_slope", MODEL, "", "", 0.0, 0.20, -1.0, 1.0,
         "maps of like engines differ so much in slope over ln (MGT / inlet temperature); [M]", 1.0,
         "the same for each unit of ln (MGT over that of the data sheet's rating)"),
    Rule("model_speed", MODEL, "", "", 0.0, 0.003, -1.0, 1.0, _SHEET, 1.0,
         "ln gas generator speed at a given power, of the average build over the model's"),
    Rule("model_fuel", MODEL, "", "", 0.0, 0.005, -1.0, 1.0, _SHEET, 1.0,
         "ln fuel consumption at a given power, of the average build over the model's"),
    Rule(
        "gas_generator_turbine_clearance_efficiency", "clearance", GAS_GENERATOR_TURBINE,
        "gas_generator_turbine_efficiency", -1.75, 0.45, -1.0, 3.0, f"{_TP1032}; {_OTHER}", 0.7,
        "each 1 % of blade height costs the stage 1.75 % of its efficiency",
    ),
    Rule(
        "gas_generator_turbine_clearance_area", "clearance", GAS_GENERATOR_TURBINE,
        "gas_generator_turbine_area", 0.20, 0.15, -1.0, 3.0, f"leakage over the tip adds capacity; {_MEMORY}",
        0.7, "each 1 % of blade height adds 0.2 % of capacity",
    ),
    Rule(
        "power_turbine_clearance_efficiency", "clearance", POWER_TURBINE, "power_turbine_efficiency",
        -1.60, 0.50, -1.0, 3.0, f"{_TP1032}; {_OTHER}", 0.7,
        "each 1 % of blade height costs the stage 1.6 % of its efficiency",
    ),
    Rule(
        "compressor_clearance_efficiency", "clearance", COMPRESSOR, "compressor_efficiency", -1.30, 0.55,
        -1.0, 3.0, f"{_MASHIMO}({_MEMORY})", 0.4,
        "each 1 % of blade height costs the stage 1.3 % of its efficiency",
    ),
    Rule(
        "compressor_clearance_flow", "clearance", COMPRESSOR, "compressor_flow", -1.00, 0.60, -1.0, 3.0,
        f"blockage of the tip leakage; flow to efficiency about 1 to 1; {_MEMORY}", 0.4,
        "each 1 % of blade height costs the stage 1 % of its flow",
    ),
    Rule(
        "gas_generator_nozzle_area", "nozzle_area", GAS_GENERATOR_TURBINE, "gas_generator_turbine_area",
        1.0, 0.06, -4.0, 4.0, _CHOKED + _CAMPBELL, 1.0, "capacity follows the first nozzle's area 1 to 1",
    ),
    Rule(
        "power_turbine_nozzle_area", "nozzle_area", POWER_TURBINE, "power_turbine_area", 1.0, 0.10,
        -4.0, 4.0, f"{_CHOKED}; this nozzle runs close to choking{_CAMPBELL}", 1.0,
        "capacity follows the nozzle's area 1 to 1",
    ),
    Rule(
        "blend_efficiency", "blend", COMPRESSOR, "compressor_efficiency", -0.20, 0.15, 0.0, 3.0,
        f"less chord, more loading, blunter edges; {_MEMORY}", 0.5,
        "each 1 % of a row's blade area blended away costs the stage 0.2 % of its efficiency",
    ),
    Rule(
        "blend_flow", "blend", COMPRESSOR, "compressor_flow", -0.30, 0.20, 0.0, 3.0,
        f"less turning, less flow; {_MEMORY}", 0.5,
        "each 1 % of a row's blade area blended away costs the stage 0.3 % of its flow",
    ),
    Rule(
        "friction_efficiency", "friction", COMPRESSOR, "compressor_efficiency", -0.10, 0.04, 0.0, 50.0,
        "friction is about half of a loss of a fifth: (1 - eff) / eff * 0.5 [M]; compare Suder et al., "
        "J. Turbomach. 117 (1995) 491: a coat of 2.5 to 3.2 um cost 6 points, half of it by its thickness "
        "(abstract verified)",
        0.8, "each 1 % more friction costs the stage 0.1 % of its efficiency",
    ),
    Rule(
        "fouling_flow", "fouling", COMPRESSOR, "compressor_flow", -1.0, 0.10, 0.0, 5.0,
        "by definition: the finding is the flow judged lost", 1.0, "flow falls by what is judged lost",
    ),
    Rule(
        "fouling_efficiency", "fouling", COMPRESSOR, "compressor_efficiency", -0.33, 0.12, 0.0, 5.0,
        f"{_DIAKUNCHAK}({_MEMORY}); typical, not unique (Mathioudakis et al., Energies 17 (2024) 3409)",
        1.0, "each 1 % of flow lost costs 0.33 % of efficiency",
    ),
    Rule(
        "seal_leak", "seal", "", "leak", 0.0030, 0.0015, -50.0, 200.0,
        "orifice flow: leakage in proportion to clearance, from 0.3 % of inlet flow through a new seal, that "
        f"share {_MEMORY}", 1.0, "leakage grows in proportion to the clearance, from 0.3 % of inlet flow",
    ),
    Rule(
        "leak_found", "leak", "", "leak", 1.0, 0.10, 0.0, 4.0,
        "choked leak: its share of inlet flow stays as pressure rises (1-D gas dynamics)", 1.0,
        "the share of flow found leaking leaks in the run",
    ),
    Rule(
        "vane_rigging", "vanes", "", "vane_offset", 1.0, 0.05, -6.0, 6.0, "by definition of the offset", 1.0,
        "the vanes stand off by what the rigging check reads",
    ),
    Rule(
        "gear_drag", "gear_drag", "", "gear_loss", 1.0, 0.10, -50.0, 200.0, "by definition of the loss", 1.0,
        "the loss in the run is in proportion to the drag measured",
    ),
    Rule(
        "accessory_drag", "accessory_drag", "", "accessory_power", 1.0, 0.10, -50.0, 200.0,
        "by definition of the power", 1.0, "the power taken is in proportion to the drag measured",
    ),
)  # fmt: skip

USUAL_SPREAD: Final = {
    "clearance": 0.08,
    "nozzle_area": 0.20,
    "blend": 0.20,
    "friction": 1.0,
    "fouling": 0.15,
    "seal": 10.0,
    "leak": 0.04,
    "vanes": 0.25,
    "gear_drag": 3.0,
    "accessory_drag": 3.0,
}
"""Standard deviation of each kind of excess among builds that nobody complained of [unit of the finding].

What of the build scatter a measured finding explains is taken off it; `[M]`, to be replaced by the shop's
own.
"""


def published_rules() -> RuleBook:
    """The rules with their published or stated coefficients, nothing learnt.

    Returns
    -------
    RuleBook
        The book to begin with [-].

    Examples
    --------
    >>> published_rules().named("gas_generator_nozzle_area").mean
    1.0
    """
    return RuleBook(_RULES)
