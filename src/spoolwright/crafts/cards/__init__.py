"""Route cards: the steps of the work on a module, readings, signatures, checks, tools counted."""
