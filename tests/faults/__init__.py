"""What each fault of machine, wiring, board or computer leads to, measured: FAULTS.md."""
