"""The record book: what a keeper weighed, tested, fed, counted and did, in one file beside the site file."""
