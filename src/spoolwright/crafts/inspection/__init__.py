"""Inspection: what was found, which paragraph covers it, and what a blend would do."""
