"""What comes of a season: its course, limits, deaths, beds and frames."""
