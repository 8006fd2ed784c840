"""The margin of stability, the balance point, the verdict."""
