"""Which set points and measures carry the fish through the cold months, and what they cost."""
