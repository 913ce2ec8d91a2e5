"""The questions a keeper asks, a folder each: what decides them, and how the answer is told."""
