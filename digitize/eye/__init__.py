"""The eye: a small network that says for each pixel what is rocket, body, fin."""
