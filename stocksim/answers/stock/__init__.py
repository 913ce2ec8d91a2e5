"""Which fish go into which tank, and how many."""
