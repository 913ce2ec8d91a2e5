"""How fast feeding may rise on a young or winter-shrunken film."""
