"""What a history of speed uses up: rainflow counting, exchange rates, damage sums. Pure numbers."""
