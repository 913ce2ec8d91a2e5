"""Seasons drawn from what is uncertain: points, bands, chances, and what matters most; asked by several questions."""
