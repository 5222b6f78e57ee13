"""The linearity table: what a reading means; no soft stop is passed where it is steepest."""

from __future__ import annotations

import pytest
from rodbench_protocol.names import Ended, Status

from tests.core.axis_probe import UM_PER_RAW, Probe

# The rod of axis_probe has 8000 raw over 200 mm. This pot lags in the middle; 65536 is the whole.
TABLE = {
    "table_points": 3,
    "table_raw_1": 2100, "table_raw_2": 3940, "table_raw_3": 6100,
    "table_place_1": 16384, "table_place_2": 32768, "table_place_3": 49152,
}  # fmt: skip
BACKWARDS = {
    "raw_retracted": 8100, "raw_extended": 100,
    "table_raw_1": 6100, "table_raw_2": 4260, "table_raw_3": 2100,
}  # fmt: skip
WORTH = [  # raw, um by hand: 25 um a raw on the line; between points in proportion
    (100, 0), (1100, 25_000), (2100, 50_000), (3020, 75_000), (3940, 100_000),
    (5020, 125_000), (6100, 150_000), (7100, 175_000), (8100, 200_000), (8120, 200_500),
    (80, -500),
]  # fmt: skip


@pytest.mark.parametrize(("raw", "um"), WORTH)
def test_a_reading_is_worth_what_the_table_says(raw: int, um: int) -> None:
    with Probe(**TABLE) as axis:
        assert axis.tick(raw, count=2).position_um == pytest.approx(um, abs=UM_PER_RAW)
    with Probe(**TABLE | BACKWARDS) as axis:
        assert axis.tick(8200 - raw, count=2).position_um == pytest.approx(um, abs=UM_PER_RAW)


@pytest.mark.parametrize("points", [0, 8])
def test_a_table_on_the_line_changes_no_reading(points: int) -> None:
    raws = {f"table_raw_{n}": 100 + 888 * n for n in range(1, points + 1)}
    places = {f"table_place_{n}": -(-888 * n * 65536 // 8000) for n in range(1, points + 1)}
    for raw in range(90, 8111, 7):
        with Probe(**raws, **places, table_points=points) as axis:
            assert axis.tick(raw).position_um == (raw - 100) * UM_PER_RAW


def follow(axis: Probe, um: float, ticks: int) -> float:
    """The rod goes as its output tells it; the pot shows 2 % of stroke too little in the middle."""
    for _ in range(ticks):
        way = um / 200_000
        bent = 0.46 * way / 0.5 if way < 0.5 else 0.46 + 0.54 * (way - 0.5) / 0.5
        axis.tick(round(100 + 8000 * bent), 600 if axis.now.output else 0)
        push = max(abs(axis.now.output) - 200, 0) / 800 * 50
        um += push if axis.now.output > 0 else -push
    return um


STEEP = {"table_points": 1, "table_raw_1": 3780, "table_place_1": 32768}


@pytest.mark.parametrize("target", [40_000, 100_000, 160_000])
def test_a_move_rests_where_a_ruler_says(target: int) -> None:
    with Probe(**STEEP) as axis:
        um = follow(axis, 90_000.0, 30)
        assert axis.move(target) == Status.OK
        um = follow(axis, um, 4000)
        assert axis.now.ended == Ended.REACHED
        assert um == pytest.approx(target, abs=700)


@pytest.mark.parametrize(("sign", "stop"), [(1, 90_000), (-1, 70_000)])
def test_a_soft_stop_on_a_steep_piece_is_not_passed(sign: int, stop: int) -> None:
    limits = {"soft_stop_min_um": 70_000, "soft_stop_max_um": 90_000}
    with Probe(**STEEP, **limits) as axis:
        um = follow(axis, 80_000.0, 30)
        for _ in range(2):
            assert axis.jog(sign * 8000) == Status.OK
            um = follow(axis, um, 1500)
            assert axis.now.ended == Ended.SOFT_STOP
            assert sign * um < sign * stop
        assert abs(um - stop) < 2000


def test_with_a_table_noise_is_reckoned_twice() -> None:
    """A quiet rod that wanders by less than twice its noise and a raw is not moving off."""
    far = 3 * 16 * 4  # raw x 16, of a tick: the rod of these tests has half a raw
    plain, bent = Probe(noise_x16=far), Probe(noise_x16=far, **STEEP)
    for axis in (plain, bent):
        axis.tick(3020, count=400)
        axis.tick(3120, count=60)
    assert plain.now.faults != 0
    assert bent.now.faults == 0
