"""How the season goes: in trouble or not, where, when, and what helps."""
