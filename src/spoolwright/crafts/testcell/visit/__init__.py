"""The test cell in an engine's visit: runs, adjustments, looks, dispositions, diagnoses, as records."""
