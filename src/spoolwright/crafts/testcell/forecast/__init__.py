"""Forecast of a run from the build: what was found, what it will do to the margins, what would mend it."""
