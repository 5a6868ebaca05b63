"""Lengths in a photograph: a plane seen by a camera, its scale from a known target, with uncertainty."""
