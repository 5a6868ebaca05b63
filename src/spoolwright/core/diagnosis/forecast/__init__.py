"""Forecast of test margins from what was found and built: rules, expected condition, margins, learning."""
