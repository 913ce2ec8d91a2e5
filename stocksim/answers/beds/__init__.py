"""Which planted area the feed carries, and which feed the area needs."""
