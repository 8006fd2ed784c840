"""General numerical methods, small ones, so that no large library has to be loaded for them."""
