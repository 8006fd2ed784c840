"""The commands that work on a results folder, one module each; cli.py registers them by one line.

Whatever is slow to import is imported inside the command's function.
"""
