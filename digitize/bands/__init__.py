"""95 % bands."""
