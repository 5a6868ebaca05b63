"""After installation: the operator's checks on the aircraft against the bench run of the engine."""
