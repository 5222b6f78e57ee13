"""Figures of the ATmega328P that the firmware and its README rest on, against published values.

Sources, named beside each check. Pages of the data sheets were read by people; nothing is fetched.
"""

from __future__ import annotations

import math
import re
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
AVR = ROOT / "firmware_reference" / "src" / "avr"
README = (ROOT / "firmware_reference" / "README.md").read_text()
F_CPU = 16_000_000
TICK_S = 5e-3
YEAR_S = 365.25 * 86_400


def define(name: str, file: str) -> str:
    """The value of a #define in the AVR layer, or beside it."""
    found = re.search(rf"#define {name}\s+\(*([0-9A-Za-z]+?)[uUlL]*\)*\s*(?:/\*|$)",
                      (AVR / file).read_text(), re.M)  # fmt: skip
    assert found, f"{name} is not in {file}"
    return found[1]


def ubrr_by_baud() -> dict[int, tuple[int, int]]:
    """(UBRR, clock cycles per bit of the divider) for each baud rate that uart.c knows."""
    text = (AVR / "uart.c").read_text()
    blocks = re.findall(
        r"BOARD_BAUD == (\d+)UL\n#define UBRR_VALUE (\d+)u.*\n#define SPEED_BITS (.+)", text
    )
    return {int(b): (int(u), 8 if "U2X0" in speed else 16) for b, u, speed in blocks}


# Baud, UBRR, divider, error in percent as printed to one decimal. Source: Atmel ATmega48/88/168
# data sheet 2545D, table 84, and ATmega640 2549A, table 109, columns for 16 MHz; that the 328P has
# the same table is from memory.
PRINTED = {(250_000, 16): (3, 0.0), (115_200, 8): (16, 2.1)}


@pytest.mark.parametrize("baud", [250_000, 115_200])
def test_baud_rates_are_those_of_the_data_sheet(baud: int) -> None:
    ubrr, divider = ubrr_by_baud()[baud]
    printed_ubrr, printed_error = PRINTED[baud, divider]
    error = (F_CPU / (divider * (ubrr + 1)) / baud - 1) * 100  # Atmel-8271H, 20.10
    assert ubrr == printed_ubrr
    assert round(error, 1) == printed_error


def test_only_the_default_rate_lies_within_the_recommended_error() -> None:
    # Recommended greatest receiver error for 8 data bits: 2.0 % (U2X = 0), 1.5 % (U2X = 1).
    # Source: Microchip DS40002061A, section 20.8.3, tables 20-2 and 20-3.
    recommended = {16: 2.0, 8: 1.5}
    within = {}
    for baud, (ubrr, divider) in ubrr_by_baud().items():
        error = abs(F_CPU / (divider * (ubrr + 1)) / baud - 1) * 100
        within[baud] = error <= recommended[divider]
    assert within == {250_000: True, 115_200: False}
    assert "115 200 is 2.1 % off and outside the chip's recommended 1.5 %" in README


def test_setbaud_of_avr_libc_agrees() -> None:
    """avr-libc's own reckoning of the divider (util/setbaud.h), by its preprocessor."""
    if not shutil.which("avr-gcc"):
        pytest.fail("avr-gcc is missing. Try: apt install gcc-avr avr-libc")
    for baud, (ubrr, divider) in ubrr_by_baud().items():
        twice = 1 if divider == 8 else 0
        source = f"""#define F_CPU {F_CPU}UL\n#define BAUD {baud}UL\n#define BAUD_TOL 3
#include <util/setbaud.h>
_Static_assert(UBRR_VALUE == {ubrr} && USE_2X == {twice}, "differs");"""
        done = subprocess.run(
            ["avr-gcc", "-mmcu=atmega328p", "-fsyntax-only", "-x", "c", "-"],
            input=source, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr


def test_converter_clock_is_within_the_range_for_full_resolution() -> None:
    # 50 to 200 kHz for ten bits; 13 clocks a conversion. Source: Atmel-8271H, section 24.4.
    assert "PRESCALE_128" in (AVR / "adc.c").read_text()
    clock = F_CPU / 128
    assert 50e3 <= clock <= 200e3
    assert 13 / clock == pytest.approx(104e-6)


def test_source_resistances_stay_within_the_converters_wish() -> None:
    # "about 10 kohm or less". Source: ADC chapter, "Analog Input Circuitry", read in the ATmega169P
    # and other AVR data sheets; section 24.6.1 of the 328P's has the same text (memory).
    wish = 10e3
    pot, series = 10e3, 1e3
    worst_pot = (
        max(x / 100 * (1 - x / 100) * pot for x in range(101)) + series
    )  # Thevenin, R x (1-x)
    assert worst_pot == pytest.approx(3.5e3)
    divider = 47e3 * 10e3 / (47e3 + 10e3)
    assert worst_pot <= wish
    assert divider <= wish
    assert (wish - series) * 4 >= 35e3  # the largest pot that README.md allows
    for figure in ("3.5 kΩ at mid travel", "8.2 kΩ", "up to 35 kΩ"):
        assert figure in README


def test_filter_corners_of_the_readme() -> None:
    def corner(ohm: float, farad: float) -> float:
        return 1 / (2 * math.pi * ohm * farad)  # first-order low-pass, any textbook

    assert corner(1e3, 10e-9) == pytest.approx(16e3, rel=0.01)
    assert corner(3.5e3, 10e-9) == pytest.approx(4.5e3, rel=0.02)
    assert corner(1e3, 100e-9) == pytest.approx(1.6e3, rel=0.01)
    assert corner(8246, 100e-9) == pytest.approx(190, rel=0.02)
    for figure in ("16 kHz to 4.5 kHz", "1.6 kHz", "190 Hz"):
        assert figure in README


def test_bleed_of_an_open_wiper() -> None:
    # Loading of a pot by RL: V/V0 = x / (1 + x(1-x) R/RL), worst about (4/27) R/RL of full scale
    # (Thevenin). 470 kohm on 10 kohm.
    worst = max(x - x / (1 + x * (1 - x) * 10e3 / 470e3) for x in (n / 1000 for n in range(1001)))
    assert 0.0030 < worst < 0.0032
    assert "at most 0.32 %" in README
    assert pytest.approx(25e-3, rel=0.07) == 5 * 470e3 * 10e-9
    assert "within about 25 ms" in README


def test_pwm_is_exactly_twenty_kilohertz_with_both_extremes() -> None:
    # f = fclk / (2 N TOP), phase correct; OCR = BOTTOM is always low, OCR = TOP always high.
    # Source: Microchip DS40002011A, p. 180 (extremes and, for the ATmega48PA, the formula).
    top = int(define("DRIVE_TOP", "drive.h"))
    assert F_CPU / (2 * 1 * top) == 20_000
    compare = [(2 * permille + 2) // 5 for permille in range(1001)]
    assert compare[0] == 0
    assert compare[1000] == top
    assert max(abs(c * 1000 / top - p) for p, c in enumerate(compare)) <= 1.5  # permille


def test_tick_is_exactly_five_milliseconds() -> None:
    counts, halves = (
        int(define("COUNTS", "timebase.c")),
        int(define("TIMEBASE_PER_TICK", "timebase.h")),
    )
    assert counts * 32 * halves == F_CPU * 5 // 1000


def lasts(at: int) -> str:
    """What the README's table of the EEPROM says of the record at this byte."""
    row = re.search(rf"^\| {at} \|.*\| (.+) \|$", README, re.M)
    assert row, f"the README tells nothing of byte {at}"
    return row[1]


def test_endurance_figures_of_the_readme() -> None:
    # 100 000 EEPROM writes a cell. Source: Atmel-8271I, p. 1. Two slots take turns.
    writes = 100_000 * 2
    assert writes / 365.25 > 500
    assert round(writes / 60 / 24) == 139
    assert lasts(1) == "one a day: 500 years; one a minute: 139 days"
    # 3.4 ms a byte, erase and write: table 8-1 of the 328P, quoted on arduino.stackexchange.
    assert "about 3.4 ms" in README
    assert 3.4e-3 < 5e-3


def records(file: str) -> float:
    """How many until a cell is worn: the check byte is written twice for each."""
    return 100_000 / 2 * int(define("PLACES", f"../core/{file}.c"))


def test_endurance_of_the_hot_record() -> None:
    ahead = round(int(define("AHEAD", "../core/hot.c")) * TICK_S)
    hot = records("hot")
    output, shared = f"{hot * ahead / 86_400:.0f} days", f"{hot * ahead / 0.25 / YEAR_S:.1f} years"
    mask = re.search(r"core->tick & 0x(\w+)", (AVR / "../core/hot.c").read_text())
    assert mask
    rest = (int(mask[1], 16) + 1) * TICK_S
    assert f"each {ahead} s of output, at rest every {rest / 60:.0f} minutes" in README
    assert lasts(657) == (
        f"{ahead} s each: {output} of output, {shared} at a share of a quarter, night and day; "
        f"at rest alone {int(hot * rest / YEAR_S)} years"
    )


def test_endurance_of_totals_and_trips() -> None:
    totals = 100_000 / 2 * 2  # "number % 2": two places
    assert "number % 2 ?" in (AVR / "../core/totals.c").read_text()
    pause = int(define("PAUSE", "../core/totals.c")) * 2 * TICK_S  # of two ticks each
    assert lasts(817) == (
        f"forty times a day: {totals / 40 / 365.25:.1f} years; "
        f"every {pause / 60:.0f} minutes, night and day: {totals * pause / YEAR_S:.1f} years"
    )
    assert lasts(873) == f"one an hour: {int(records('trips') * 3600 / YEAR_S)} years"


def test_brown_out_levels_of_the_readme() -> None:
    # BODLEVEL 101: 2.7 V, 100: 4.3 V (typical). Source: DS40001906C, tables 33-6 and 33-7 (328PB).
    assert {0xFD & 7: "2.7 V", 0xFC & 7: "4.3 V"} == {0b101: "2.7 V", 0b100: "4.3 V"}
    for figure in ("0xFD", "2.7 V", "efuse:w:0xFC", "4.3 V"):
        assert figure in README
    boards = Path("/usr/share/arduino/hardware/arduino/avr/boards.txt")  # Debian's arduino-core-avr
    if not boards.exists():
        pytest.fail(f"{boards} is missing. Try: apt install arduino-core-avr")
    assert "uno.bootloader.extended_fuses=0xFD" in boards.read_text()


def test_watchdog_period() -> None:
    # 2048 x 2^k cycles of 128 kHz, k = 1: 32 ms. Source: Atmel 2545T, table 11-2 (48/88/168).
    assert "PERIOD_32_MS BIT(WDP0)" in (AVR / "watchdog.c").read_text()
    assert 2048 * 2 / 128_000 == 0.032
