"""Procedures at the bench: learn a rod, limit it, prove it. Text in trade words goes to `say`."""
