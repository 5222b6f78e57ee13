"""A small machine of invented figures, with the port as its board."""

from __future__ import annotations

from rodbench.emulator.plant_file import Machine, parse

STROKE_MM = 40.0
POT_RETRACTED, POT_EXTENDED = 0.85, 0.15
V_PER_A = 0.3

PLANT = f"""
plant_file = 1
name = "posix test"
seed = 11
[board]
kind = "posix-3v3"
boot_ms = 50.0
[axes.1]
name = "north"
stroke_mm = {STROKE_MM}
start_mm = 15.0
[axes.1.motor]
resistance_ohm = 2.4
constant_v_s_per_mm = 0.9
friction_extend_a = 0.7
friction_retract_a = 0.6
reversed = true
[axes.1.ends]
kind = "switch"
[axes.1.pot]
retracted = {POT_RETRACTED}
extended = {POT_EXTENDED}
noise_lsb = 1.6
[axes.1.sensor]
kind = "one-sided"
v_per_a = {V_PER_A}
noise_lsb = 1.6
"""


def machine() -> Machine:
    """The machine, fresh. Noise is in steps of its own, finer converter."""
    return parse(PLANT, "posix test")


def settings() -> dict[str, int]:
    """What a calibration of it would give."""
    return {
        "feedback": 1,
        "calibrated": 1,
        "motor_reversed": 1,
        "raw_retracted": round(POT_RETRACTED * 8190),
        "raw_extended": round(POT_EXTENDED * 8190),
        "stroke_um": round(1000 * STROKE_MM),
        "soft_stop_min_um": 2_000,
        "soft_stop_max_um": 38_000,
        "speed_max_um_s": 8_000,
        "acceleration_um_s2": 40_000,
        "deceleration_um_s2": 40_000,
        "creep_speed_um_s": 2_500,
        "current_uv_per_ma": round(1000 * V_PER_A),
        "trip_ma": 4_000,
        "running_ma": 1_200,
        "full_speed_extend_um_s": 11_000,
        "full_speed_retract_um_s": 11_000,
        "run_on_extend_um": 500,
        "run_on_retract_um": 500,
        "pot_margin_raw": 200,
        "duty_share_permille": 1000,
    }
