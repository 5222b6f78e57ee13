"""The command `rodbench`."""
