"""The rest of an acceptance run: starts, slams, governing, extremes, run-down, events."""
