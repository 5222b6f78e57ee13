"""States and faults as sentences: what, where, what to do."""

from __future__ import annotations

from rodbench_protocol.schema import load_schema

_FAULTS = {
    "over_current": ("the current stayed above the trip", "see what the rod pushes against"),
    "stall": ("output on, the rod stood, the current high", "see what holds the rod"),
    "no_current": (
        "output on, hardly any current",
        "look at motor leads, fuse, driver, and whether it stands at its end switch",
    ),
    "pot_not_following": (
        "the motor ran, the pot did not follow",
        "look at the pot's wires and at what couples it",
    ),
    "pot_band": (
        "the pot reads outside its endpoints",
        "look for an open or shorted pot wire, or a rod past its end",
    ),
    "wrong_way": (
        "the rod went against the command",
        "motor leads changed? Then run `rodbench calibrate polarity`",
    ),
    "move_silence": ("the computer fell silent during a move", "look at cable and computer"),
    "watchdog": ("the board's watchdog restarted it", "look at its supply and wiring"),
    "settings": (
        "both stored copies of the settings are damaged, defaults are in force",
        "`rodbench settings push` restores them from the machine file",
    ),
    "assertion": ("a check inside the firmware failed", "please report it"),
    "no_end": (
        "no end came in 1.2 times the measured time",
        "see that the rod still follows its motor, and that supply and load are as measured",
    ),
}
_WITHOUT_POT = {
    "stall": ("the current rose before the end was due", "see what holds the rod on its way"),
    "no_current": (
        "the current was gone before the end was due",
        "look at motor leads, fuse and driver",
    ),
}
_ENDED = {
    "none": "has not moved since the board started",
    "running": "is still under way",
    "reached": "reached its target",
    "end_found": "found an end",
    "stopped": "was stopped on request",
    "silence": "ended because the host fell silent",
    "soft_stop": "ended at a soft stop",
    "duty": "ended because the duty budget is spent",
    "fault": "was ended by a guard",
    "replaced": "gave way to another motion",
    "session": "ended because another session was opened",
    "unfinished": "gave up: no end or no rest within its time",
}
_ENDED_WITHOUT_POT = {
    "unfinished": "ended without the evidence of an end",
}


def state(number: int) -> str:
    """A state of an axis: `jog`, `not fitted`."""
    return _name("axis_state", number).replace("_", " ")


def reset_cause(number: int) -> str:
    """Why the board started: `power on`."""
    return _name("reset_cause", number).replace("_", " ")


def ended(number: int, pot: bool = True) -> str:
    """How a motion ended, after "the move"; `pot`: whether the rod has one."""
    name = _name("ended", number)
    words = _ENDED if pot else _ENDED | _ENDED_WITHOUT_POT
    return words.get(name, f"ended ({number})")


def ended_word(number: int) -> str:
    """How a motion ended, in one word for JSON."""
    return _name("ended", number)


def event_word(number: int) -> str:
    """Kind of an event, in one word for JSON."""
    return _name("event_kind", number)


def fault_names(bits: int) -> list[str]:
    """Names of the faults in a bit field, as in the schema."""
    return [c.name for c in load_schema().bits["fault"].values if bits >> c.value & 1]


def fault_name(number: int) -> str:
    """Name of fault `number`, from 1."""
    return _name("fault", number)


def fault_sentence(name: str, axis: int = 0, pot: bool = True) -> str:
    """What happened and what to do: `stall: output on ... Look ..., then rodbench clear 1`.

    `pot`: whether the rod has one; without, the current alone tells."""
    known = _FAULTS if pot else _FAULTS | _WITHOUT_POT
    what, look = known.get(name, ("a guard tripped", "look at the axis"))
    clear = f"rodbench clear{f' {axis}' if axis else ''}"
    return f"{name.replace('_', ' ')}: {what}. To do: {look}; then `{clear}`."


def _name(enum: str, number: int) -> str:
    for choice in load_schema().enums[enum].values:
        if choice.value == number:
            return choice.name
    return str(number)
