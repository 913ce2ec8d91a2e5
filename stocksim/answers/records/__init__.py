"""What was weighed, tested, fed and done: entered, listed, imported, exported and taken back."""
