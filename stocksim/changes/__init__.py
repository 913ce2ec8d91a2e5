"""What could be done: changes of the site file, each proved by a run of the season with it."""
