"""What to do: nose weight, the swing test."""
