"""What if: any field of a site file over many values, each a whole season, into one tidy table."""
