"""Plant science, as pure functions of numbers."""
