"""The rod of the default machine: settings that suit it, its endpoints and direction aside."""

from __future__ import annotations

NORTH = {
    "feedback": 1,
    "calibrated": 1,
    "stroke_um": 203_000,
    "soft_stop_min_um": 5_000,
    "soft_stop_max_um": 198_000,
    "speed_max_um_s": 7_000,
    "creep_speed_um_s": 1_400,
    "full_speed_extend_um_s": 8_050,
    "full_speed_retract_um_s": 8_550,
    "speed_supply_mv": 12_430,
    "dead_zone_extend_permille": 160,
    "dead_zone_retract_permille": 110,
    "run_on_extend_um": 400,
    "run_on_retract_um": 400,
    "running_ma": 1_400,
    "trip_ma": 3_400,
}
