"""Physiology of fish, as pure functions of numbers."""
