"""The day of a season, top to bottom: what fish, water and films do to one another, in plain numbers."""
