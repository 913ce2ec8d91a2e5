"""The species, feed and crop files, read in and checked."""
