"""Which fish may share a tank or a loop."""
