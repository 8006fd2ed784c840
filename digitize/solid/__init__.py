"""Silhouette to solid: axis, pose, body profile and fin planforms in millimetres."""
