"""What is known of each species, of one fish in good water, and of water by itself."""
