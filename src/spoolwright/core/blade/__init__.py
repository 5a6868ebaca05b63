"""A blade that was hit or blended: notches, sections, first modes, mass and unbalance."""
