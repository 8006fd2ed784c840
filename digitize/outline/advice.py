"""What to do when no outline can be trusted."""

ADVICE = "Photograph the rocket from the side, whole, on a plain ground of another colour, nothing else near it"
