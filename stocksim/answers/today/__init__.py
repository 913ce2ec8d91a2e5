"""What is to be done today, by the season and its records."""
