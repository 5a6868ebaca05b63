"""Lives: life-limited parts back to birth, their limits, and directives and bulletins."""
