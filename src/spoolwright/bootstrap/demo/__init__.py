"""The demonstration shop: invented people and engines, worked on through the same use cases as real ones."""
