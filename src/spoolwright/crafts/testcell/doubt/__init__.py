"""Doubt first: what is wrong with a recording, found before anything is computed from it, in plain words."""
