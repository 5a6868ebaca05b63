"""How long things last: censored lives, survival, growth of rejects, spares, replacement."""
