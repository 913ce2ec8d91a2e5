"""Water science, as pure functions of numbers."""
