"""The daily loop: a site becomes arrays, the arrays become a season."""
