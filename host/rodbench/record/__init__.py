"""What was done and seen: the logbook of a machine and its recorded runs."""
