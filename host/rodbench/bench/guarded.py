"""What is not guarded, in one line, at each start of a motion."""

from __future__ import annotations

from collections.abc import Mapping

from rodbench_protocol.names import Feedback


def not_guarded(board: Mapping[str, int], axis: Mapping[str, int]) -> str:
    """The line, from the settings in force (wire units) of board and axis. A key that is not there
    is one that the board's firmware does not know."""
    missing = []
    if axis["current_sensor"] == 0:
        missing.append("over-current, and a stall by its current (no sensor)")
    if axis["feedback"] == Feedback.NONE:
        missing.append(_without_pot(axis))
    elif not axis["calibrated"]:
        missing.append("soft stops (not calibrated)")
    else:
        if axis["stop_by"] == 1:
            missing.append("soft stops (the driver coasts)")
        if not axis.get("following_um"):
            missing.append("falling behind (no following_mm)")
    if axis["current_sensor"] and not axis.get("rated_ma"):
        missing.append("motor heat (rated current unknown)")
    missing += [*_supply(board), *_stop_input(board)]
    if not missing:
        return "Guarded: all that these settings can guard. None of it is a safety function."
    return f"Not guarded: {', '.join(missing)}."


def _supply(board: Mapping[str, int]) -> list[str]:
    if not board["supply_calibrated"]:
        return ["supply (no meter reading entered)"]
    limits = {"low": "supply_low_mv", "high": "supply_high_mv"}
    absent = [side for side, key in limits.items() if not board.get(key)]
    return [f"{' and '.join(absent)} supply (no limit set)"] if absent else []


def _stop_input(board: Mapping[str, int]) -> list[str]:
    if "stop_input" not in board:
        return ["stop input (not read by this firmware: `rodbench load`)"]
    return [] if board["stop_input"] else ["stop input (not wired)"]


def _without_pot(axis: Mapping[str, int]) -> str:
    if not axis["current_sensor"]:
        return "ends and jams (no pot: watch the rod, let go in time)"
    return "soft stops (no pot; a jam near an end looks like the end)"
