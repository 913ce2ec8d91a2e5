"""A site as arrays: layout, fish, water, beds, and the tables that a day works on."""
