"""Receiving: the engine, its modules, parts and papers as they came, and whether they are accepted."""
