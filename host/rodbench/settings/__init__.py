"""The machine file: reading, checking, writing, and its way to and from the board."""
