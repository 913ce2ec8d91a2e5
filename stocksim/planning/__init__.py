"""Decisions that need many seasons."""
