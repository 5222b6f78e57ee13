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
        "see whether the rod stands past its end, or the pot slipped or lost a wire",
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
    "pot_open": (
        "the pot reads close to 0",
        "look for a wire off at wiper or 5 V, or a short to ground",
    ),
    "pot_short": (
        "the pot reads close to full scale",
        "look for a wire off at the pot's ground, or a wiper shorted to 5 V",
    ),
    "pot_jump": (
        "the pot jumped further than the rod can go",
        "look at the wiper's wire and plugs; `rodbench measure pot` finds a worn place",
    ),
    "moving_off": (
        "the rod moved with its output off",
        "if nothing pushes it, cut motor power: the driver may be stuck; "
        "if its load does, it needs a brake",
    ),
    "following": (
        "the rod fell behind its reference",
        "see what slows it: load, supply, or ramps steeper than it can follow",
    ),
    "thermal": (
        "by its currents the motor is too hot",
        "let it cool, `rodbench watch` shows how far it is",
    ),
    "supply_low": (
        "the motor supply fell below supply_low_v",
        "look at battery or supply, fuse and wires",
    ),
    "supply_high": (
        "the motor supply rose above supply_high_v",
        "look at the supply: the wrong one, or one that cannot take what a pushed rod gives back",
    ),
    "stop_input": (
        "the stop input is open",
        "see who pressed it and why, or which wire is off; close it",
    ),
    "apart": (
        "the two rods came too far apart",
        "see what holds one of them; once cleared, `rodbench level` brings them together",
    ),
    "late_tick": (
        "the board's ticks ended late, three within a second",
        "please report it, with what ran",
    ),
}
# Latched by the board, whatever axis they ended: cleared with all.
_OF_BOARD = frozenset({"supply_low", "supply_high", "stop_input", "apart", "late_tick"})
_EVENTS = {
    "soft_stop": "a soft stop held the motion back",
    "duty_spent": "the duty budget is spent",
    "end_found": "found an end",
    "stored": "settings stored",
    "cleared": "faults cleared",
    "late_tick": "a tick ended late",
    "armed": "its local input was seen at rest, and commands from now on",
    "source_lost": "its local input is lost: no pulse, or outside its ends",
    "handed_over": "another commands it",
    "fold_back": "the output is taken back, so that the current stays below fold_back_a",
    "warm": "the motor is warm by its currents: let it rest",
}
_COMMANDERS = {
    "host": "the computer commands it now",
    "local": "its local input commands it, once seen at rest",
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
    "gang": "ended because the other rod of the gang stopped",
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


def event_words(number: int, cause: int) -> str:
    """What happened, after "axis 1:"; `cause` by the kind of the event."""
    name = event_word(number)
    if name == "boot":
        return f"started ({reset_cause(cause)})"
    if name == "trip":
        return f"tripped: {fault_name(cause).replace('_', ' ')}"
    if name == "motion_ended":
        return f"the motion {ended(cause)}"
    if name == "handed_over":
        return _COMMANDERS.get(_name("commander", cause), _EVENTS[name])
    if name == "stored" and cause:
        return "the settings could not be stored"
    return _EVENTS.get(name, name.replace("_", " "))


def fault_names(bits: int) -> list[str]:
    """Names of the faults in a bit field, as in the schema."""
    return [c.name for c in load_schema().bits["fault"].values if bits >> c.value & 1]


def fault_name(number: int) -> str:
    """Name of fault `number`, from 1."""
    return _name("fault", number)


def fault_sentence(name: str, axis: int = 0, pot: bool = True) -> str:
    """What happened and what to do: `stall: output on ... Look ..., then rodbench clear 1`.

    `pot`: whether the rod has one; without, the current alone tells."""
    look = fault_look(name, pot)
    clear = f"rodbench clear{f' {axis}' if axis and name not in _OF_BOARD else ''}"
    return f"{fault_what(name, pot)}. To do: {look}; then `{clear}`."


def fault_look(name: str, pot: bool = True) -> str:
    """What to do before it is cleared, as the second half of its sentence says it."""
    return _known(name, pot)[1]


def fault_what(name: str, pot: bool = True) -> str:
    """The first half of its sentence, without a full stop."""
    return f"{name.replace('_', ' ')}: {_known(name, pot)[0]}"


def _known(name: str, pot: bool) -> tuple[str, str]:
    known = _FAULTS if pot else _FAULTS | _WITHOUT_POT
    return known.get(name, ("a guard tripped", "look at the axis"))


def _name(enum: str, number: int) -> str:
    for choice in load_schema().enums[enum].values:
        if choice.value == number:
            return choice.name
    return str(number)
