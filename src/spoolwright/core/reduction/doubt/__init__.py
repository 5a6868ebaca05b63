"""Doubt first: what a recording tells against itself, before anything is computed from it."""
