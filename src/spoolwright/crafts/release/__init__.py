"""Release: what is open, whether the records agree, and the drafts that the certifying person needs."""
