"""A board, its line and the machine on it, in Python: twin, plant and line, kept apart."""
