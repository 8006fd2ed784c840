"""What is printed true to size."""
