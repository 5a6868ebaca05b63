"""Choices between many alternatives: which blades to blend, which parts and modules to work on, and when."""
