"""What PORTING.md shows is so: its example builds with the core's own warnings and ticks; its
tables are those that the port speaks; the files and figures that it names are there."""

from __future__ import annotations

import re
import struct
import subprocess
from pathlib import Path

import pytest
from rodbench_protocol.schema import load_schema

from tests.posix.build import FIRMWARE, ROOT
from tests.posix.process import IN
from tests.posix.process import OUT as OUT_RECORD

PAGE = (FIRMWARE / "PORTING.md").read_text("utf-8")
CODES = {"u8": "B", "u16": "H", "i16": "h", "u32": "I"}

# The calls that the page leaves to the reader, as a computer can play them: two seconds of ticks.
BOARD_H = """
#include <stdio.h>
#include <stdlib.h>
#include "core/port.h"
extern uint8_t memory[STORE_SIZE];
static int ticks;
static core_t *line;
static void board_outputs_off(void) { }
static void board_start_anew(void) __attribute__((noreturn));
static void board_start_anew(void) { puts("anew"); exit(0); }
static uint8_t board_memory_ready(void) { return 1; }
static uint8_t board_memory_read(uint16_t at) { return memory[at]; }
static void board_memory_write(uint16_t at, uint8_t value) { memory[at] = value; }
static void board_readings(readings_t *in) { in->pot[0] = 4000; in->supply = 2700; }
static void board_lines(uint8_t axis, uint8_t driver, uint8_t bridge, int16_t drive)
{
    (void)axis; (void)driver; (void)bridge; (void)drive;
}
static void board_alarm(uint8_t on) { (void)on; }
static void board_line_wake(void) { while (core_tx_byte(line) >= 0) { } }
static void board_watchdog_kick(void) { }
static uint8_t board_reset_flags(void) { return RESET_FLAG_POWER_ON; }
static uint16_t board_noise(void) { return 7; }
static void board_start(core_t *core) { line = core; }
static uint8_t board_wait_for_tick(void)
{
    if (++ticks > 400) { printf("tick %d\\n", (int)line->tick); exit(0); }
    return ticks % 100 == 0;
}
uint8_t memory[STORE_SIZE];
"""


def example() -> str:
    found = re.findall(r"```c\n(.*?)```", PAGE, re.S)
    assert len(found) == 1
    return found[0]


def test_the_example_builds_and_ticks(tmp_path: Path) -> None:
    (tmp_path / "board.h").write_text(BOARD_H)
    (tmp_path / "main.c").write_text(example())
    core = [str(f) for part in ("core", "generated") for f in (FIRMWARE / "src" / part).glob("*.c")]
    warnings = ["-Wall", "-Wextra", "-Wconversion", "-Werror"]
    words = ["gcc", "-std=c11", "-DCORE_KIND=POSIX_3V3", "-O1", *warnings]
    words += [f"-I{FIRMWARE}/src", f"-I{tmp_path}", str(tmp_path / "main.c"), *core]
    subprocess.run([*words, "-o", str(tmp_path / "port")], check=True)
    done = subprocess.run([tmp_path / "port"], capture_output=True, text=True, check=True)
    assert done.stdout == "tick 400\n"


@pytest.mark.parametrize(("head", "record"), [("From the board", OUT_RECORD), ("To the board", IN)])
def test_the_records_are_laid_out_as_the_page_says(head: str, record: struct.Struct) -> None:
    table = PAGE.split(f"| {head} | Offset | Type |\n")[1].split("\n\n")[0]
    rows = [[cell.strip() for cell in row.split("|")[1:-1]] for row in table.splitlines()[1:]]
    layout, end = "<", 0
    for _, offset, kind in rows:
        assert int(offset) == end
        layout += CODES[kind]
        end = struct.calcsize(layout)
    assert end == record.size
    numbers = [n % 100 for n in range(1, len(rows) + 1)]
    if head.startswith("From"):
        numbers[-1] = 0
        assert struct.pack(layout, *numbers) == record.pack(*numbers[:-1])
    else:
        assert struct.pack(layout, *numbers) == record.pack(*numbers)


def test_the_figures_of_the_kinds_are_the_schemas() -> None:
    kinds = load_schema().board_kinds
    for figure in ("axes", "adc_full_scale", "current_full_scale", "supply_full_scale",
                   "adc_reference_mv"):  # fmt: skip
        row = next(line for line in PAGE.splitlines() if line.startswith(f"| `{figure}`"))
        cells = [cell.strip().replace("x", "*") for cell in row.split("|")[3:5]]
        said = [eval(cell) for cell in cells]  # products of two numbers
        assert said == [getattr(kinds[n], figure) for n in ("atmega328p_5v", "posix_3v3")]


def test_the_files_that_it_names_are_there() -> None:
    named = set(re.findall(r"`((?:tests|src|protocol)/[\w/.]+)`", PAGE))
    assert len(named) > 8
    for name in named:
        assert (ROOT / name).exists() or (FIRMWARE / name).exists(), name
