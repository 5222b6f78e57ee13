"""The keys of a plant file, once: the checker and `rodbench emulate --keys` both read them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rodbench.emulator.faults import KINDS
from rodbench.emulator.hands import KINDS as INPUT_KINDS
from rodbench.emulator.wiper import WIRED

Value = bool | int | float | str
DRIVERS = (
    "pwm-and-two-direction-lines",
    "pwm-and-one-direction-line",
    "two-pwm-inputs",
    "pwm-input-and-line",
)
BOARDS = ("atmega328p-5v", "posix-3v3")


@dataclass(frozen=True, slots=True)
class Key:
    """One key: its table, name, unit, default, range or choices, and a sentence."""

    table: str
    name: str
    default: Value
    unit: str
    low: float
    high: float
    choices: tuple[str, ...]
    doc: str

    def problem(self, value: object) -> str | None:
        """What is wrong with a value, or None."""
        if self.choices:
            words = ", ".join(self.choices)
            return None if value in self.choices else f"is not one of {words}"
        if isinstance(self.default, bool):
            return None if isinstance(value, bool) else "must be true or false"
        if isinstance(self.default, str):
            return None if isinstance(value, str) and value else "must be a text"
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            return "must be a number"
        if isinstance(self.default, int) and not isinstance(value, int):
            return "must be a whole number"
        if not (math.isfinite(value) and self.low <= value <= self.high):
            unit = f" {self.unit}" if self.unit else ""
            return f"lies outside {self.low:g} .. {self.high:g}{unit}"
        return None

    @property
    def allowed(self) -> str:
        """Range or choices in words."""
        if self.choices:
            return " | ".join(self.choices)
        if isinstance(self.default, bool):
            return "true | false"
        if isinstance(self.default, str):
            return "text"
        return f"{self.low:g} .. {self.high:g}"


def _number(
    table: str, name: str, default: float, unit: str, low: float, high: float, doc: str
) -> Key:
    return Key(table, name, default, unit, low, high, (), doc)


def _word(table: str, name: str, default: Value, choices: tuple[str, ...], doc: str) -> Key:
    return Key(table, name, default, "", 0, 0, choices, doc)


_AXIS, _MOTOR, _SCREW = "axes.N", "axes.N.motor", "axes.N.screw"
_LOAD, _ENDS, _POT, _SENSOR = "axes.N.load", "axes.N.ends", "axes.N.pot", "axes.N.sensor"
_MOUNT, _DRIVER = "axes.N.mount", "axes.N.driver"

KEYS: tuple[Key, ...] = (
    _number("", "plant_file", 1, "", 1, 1, "version of this format"),
    _word("", "name", "machine", (), "what the machine is called"),
    _number("", "seed", 1, "", 0, 2**31, "everything random follows from this number"),
    _number("supply", "volts", 12.4, "V", 3, 60, "motor supply without load"),
    _number("supply", "source_ohm", 0.07, "ohm", 0, 10, "source and leads: makes it sag"),
    _number("supply", "divider_ratio", 5.71, "", 1, 20, "true ratio of the supply input's divider"),
    _number("supply", "noise_lsb", 0.4, "LSB", 0, 20, "noise of the reading, rms"),
    _word("board", "kind", BOARDS[0], BOARDS, "its converter: posix-3v3 has 12 bits and one axis"),
    _number(
        "board", "reference_v", 5.0, "V", 3, 5.5, "its own supply, the ADC's reference; posix 3.3"
    ),
    _number("board", "bandgap_v", 1.1, "V", 0.98, 1.22, "the chip's own reference"),
    _number("board", "boot_ms", 300.0, "ms", 5, 5000, "silence after a reset: the bootloader"),
    _word(_AXIS, "name", "rod", (), "name of the rod"),
    _number(_AXIS, "stroke_mm", 203.0, "mm", 5, 2000, "between the ends of travel"),
    _number(_AXIS, "start_mm", 100.0, "mm", 0, 2000, "where the rod stands at first"),
    _number(_AXIS, "retracted_pin_to_pin_mm", 105.0, "mm", 1, 5000, "its length, all the way in"),
    _number(_MOTOR, "resistance_ohm", 2.0, "ohm", 0.05, 500, "winding at 20 C, driver and leads"),
    _number(
        _MOTOR, "constant_v_s_per_mm", 1.186, "V s/mm", 0.001, 100, "volts for each mm/s of the rod"
    ),
    _number(_MOTOR, "response_ms", 60.0, "ms", 2, 2000, "mechanical time constant without drag"),
    _number(_MOTOR, "friction_extend_a", 0.98, "A", 0, 50, "current against friction, extending"),
    _number(_MOTOR, "friction_retract_a", 0.67, "A", 0, 50, "the same, retracting"),
    _number(_MOTOR, "stiction", 1.15, "", 1, 3, "breaking away needs this times the friction"),
    _number(_MOTOR, "drag_a_s_per_mm", 0.05, "A s/mm", 0, 10, "friction that grows with speed"),
    _number(
        _MOTOR, "magnets", 1.0, "", 0.2, 1.5, "what is left of their strength; below 1: faster"
    ),
    _word(_MOTOR, "reversed", False, (), "positive output on the lines retracts"),
    _number(_MOTOR, "heat_j_per_k", 60.0, "J/K", 1, 1e5, "heat capacity of the winding"),
    _number(_MOTOR, "cooling_k_per_w", 8.0, "K/W", 0.1, 1000, "winding to ambient"),
    _number(_MOTOR, "ambient_c", 20.0, "C", -40, 80, "temperature at the start, and around it"),
    _number(_SCREW, "efficiency", 0.35, "", 0.02, 1, "share of the motor's force that arrives"),
    _number(
        _SCREW,
        "back_efficiency",
        -0.8,
        "",
        -20,
        1,
        "share of an aiding load that arrives; < 0 locks",
    ),
    _number(_SCREW, "backlash_mm", 0.0, "mm", 0, 10, "play between rod and pot"),
    _number(_SCREW, "tight_from_mm", 0.0, "mm", 0, 2000, "more friction: from here"),
    _number(_SCREW, "tight_to_mm", 0.0, "mm", 0, 2000, "more friction: to here; both 0: none"),
    _number(_SCREW, "tight", 0.2, "", 0, 20, "how much more there, as a share of the friction"),
    _word(_LOAD, "kind", "constant", ("constant", "spring", "hinge"), "what the rod pushes"),
    _number(_LOAD, "force_n", 0.0, "N", -1e5, 1e5, "constant part; positive resists extending"),
    _number(_LOAD, "spring_n_per_mm", 0.0, "N/mm", -1e4, 1e4, "spring: force for each mm"),
    _number(_LOAD, "spring_from_mm", 0.0, "mm", -2000, 2000, "spring: where it begins"),
    _number(_LOAD, "arm_pin_mm", 150.0, "mm", 1, 5000, "hinge: rod's pin on the arm"),
    _number(_LOAD, "frame_pin_mm", 300.0, "mm", 1, 5000, "hinge: rod's pin on the frame"),
    _number(_LOAD, "frame_angle_deg", 60.0, "deg", -180, 180, "hinge: frame pin below horizontal"),
    _number(_LOAD, "arm_weight_mm", 300.0, "mm", 0, 5000, "hinge: centre of the arm's weight"),
    _number(_LOAD, "arm_kg", 0.0, "kg", 0, 5000, "hinge: mass of the arm"),
    _number(_LOAD, "pin_to_pin_mm", 260.0, "mm", 1, 5000, "hinge: rod's length at position 0"),
    _word(_ENDS, "kind", "switch", ("switch", "hard", "clutch"), "how the travel ends"),
    _number(_ENDS, "diode_v", 0.7, "V", 0, 2, "drop of the diode across an open switch"),
    _number(_ENDS, "overtravel_mm", 4.0, "mm", 0, 50, "from an open switch to the hard stop"),
    _number(_ENDS, "clutch_a", 4.0, "A", 0.05, 100, "current at which the clutch slips"),
    _number(_POT, "retracted", 0.1, "", 0, 1, "share of the track below the wiper at position 0"),
    _number(_POT, "extended", 0.9, "", 0, 1, "share of the track below the wiper at full stroke"),
    _word(_POT, "fitted", True, (), "false: a rod with two wires, its input left to the bleed"),
    _word(_POT, "wired", "right", WIRED, "on which lead the wiper ended up"),
    _number(
        _POT, "resistance_ohm", 10000.0, "ohm", 100, 100000, "whole track; 470 kohm bleed loads it"
    ),
    _number(
        _POT, "series_ohm", 0.0, "ohm", 0, 100000, "resistor in the lead from the board's supply"
    ),
    _number(_POT, "bow", 0.0, "", -0.1, 0.1, "deviation from the line at mid stroke, of the span"),
    _number(_POT, "worn_from_mm", 0.0, "mm", 0, 2000, "worn track: from here"),
    _number(_POT, "worn_to_mm", 0.0, "mm", 0, 2000, "worn track: to here; both 0: none"),
    _number(_POT, "worn_share", 0.3, "", 0, 1, "share of the ticks there without contact"),
    _number(_POT, "repeat_mm", 0.0, "mm", 0, 20, "rms scatter of one place from stroke to stroke"),
    _number(_POT, "noise_lsb", 0.35, "LSB", 0, 50, "noise of each conversion, rms ADC steps"),
    _number(
        _POT, "noise_correlated", 0.0, "", 0, 1, "share of the noise power common to a whole tick"
    ),
    _number(_POT, "noise_time_ms", 50.0, "ms", 1, 10000, "time constant of that share"),
    _word(_SENSOR, "kind", "one-sided", ("one-sided", "centred", "none"), "current sensor"),
    _number(_SENSOR, "v_per_a", 0.185, "V/A", 0.001, 10, "its gain, at 5 V"),
    _number(_SENSOR, "zero_v", 0.0, "V", 0, 5, "its output at no current, at 5 V"),
    _word(_SENSOR, "ratiometric", False, (), "zero and gain follow the board's supply: x V / 5"),
    _number(_SENSOR, "noise_lsb", 0.4, "LSB", 0, 50, "noise of each conversion, rms"),
    _number(_MOUNT, "min_mm", 0.0, "mm", 0, 2000, "the machine ends the travel here; 0: free"),
    _number(_MOUNT, "max_mm", 0.0, "mm", 0, 2000, "and here; 0: free"),
    _word(_DRIVER, "kind", "pwm-and-two-direction-lines", DRIVERS, "how the H-bridge is wired"),
    _word(_DRIVER, "pwm_low", "coast", ("coast", "brake"), "one direction line: output 0 is this"),
    _number("line", "baud", 250000, "baud", 1200, 2000000, "bits per second each way, 8N1"),
    _number("line", "late_ms", 100.0, "ms", 1, 10000, "how long a late frame waits"),
    _word("faults[]", "kind", "jam", tuple(KINDS), "what goes wrong"),
    _number("faults[]", "axis", 0, "", 0, 2, "on which axis; 0 for supply and line"),
    _number("faults[]", "value", 0.0, "", -1e6, 1e6, "how much; the kinds below say of what"),
    _number("faults[]", "at_s", 0.0, "s", 0, 1e9, "when, from the start of the emulator"),
    _number("faults[]", "until_s", 0.0, "s", 0, 1e9, "until when; 0: for ever"),
    _word("inputs[]", "kind", "extend", tuple(INPUT_KINDS), "which local input"),
    _number("inputs[]", "axis", 1, "", 1, 2, "of which axis"),
    _number("inputs[]", "value", 0.0, "", 0, 25000, "its value from then on; the kinds below"),
    _number("inputs[]", "at_s", 0.0, "s", 0, 1e9, "when, from the start of the emulator"),
)

BY_TABLE: dict[str, dict[str, Key]] = {}
for _key in KEYS:
    BY_TABLE.setdefault(_key.table, {})[_key.name] = _key


def describe() -> list[dict[str, str]]:
    """Every key as text fields: table, key, default, unit, allowed, meaning."""
    return [
        {
            "table": f"[{key.table}]" if key.table else "",
            "key": key.name,
            "default": str(key.default).lower()
            if isinstance(key.default, bool)
            else f"{key.default}",
            "unit": key.unit,
            "allowed": "below" if key.name == "kind" and key.table.endswith("[]") else key.allowed,
            "meaning": key.doc,
        }
        for key in KEYS
    ]


def _header(table: str) -> str:
    return f"[{table.replace('[]]', ']]')}" if table.endswith("[]]") else table


def table_text() -> str:
    """The documented keys as plain text, and the kinds of fault."""
    lines = ["Plant file: TOML, figures in the units named. N is 1 or 2.", ""]
    shown = None
    for row in describe():
        if row["table"] != shown:
            shown = row["table"]
            lines += ["", _header(shown)] if shown else []
        unit = f" {row['unit']}" if row["unit"] else ""
        lines.append(
            f"  {row['key']:<23} {row['default'] + unit:<16} {row['meaning']} ({row['allowed']})"
        )
    lines += ["", "Kinds of fault (value in brackets, and what is taken without one):"]
    for kind in KINDS.values():
        value = f" [{kind.value}, {kind.default:g}]" if kind.value else ""
        lines.append(f"  {kind.name:<16} {kind.place:<7}{kind.doc}{value}")
    lines += ["", "Kinds of input (what the value says):"]
    for step in INPUT_KINDS.values():
        lines.append(f"  {step.name:<16} {step.doc} [{step.value}, 0 .. {step.top:g}]")
    return "\n".join(lines)
