"""Finds every mistake of a type file at once: shape first, then what the parts say of one another."""
