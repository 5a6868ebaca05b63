"""One run as recorded and as signed for: channels by meaning, its course, its points, its traces."""
