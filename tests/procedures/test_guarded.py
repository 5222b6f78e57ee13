"""What is not guarded: one line, nothing left out, nothing too much."""

import pytest
from rodbench.bench.guarded import not_guarded
from rodbench_protocol.settings import defaults

BOARD = defaults("board")
SOUND = defaults("axis") | {"feedback": 1, "calibrated": 1, "current_sensor": 1, "stop_by": 0}
ALL_BOARD = BOARD | {
    "supply_calibrated": 1,
    "supply_low_mv": 10_500,
    "supply_high_mv": 15_000,
    "stop_input": 1,
}
ALL_AXIS = SOUND | {"following_um": 5_000, "rated_ma": 1_500}


@pytest.mark.parametrize(
    ("axis", "said", "unsaid"),
    [
        (
            {},
            ["supply (no", "stop input (not wired)", "falling behind", "motor heat"],
            ["over-current", "soft stops"],
        ),
        ({"current_sensor": 0}, ["over-current, and a stall by its current (no sensor)"], ["soft"]),
        ({"current_sensor": 2}, [], ["over-current"]),
        ({"calibrated": 0}, ["soft stops (not calibrated)"], ["coasts"]),
        ({"stop_by": 1}, ["soft stops (the driver coasts)"], ["over-current"]),
        ({"feedback": 2, "calibrated": 0}, ["soft stops (no pot"], ["not calibrated"]),
    ],
)
def test_each_absent_guard_is_named(
    axis: dict[str, int], said: list[str], unsaid: list[str]
) -> None:
    line = not_guarded(BOARD, SOUND | axis)
    assert line.startswith("Not guarded: ")
    assert "\n" not in line
    assert all(part in line for part in said)
    assert not any(part in line for part in unsaid)


@pytest.mark.parametrize(
    ("board", "axis", "said"),
    [
        ({"supply_calibrated": 0}, {}, "supply (no meter reading entered)"),
        ({"supply_low_mv": 0}, {}, "low supply (no limit set)"),
        ({"supply_high_mv": 0}, {}, "high supply (no limit set)"),
        ({"supply_low_mv": 0, "supply_high_mv": 0}, {}, "low and high supply (no limit set)"),
        ({"stop_input": 0}, {}, "stop input (not wired)"),
        ({}, {"following_um": 0}, "falling behind (no following_mm)"),
        ({}, {"rated_ma": 0}, "motor heat (rated current unknown)"),
    ],
)
def test_one_guard_that_is_off_is_all_that_is_said(
    board: dict[str, int], axis: dict[str, int], said: str
) -> None:
    assert not_guarded(ALL_BOARD | board, ALL_AXIS | axis) == f"Not guarded: {said}."


def test_with_all_on_it_says_that_this_is_no_safety_function() -> None:
    line = not_guarded(ALL_BOARD, ALL_AXIS)
    assert "Not guarded" not in line
    assert "safety function" in line


def test_a_board_of_an_older_firmware_is_said_to_lack_what_it_lacks() -> None:
    new = ("supply_low_mv", "supply_high_mv", "stop_input", "following_um", "rated_ma")
    board = {key: value for key, value in ALL_BOARD.items() if key not in new}
    axis = {key: value for key, value in ALL_AXIS.items() if key not in new}
    line = not_guarded(board, axis)
    for part in ("supply", "stop input (not read by this firmware", "motor heat", "falling behind"):
        assert part in line
