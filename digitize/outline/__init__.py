"""Picture to silhouette: the rocket's outline in pixels, and nothing about millimetres."""
