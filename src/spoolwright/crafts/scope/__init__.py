"""The work scope of a visit: what may be done, what it takes and gives, which one the lead signs."""
