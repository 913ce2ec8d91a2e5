"""Heat of a site: its network, its hours, and the water temperatures that follow from them."""
