"""A rocket as components, its file, its words and its side area."""
