"""Which module, how sure, and what next: runs against a model that the shop's own history calibrated."""
