"""Pins: one source, nothing stale, and the pins that the design promises."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib

from tests.board.build import FIRMWARE

PINS = tomllib.loads((FIRMWARE / "pins.toml").read_text("utf-8"))["pin"]


def test_nothing_is_stale() -> None:
    done = subprocess.run(
        [sys.executable, FIRMWARE / "pins.py", "--check"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr


def test_chip_places_are_those_of_the_board() -> None:
    # Uno and Nano pinout: D0-7 are PD0-7, D8-13 PB0-5, A0-5 PC0-5. Source: variants/standard/
    # pins_arduino.h of Debian's arduino-core-avr, read when this was written.
    for pin in PINS:
        number = int(pin["pin"][1:])
        if pin["pin"].startswith("D"):
            assert (pin["port"], pin["bit"]) == (("D", number) if number < 8 else ("B", number - 8))
        elif number < 6:
            assert (pin["port"], pin["bit"], pin["adc"]) == ("C", number, number)


def test_places_on_the_board_are_those_of_the_design() -> None:
    place = {pin["c"]: pin["pin"] for pin in PINS}
    assert [place[f"AXIS{n}_{line}"] for n in (1, 2) for line in ("A", "B", "PWM")] == [
        "D4", "D5", "D9", "D6", "D7", "D10",
    ]  # fmt: skip
    assert [place[n] for n in ("POT1", "POT2", "CURRENT1", "CURRENT2", "SUPPLY")] == [
        "A0", "A1", "A2", "A3", "A4",
    ]  # fmt: skip
    assert place["ALARM"] == "D13"


def test_picture_shows_every_wire_of_an_axis() -> None:
    picture = (FIRMWARE / "wiring.svg").read_text("utf-8")
    words = re.findall(r">([^<]+)</text>", picture)
    for pin in ("D4", "D5", "D6", "D7", "D9", "D10", "A0", "A1", "A2", "A3", "A4"):
        assert words.count(pin) == 1, pin
    assert words.count("10 k") == 7  # six pull-downs and the divider's lower half
    assert words.count("470 k bleed") == 2
    assert "fuse" in words
    assert "stop: cuts motor power" in words
