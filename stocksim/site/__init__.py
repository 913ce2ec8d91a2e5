"""The site file, read in and checked."""
