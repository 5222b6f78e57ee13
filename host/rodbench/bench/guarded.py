"""What is not guarded, in one line, at each start of a motion."""

from __future__ import annotations

from collections.abc import Mapping

from rodbench_protocol.names import Feedback


def not_guarded(board: Mapping[str, int], axis: Mapping[str, int]) -> str:
    """The line, from the settings in force (wire units) of board and axis."""
    missing = []
    if axis["current_sensor"] == 0:
        missing.append("over-current, and a stall by its current (no sensor)")
    if axis["feedback"] == Feedback.NONE:
        missing.append(_without_pot(axis))
    elif not axis["calibrated"]:
        missing.append("soft stops (not calibrated)")
    elif axis["stop_by"] == 1:
        missing.append("soft stops (the driver coasts)")
    supply = "not in this version" if board["supply_calibrated"] else "no meter reading entered"
    missing += [f"low supply ({supply})", "stop input (not read in this version)"]
    return f"Not guarded: {', '.join(missing)}."


def _without_pot(axis: Mapping[str, int]) -> str:
    if not axis["current_sensor"]:
        return "ends and jams (no pot: watch the rod, let go in time)"
    return "soft stops (no pot; a jam near an end looks like the end)"
