"""The shop part of a type: what the shop transcribed for its visits, a file per craft."""
