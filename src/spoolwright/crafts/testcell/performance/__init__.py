"""Performance points reduced by both methods: blocks, curves, rated values, margins."""
