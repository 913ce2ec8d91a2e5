"""What drives the water from outside, as pure functions of numbers."""
