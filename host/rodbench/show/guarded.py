"""What is not guarded, in one line, at each start of a motion."""

from __future__ import annotations

from collections.abc import Mapping


def not_guarded(board: Mapping[str, int], axis: Mapping[str, int], stop_input: str) -> str:
    """The line, or "" when nothing is missing. `stop_input` is the machine file's word."""
    missing = []
    if axis["current_sensor"] == 0:
        missing.append("current (no sensor)")
    if not axis["calibrated"]:
        missing.append("soft stops (not calibrated)")
    elif axis["stop_by"] == 1:
        missing.append("soft stops (the driver coasts)")
    missing.append(
        "low supply (not in this firmware)"
        if board["supply_calibrated"]
        else "low supply (no meter reading entered)"
    )
    missing.append(
        "stop input (not wired)"
        if stop_input == "not-wired"
        else "stop input (not read by this firmware)"
    )
    return f"Not guarded: {', '.join(missing)}."
