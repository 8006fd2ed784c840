"""A local page to see, correct and re-solve an outline."""
