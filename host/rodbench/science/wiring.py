"""What goes where between board, H-bridge, sensors and rod, for each kind of driver.

Words and pins only; a test holds the pins equal to the firmware's own table. Filters, pull-downs
and what a bridge does are calculated or common practice (no source), not measured.
"""

from __future__ import annotations

from dataclasses import dataclass

# Board of kind atmega328p-5v: what a pin is for -> its name on the board.
PINS = {
    "AXIS1_PWM": "D9",
    "AXIS1_A": "D4",
    "AXIS1_B": "D5",
    "AXIS2_PWM": "D10",
    "AXIS2_A": "D6",
    "AXIS2_B": "D7",
    "POT1": "A0",
    "POT2": "A1",
    "CURRENT1": "A2",
    "CURRENT2": "A3",
    "SUPPLY": "A4",
    "STOP_INPUT": "D8",
}
SERIES_OHM = 220.0  # in the pot's 5 V feed
BOARD_V = 5.0
SUPPLY_READS_V = BOARD_V * (47.0 + 10.0) / 10.0  # by the divider at its pin
PULL_DOWN = "10 kohm to ground"
IN_RESET = "input, held low"

DRIVERS = (
    "pwm-and-two-direction-lines",
    "pwm-and-one-direction-line",
    "two-pwm-inputs",
    "pwm-input-and-line",
)
SENSORS = ("none", "one-sided", "centred")
RELAYS = (
    "relays are refused: they switch full power only, so that nothing can creep. Ends would be "
    "hit at full speed, no soft stop could be kept, and a contact that welds keeps driving"
)


@dataclass(frozen=True, slots=True)
class Connection:
    """One wire: from a pin (or the supply), through what, to what, and the pin in reset."""

    pin: str
    to: str
    through: str = ""
    in_reset: str = ""


@dataclass(frozen=True, slots=True)
class State:
    """Levels on the driver's lines, in their order, and what the motor does."""

    name: str
    levels: tuple[str, ...]
    motor: str


@dataclass(frozen=True, slots=True)
class Driver:
    """One kind of driver on one axis: lines as (pin, input of the bridge), states, remarks."""

    kind: str
    lines: tuple[tuple[str, str], ...]
    states: tuple[State, ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Wired:
    """The connections of one axis."""

    axis: int
    driver: Driver
    sensor: str
    pot: bool
    connections: tuple[Connection, ...]
    remarks: tuple[str, ...]
    stop_input: bool = False


def driver_of(kind: str, axis: int) -> Driver:
    """The recipe of a driver. Raises ValueError with the reason where it cannot be."""
    if kind not in DRIVERS:
        raise ValueError(f"'{kind}' is no driver known here: {', '.join(DRIVERS)}")
    pwm, a, b = (PINS[f"AXIS{axis}_{line}"] for line in ("PWM", "A", "B"))
    if kind == "two-pwm-inputs":
        if axis != 1:
            raise ValueError("two-pwm-inputs takes both PWM pins: it serves axis 1 alone")
        return _two_pwm_inputs(PINS["AXIS1_PWM"], PINS["AXIS2_PWM"])
    if kind == "pwm-input-and-line":
        return _pwm_input_and_line(pwm, a)
    if kind == "pwm-and-one-direction-line":
        return _one_direction_line(pwm, a)
    return _two_direction_lines(pwm, a, b)


def _two_direction_lines(pwm: str, a: str, b: str) -> Driver:
    return Driver(
        "pwm-and-two-direction-lines",
        ((pwm, "enable"), (a, "direction A"), (b, "direction B")),
        (
            State("off", ("low", "low", "low"), "coasts"),
            State("brake", ("high", "low", "low"), "brakes: shorted by the bridge"),
            State("drive +", ("PWM", "high", "low"), "drives; coasts between pulses"),
            State("drive -", ("PWM", "low", "high"), "drives back; coasts between pulses"),
        ),
        (
            "The bridge must brake with enable high and both directions low: read its sheet.",
            "A bridge with bootstrap high sides needs pauses: output_max = 0.95.",
        ),
    )


def _one_direction_line(pwm: str, a: str) -> Driver:
    return Driver(
        "pwm-and-one-direction-line",
        ((pwm, "PWM"), (a, "direction")),
        (
            State("off", ("low", "any"), "brakes or coasts, as this bridge does"),
            State("brake", ("low", "any"), "the same: there is no other rest"),
            State("drive +", ("PWM", "high"), "drives; rests between pulses as above"),
            State("drive -", ("PWM", "low"), "drives back; rests between pulses as above"),
        ),
        (
            "One rest only: look in the bridge's sheet what it does while PWM is low.",
            'If it coasts, say stop_by = "coast": the soft stops are then no promise.',
        ),
    )


_SWAPPED = "Some such bridges swap off and brake: read its sheet, and look with the motor free."


def _two_pwm_inputs(first: str, second: str) -> Driver:
    return Driver(
        "two-pwm-inputs",
        ((first, "input 1"), (second, "input 2")),
        (
            State("off", ("low", "low"), "coasts"),
            State("brake", ("high", "high"), "brakes: shorted by the bridge"),
            State("drive +", ("PWM", "low"), "drives; coasts between pulses"),
            State("drive -", ("low", "PWM"), "drives back; coasts between pulses"),
        ),
        (
            "It costs the second axis: both PWM pins are taken, axis 2 stays not fitted.",
            "For two axes with such bridges take pwm-input-and-line.",
            _SWAPPED,
        ),
    )


def _pwm_input_and_line(pwm: str, a: str) -> Driver:
    return Driver(
        "pwm-input-and-line",
        ((pwm, "input 1"), (a, "input 2")),
        (
            State("off", ("low", "low"), "coasts"),
            State("brake", ("high", "high"), "brakes: shorted by the bridge"),
            State("drive +", ("PWM", "low"), "drives; coasts between pulses"),
            State("drive -", ("PWM inverted", "high"), "drives back; brakes between pulses"),
        ),
        (
            "The two ways differ: + coasts between pulses, - brakes. Speeds, dead zones and "
            "run-on are measured each way, so this is known to the board.",
            _SWAPPED,
        ),
    )


# ---------------------------------------------------------------- the whole axis


def wired(
    axis: int, kind: str, sensor: str, ratiometric: bool, pot: bool, stop_input: bool = False
) -> Wired:
    """All connections of an axis (1 or 2); with `stop_input`, those of a contact that the board
    reads. Raises ValueError with the reason where it cannot be."""
    driver = driver_of(kind, axis)
    rows = [
        Connection(pin, f"H-bridge {axis}, {to}", PULL_DOWN, IN_RESET) for pin, to in driver.lines
    ]
    rows += _pot_rows(axis) if pot else []
    rows += [] if sensor == "none" else [_sensor_row(axis, sensor)]
    rows += [_STOP_ROW] if stop_input else []
    rows += _supply_rows(axis)
    remarks = [*driver.remarks, *_sensor_remarks(sensor, ratiometric)]
    remarks += _pot_remarks() if pot else [_NO_POT]
    return Wired(axis, driver, sensor, pot, tuple(rows), tuple(remarks), stop_input)


def _pot_rows(axis: int) -> list[Connection]:
    return [
        Connection("5V", f"pot {axis}, one end", f"{SERIES_OHM:.0f} ohm, 1/4 W, at the board"),
        Connection("GND", f"pot {axis}, other end"),
        Connection(
            PINS[f"POT{axis}"],
            f"pot {axis}, wiper",
            "1 kohm; 10 nF to ground at the pin; 470 kohm to ground at the wiper",
            "input",
        ),
    ]


def _sensor_row(axis: int, sensor: str) -> Connection:
    where = (
        "in one motor lead" if sensor == "centred" else "in the bridge's ground lead, or its own"
    )
    return Connection(
        PINS[f"CURRENT{axis}"],
        f"current sensor {axis}, output ({where})",
        "1 kohm; 100 nF to ground at the pin",
        "input",
    )


def _supply_rows(axis: int) -> list[Connection]:
    return [
        Connection(
            PINS["SUPPLY"],
            "motor supply +, behind the fuse",
            "47 kohm; 10 kohm and 100 nF to ground at the pin",
            "input",
        ),
        Connection("supply +", f"H-bridge {axis}, motor supply", "fuse, then the stop switch"),
        Connection("supply -", f"H-bridge {axis}, ground; board GND", "one point, at the supply"),
        Connection(
            f"bridge {axis}", "motor, two leads, twisted", "either way: polarity settles it"
        ),
    ]


_STOP_ROW = Connection(
    PINS["STOP_INPUT"],
    "second contact of the stop switch, other side to GND",
    "normally closed",
    "input",
)
_NO_POT = 'No pot: feedback = "none". Soft stops and moves to a position are not possible.'


def _sensor_remarks(sensor: str, ratiometric: bool) -> list[str]:
    if sensor == "none":
        return ["No current sensor: no trip, no stall by current; ends by no motion alone."]
    if sensor == "one-sided":
        lines = ["One-sided sensor: its output must rise with current of either direction."]
    else:
        lines = ["Centred sensor: rests near half its supply; the board takes the size."]
    if ratiometric:
        lines.append("Ratiometric: feed it from the board's own 5V, as the converter is.")
    return lines


def _pot_remarks() -> list[str]:
    worst = 1000.0 * short_current_a()
    spans = " and ".join(f"{100 * (1 - span_kept(k * 1000.0)):.1f} % ({k} kohm)" for k in (10, 5))
    return [
        f"{SERIES_OHM:.0f} ohm in the 5 V feed: a wiper on the wrong pin then draws at most "
        f"{worst:.0f} mA from the board, at the end of travel. It costs {spans} of the span.",
        "470 kohm: an open wiper reads 0 instead of anything.",
    ]


CAUTIONS = (
    "The fuse sits at the supply's end of the wire: no firmware saves a shorted bridge.",
    "The stop switch cuts motor power. D8 is no emergency stop: it only asks the firmware to stop.",
    "A rod that its load can push back needs a mechanical brake.",
    "Wire with the supply off. Keep pot wires away from the motor's, and twist those.",
    "Local codes and those licensed for the work come first.",
)


STOP = (
    "Stop switch: in supply +, behind the fuse and ahead of every bridge, so that one switch cuts "
    "the motor power of all rods. Latching, opened by force, within reach of all who come near.",
    "Its contact breaks direct current: rated for the supply's volts and the stall current of all "
    "rods as DC, which is far less than what stands there for AC; else a contactor.",
    "The board keeps its own supply, so that it can still tell what happened. The board's stop "
    "input (D8) is no emergency stop. A second contact of the switch may go there, so that nothing "
    "starts when power comes back.",
)
SWITCH_CAUTIONS = (
    "Nothing stops the rod but your hand on the switch: no soft stop, no trip, no duty.",
    "Stay out of its way, and let it rest: a motor for 25 % duty runs 5 minutes in 20.",
)

# ---------------------------------------------------------------- the series resistor


def short_current_a(series_ohm: float = SERIES_OHM, supply_v: float = BOARD_V) -> float:
    """Greatest current in A from the board's 5 V with a wiper on an end lead's pin: at the end of
    travel the track adds nothing (Ohm's law)."""
    return supply_v / series_ohm


def swapped_current_a(
    place: float, pot_ohm: float, wiper_on: str, series_ohm: float = SERIES_OHM
) -> float:
    """Current in A from the board's 5 V, wiper at `place` (0..1 from the grounded end) and its
    lead changed with that of the "supply" or the "ground" end (Ohm's law; the input draws none)."""
    track = place * pot_ohm if wiper_on == "supply" else (1.0 - place) * pot_ohm
    return BOARD_V / (series_ohm + track)


def series_power_w(series_ohm: float = SERIES_OHM, supply_v: float = BOARD_V) -> float:
    """Greatest power in W that the series resistor turns to heat: U^2 / R."""
    return supply_v**2 / series_ohm


def span_kept(pot_ohm: float, series_ohm: float = SERIES_OHM) -> float:
    """Share of the converter's span that a pot keeps behind the resistor (a voltage divider)."""
    return pot_ohm / (pot_ohm + series_ohm)
