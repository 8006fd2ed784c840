"""Component aerodynamics: one published method a file; plain numbers in, plain numbers out, no pictures."""
