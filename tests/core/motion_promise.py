"""Random rods through the C core's axis, by a plant of our own: is the soft stops' promise kept?

    python tests/core/motion_promise.py 2000        figures, for three kinds of rod and noise

The settings come from the plant's own figures, each with an error such as a calibration makes.
"""

from __future__ import annotations

import argparse
import ctypes
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[2]))

from rodbench_protocol import settings
from rodbench_protocol.names import AxisState, Ended

from tests.core import native
from tests.core.axis_probe import MODULES

PROMISE = native.HARNESS / "promise"
PLANT_FIELDS = (
    *("stroke_mm", "no_load_mm_s", "response_s", "friction", "stiction", "load", "aided", "sag"),
    *("supply_v", "pot_retracted", "pot_extended", "noise_lsb", "correlated", "stall_a"),
    *("volt_per_a", "driver_brakes", "switched", "one_way"),
)
RESULT_FIELDS = (
    *("kind", "ended", "cause", "distance_mm", "ideal_s", "arrived_s", "ended_s", "inside_s"),
    *("error_mm", "past_mm", "on_ticks", "speed_mm_s", "inches"),
)
REFUSED = 100  # added to the status
Table = dict[str, NDArray[np.float64]]
KINDS = (
    ("braking, white noise", 0.0, True),
    ("braking, half of the noise power with a time constant of 50 ms", 0.5, True),
    ("coasting, white noise (no promise)", 0.0, False),
)


class Plant(ctypes.Structure):
    """plant_params_t."""

    _fields_ = (*((name, ctypes.c_double) for name in PLANT_FIELDS), ("seed", ctypes.c_uint64))


def build() -> ctypes.CDLL:
    """Plant, trial and the axis half of the core as a shared library."""
    core = native.SOURCES / "core"
    files = [PROMISE / "plant.c", PROMISE / "trial.c", *(core / f"{name}.c" for name in MODULES)]
    flags = ("-I", str(core), "-O2", "-Wno-conversion", "-shared", "-fPIC", "-lm")
    library = ctypes.CDLL(str(native.compile_c(native.BUILD / "promise.so", files, *flags)))
    library.plant_full_speed.restype = ctypes.c_double
    library.plant_run_on.restype = ctypes.c_double
    return library


def random_plant(random: np.random.Generator, correlated: float, brakes: bool) -> Plant:
    """A rod of the kinds that builders have: 20-600 mm, 5-60 mm/s, full stroke in 4-40 s."""
    u = random.uniform
    stroke = float(np.exp(u(np.log(20), np.log(600))))
    speed = float(np.exp(u(np.log(max(5, stroke / 40)), np.log(min(60, stroke / 4)))))
    friction, stiction = u(0.04, 0.20), u(1.0, 1.3)
    load = u(0, min(0.30, 0.5 / stiction - friction))  # what creep at 60 % can start
    span = u(0.40, 0.98)
    low = u(0.01, 0.99 - span) if span < 0.98 else 0.01
    ends = (low, low + span) if random.random() < 0.5 else (low + span, low)
    return Plant(
        stroke_mm=stroke,
        no_load_mm_s=speed / (1 - friction - load),
        response_s=u(0.03, 0.10),
        friction=friction,
        stiction=stiction,
        load=load * random.choice([-1, 1]),
        aided=u(0.2 * friction, friction + load / 2),
        sag=u(0, 0.15),
        supply_v=random.choice([12.0, 24.0]),
        pot_retracted=ends[0],
        pot_extended=ends[1],
        noise_lsb=u(0, 2),
        correlated=correlated,
        stall_a=u(3, 8),
        volt_per_a=u(0.1, 0.3),
        driver_brakes=float(brakes),
        switched=float(random.random() < 0.5),
        one_way=float(random.random() < 0.5),
        seed=int(random.integers(1, 2**60)),
    )


def tick_noise(plant: Plant) -> float:
    """Raw, rms of a sum of 8 conversions: what is common to all 8 counts eightfold."""
    white = plant.noise_lsb**2 * (1 - plant.correlated) + 0.3**2
    return float(np.sqrt(8 * white + 64 * plant.noise_lsb**2 * plant.correlated))


def measured(library: ctypes.CDLL, plant: Plant, way: int) -> tuple[float, float, float]:
    """Full speed in mm/s, resistance as a share of stall, run-on in mm."""
    full = library.plant_full_speed(ctypes.byref(plant), way, ctypes.c_double(1.0))
    resists = plant.friction + abs(plant.load) if way * plant.load >= 0 else plant.aided
    share = ctypes.c_double(full / plant.no_load_mm_s)
    return full, resists, library.plant_run_on(ctypes.byref(plant), way, share)


def calibrated(library: ctypes.CDLL, plant: Plant, random: np.random.Generator) -> dict[str, int]:
    """Settings as the procedures would find them, each figure with an error."""
    values = settings.defaults("axis") | {"feedback": 1, "calibrated": 1, "trip_ms": 50}
    speeds, resists = [], []
    for way, name in ((1, "extend"), (-1, "retract")):
        full, resistance, run_on = measured(library, plant, way)
        values[f"full_speed_{name}_um_s"] = int(full * random.uniform(0.98, 1.02) * 1000)
        dead = int(resistance * 1000 * random.uniform(1.0, 1.15))
        values[f"dead_zone_{name}_permille"] = min(600, dead)
        values[f"run_on_{name}_um"] = min(60_000, int(run_on * random.uniform(0.9, 1.1) * 1000))
        speeds.append(full)
        resists.append(resistance)
    add_line(values, plant, random)
    add_creep(library, values, plant, random, max(resists))
    add_limits(values, plant, random, min(speeds), max(resists))
    return values


def add_line(values: dict[str, int], plant: Plant, random: np.random.Generator) -> None:
    """Endpoints, stroke and noise."""
    noise = tick_noise(plant)
    for name, end in (("retracted", plant.pot_retracted), ("extended", plant.pot_extended)):
        values[f"raw_{name}"] = round(end * 8192 - 4 + random.normal(0, noise / 4))
    values["stroke_um"] = int(plant.stroke_mm * 1000)
    values["noise_x16"] = max(1, round(noise * random.uniform(0.9, 1.1) * 16))


def add_creep(
    library: ctypes.CDLL,
    values: dict[str, int],
    plant: Plant,
    random: np.random.Generator,
    resists: float,
) -> None:
    """An output that starts the rod both ways, and the slower of the speeds that it gives."""
    creep = int(min(600, resists * 1.1 * 1000 * plant.stiction + random.uniform(80, 150)))
    at = ctypes.c_double(creep / 1000)
    slow = min(library.plant_full_speed(ctypes.byref(plant), way, at) for way in (1, -1))
    values["creep_output_permille"] = creep
    values["creep_speed_um_s"] = max(100, int(slow * random.uniform(0.95, 1.05) * 1000))


def add_limits(
    values: dict[str, int],
    plant: Plant,
    random: np.random.Generator,
    full: float,
    resists: float,
) -> None:
    """Soft stops, speed, ramps, trip: as a person with the proposal in hand may choose them."""
    speed = random.uniform(0.8, 0.9) * full
    up, down = random.uniform(0.15, 0.6), random.uniform(0.15, 0.5)
    stall = plant.stall_a * 1000
    peak = stall * min(resists + 0.09 / up, 0.95)
    values |= {
        "soft_stop_min_um": int(plant.stroke_mm * random.uniform(0.015, 0.08) * 1000),
        "soft_stop_max_um": int(plant.stroke_mm * random.uniform(0.92, 0.985) * 1000),
        "speed_max_um_s": int(speed * 1000),
        "acceleration_um_s2": int(speed / up * 1000),
        "deceleration_um_s2": int(speed / down * 1000),
        "stop_by": int(not plant.driver_brakes),
        "current_uv_per_ma": int(plant.volt_per_a * 1000),
        "trip_ma": int(max((peak + stall) / 2, resists * stall * 1.05)),
        "running_ma": int(resists * stall),
        "stall_time_ms": 300,
        "speed_supply_mv": int(plant.supply_v * 1000),
    }


def run_many(library: ctypes.CDLL, count: int, seed: int, correlated: float, brakes: bool) -> Table:
    """Every motion of `count` random rods, as columns."""
    rows = []
    for number in range(count):
        random = np.random.default_rng([seed, number])
        plant = random_plant(random, correlated, brakes)
        values = calibrated(library, plant, random)
        start = ctypes.c_double(plant.stroke_mm * random.uniform(0.1, 0.9))
        results = np.zeros((library.promise_motions(), len(RESULT_FIELDS)))
        library.promise_run(
            ctypes.byref(plant),
            settings.pack_scope("axis", values),
            start,
            results.ctypes.data_as(ctypes.c_void_p),
        )
        span = abs(values["raw_extended"] - values["raw_retracted"])
        noise_mm = tick_noise(plant) / span * plant.stroke_mm
        own = [(number, n, plant.stroke_mm, noise_mm) for n in range(len(results))]
        rows.append(np.hstack([results, np.array(own)])[results[:, 0] > 0])
    table = np.vstack(rows)
    names = (*RESULT_FIELDS, "rod", "order", "stroke_mm", "noise_mm")
    return {name: table[:, n] for n, name in enumerate(names)}


def allowed_mm(t: Table) -> NDArray[np.float64]:
    """How far past a soft stop the promise lets a rod go."""
    floor = np.maximum(0.2, t["stroke_mm"] * 0.001)
    return np.maximum(floor, 2 * t["noise_mm"])


def tolerance_mm(t: Table) -> NDArray[np.float64]:
    """How near to its target a move must rest."""
    return np.maximum(1.0, t["stroke_mm"] * 0.01)


def moves(t: Table) -> NDArray[np.bool_]:
    """Moves that were accepted."""
    accepted: NDArray[np.bool_] = (t["kind"] == AxisState.MOVE) & (t["ended"] < REFUSED)
    return accepted


def timed(t: Table) -> NDArray[np.bool_]:
    """Moves of at least a fifth of the stroke, the first motion aside."""
    return moves(t) & (t["order"] > 0) & (t["distance_mm"] >= t["stroke_mm"] / 5)


def broken(t: Table) -> dict[str, NDArray[np.bool_]]:
    """Motions that break a promise, by promise."""
    late = t["inside_s"] > 1.1 * t["ideal_s"]
    return {
        "past a soft stop": (t["past_mm"] > allowed_mm(t)) & (t["kind"] != AxisState.RUN),
        "past one in a run": (t["past_mm"] > allowed_mm(t)) & (t["kind"] == AxisState.RUN),
        "rest out of tolerance": moves(t) & (np.abs(t["error_mm"]) > tolerance_mm(t)),
        "not reached": moves(t) & (t["ended"] != Ended.REACHED),
        "guard tripped": t["ended"] == Ended.FAULT,
        "over 10 % late": timed(t) & late,
    }


def report(name: str, t: Table) -> None:
    """Figures of one kind."""
    print(f"{name}: {len(np.unique(t['rod']))} rods, {len(t['rod'])} motions")
    for promise, which in broken(t).items():
        rods = np.unique(t["rod"][which]).astype(int)
        print(f"  {promise:22} {which.sum():5} motions of {len(rods)} rods {rods[:6].tolist()}")
    past = (t["past_mm"] / allowed_mm(t)).max()
    rest = (np.abs(t["error_mm"]) / tolerance_mm(t))[moves(t)].max()
    ratio = (t["inside_s"] / t["ideal_s"])[timed(t)]
    to_output_0 = (t["arrived_s"] / t["ideal_s"])[timed(t)]
    print(f"  worst past {past:.2f} of what is allowed, worst rest {rest:.2f} of the tolerance")
    print(
        f"  {timed(t).sum()} timed moves, time by the ideal one: within the tolerance for good"
        f" median {np.median(ratio):.3f} worst {ratio.max():.2f};"
        f" output 0, creep included, median {np.median(to_output_0):.3f} worst"
        f" {to_output_0.max():.2f}"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("rods", type=int, nargs="?", default=2000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    library = build()
    for name, correlated, brakes in KINDS:
        report(name, run_many(library, options.rods, options.seed, correlated, brakes))
    return 0


if __name__ == "__main__":
    sys.exit(main())
