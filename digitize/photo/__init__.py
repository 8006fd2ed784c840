"""Photo to plane: reading pictures, the camera, and the flat references seen in the picture."""
