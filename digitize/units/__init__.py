"""Numbers with units: read, rounded, and written for a person."""
