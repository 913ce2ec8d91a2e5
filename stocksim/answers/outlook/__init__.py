"""How sure is it: a season many times over, drawn from what is uncertain, and what to measure next."""
