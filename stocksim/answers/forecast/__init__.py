"""How the season goes on, learned from its records."""
