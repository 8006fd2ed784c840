"""What the user asks for: options, lists of photos."""
