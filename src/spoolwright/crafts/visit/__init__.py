"""The visit and what every craft's records share: entries, people, the desk, what is open."""
