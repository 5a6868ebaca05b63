"""Verdicts from readings and the type file's limits: gates, judging, what is owed, the proposal."""
