"""Owed work: which tests, inspections and checks follow from what was done, and what closed them."""
