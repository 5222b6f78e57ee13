"""Random rods through the C core's axis, by a plant of our own: is the promise of the soft stops kept?

    python tests/core/motion_promise.py 2000          # figures, several kinds of rod and noise

The settings come from the plant's own figures with errors as a calibration at the bench would make them.
"""

from __future__ import annotations

import argparse
import ctypes
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from rodbench_protocol import settings

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
CORE = ROOT / "firmware_reference" / "src" / "core"
SOURCES = ("axis", "position", "motion", "guard", "seek", "number", "div")
PLANT_FIELDS = (
    "stroke_mm no_load_mm_s response_s friction stiction load aided sag supply_v pot_retracted"
    " pot_extended noise_lsb correlated stall_a volt_per_a driver_brakes switched one_way"
).split()
RESULT_FIELDS = (
    "kind ended cause distance_mm ideal_s arrived_s ended_s inside_s error_mm past_mm"
    " on_ticks speed_mm_s inches"
).split()
MOVE, JOG, RUN = 6, 2, 3
REACHED, SOFT_STOP, FAULT = 2, 6, 8


class Plant(ctypes.Structure):
    _fields_ = [*((name, ctypes.c_double) for name in PLANT_FIELDS), ("seed", ctypes.c_uint64)]


def build(folder: Path) -> ctypes.CDLL:
    """Compile plant, trial and the axis half of the core into a shared library."""
    target = folder / "promise.so"
    sources = [HERE / "promise" / "plant.c", HERE / "promise" / "trial.c"]
    sources += [CORE / f"{name}.c" for name in SOURCES]
    command = ["gcc", "-std=gnu11", "-O2", "-Wall", "-Wextra", "-fwrapv", "-shared", "-fPIC"]
    command += ["-I", str(CORE), "-o", str(target), *map(str, sources), "-lm"]
    subprocess.run(command, check=True)
    library = ctypes.CDLL(str(target))
    library.plant_full_speed.restype = ctypes.c_double
    library.plant_run_on.restype = ctypes.c_double
    return library


def random_plant(random: np.random.Generator, correlated: float, brakes: bool) -> Plant:
    """A rod of the kinds that builders have: 20-600 mm, 5-60 mm/s, full stroke in 4-40 s."""
    u = random.uniform
    stroke = float(np.exp(u(np.log(20), np.log(600))))
    speed = float(np.exp(u(np.log(max(5, stroke / 40)), np.log(min(60, stroke / 4)))))
    friction = u(0.04, 0.20)
    stiction = u(1.0, 1.3)
    load = u(0, min(0.30, 0.5 / stiction - friction))  # what creep at 60 % can start
    span = u(0.40, 0.98)
    low = u(0.01, 0.99 - span) if span < 0.98 else 0.01
    ends = (low, low + span) if random.random() < 0.5 else (low + span, low)
    slower = 1 - friction - load
    return Plant(
        stroke_mm=stroke, no_load_mm_s=speed / slower, response_s=u(0.03, 0.10),
        friction=friction, stiction=stiction, load=load * random.choice([-1, 1]),
        aided=u(0.2 * friction, friction + load / 2), sag=u(0, 0.15),
        supply_v=random.choice([12.0, 24.0]), pot_retracted=ends[0], pot_extended=ends[1],
        noise_lsb=u(0, 2), correlated=correlated, stall_a=u(3, 8), volt_per_a=u(0.1, 0.3),
        driver_brakes=float(brakes), switched=float(random.random() < 0.5), one_way=float(random.random() < 0.5),
        seed=int(random.integers(1, 2**60)),
    )  # fmt: skip


def tick_noise(plant: Plant) -> float:
    """Raw, rms of a sum of 8 conversions: what is common to all 8 counts eightfold."""
    white = plant.noise_lsb**2 * (1 - plant.correlated) + 0.3**2
    return float(np.sqrt(8 * white + 64 * plant.noise_lsb**2 * plant.correlated))


def calibrated(library: ctypes.CDLL, plant: Plant, random: np.random.Generator) -> dict[str, int]:
    """Settings as the procedures would find them, each figure with an error."""
    about = lambda value, share: value * random.uniform(1 - share, 1 + share)  # noqa: E731
    full, dead, run_on = {}, {}, {}
    for way in (1, -1):
        full[way] = library.plant_full_speed(ctypes.byref(plant), way, ctypes.c_double(1.0))
        need = plant.friction + abs(plant.load) if way * plant.load >= 0 else plant.aided
        dead[way] = max(need, 0.0) * 1000 * random.uniform(1.0, 1.15)
        share = ctypes.c_double(full[way] / plant.no_load_mm_s)
        run_on[way] = library.plant_run_on(ctypes.byref(plant), way, share)
    creep = int(min(600, max(dead.values()) * plant.stiction + random.uniform(80, 150)))
    creep_speed = min(
        library.plant_full_speed(ctypes.byref(plant), way, ctypes.c_double(creep / 1000))
        for way in (1, -1)
    )
    noise = tick_noise(plant)
    speed = random.uniform(0.8, 0.9) * min(full.values())
    up, down = random.uniform(0.15, 0.6), random.uniform(0.15, 0.5)
    raw = [round(end * 8192 - 4 + random.normal(0, noise / 4))
           for end in (plant.pot_retracted, plant.pot_extended)]  # fmt: skip
    running = (plant.friction + abs(plant.load)) * plant.stall_a * 1000
    peak = running + plant.stall_a * 1000 * (0.1 / up) * 0.9
    values = settings.defaults("axis") | dict(
        feedback=1, calibrated=1, raw_retracted=raw[0], raw_extended=raw[1],
        stroke_um=int(plant.stroke_mm * 1000),
        soft_stop_min_um=int(plant.stroke_mm * random.uniform(0.015, 0.08) * 1000),
        soft_stop_max_um=int(plant.stroke_mm * random.uniform(0.92, 0.985) * 1000),
        speed_max_um_s=int(speed * 1000), acceleration_um_s2=int(speed / up * 1000),
        deceleration_um_s2=int(speed / down * 1000), creep_output_permille=creep,
        creep_speed_um_s=max(100, int(about(creep_speed, 0.05) * 1000)), stop_by=int(not plant.driver_brakes),
        current_uv_per_ma=int(plant.volt_per_a * 1000), current_zero=0,
        trip_ma=int(max((min(peak, plant.stall_a * 950) + plant.stall_a * 1000) / 2, running * 1.05)), trip_ms=50,
        running_ma=int(running), stall_time_ms=300,
        full_speed_extend_um_s=int(about(full[1], 0.02) * 1000),
        full_speed_retract_um_s=int(about(full[-1], 0.02) * 1000),
        speed_supply_mv=int(plant.supply_v * 1000),
        dead_zone_extend_permille=min(600, int(dead[1])), dead_zone_retract_permille=min(600, int(dead[-1])),
        run_on_extend_um=min(60000, int(about(run_on[1], 0.1) * 1000)),
        run_on_retract_um=min(60000, int(about(run_on[-1], 0.1) * 1000)),
        noise_x16=max(1, round(about(noise, 0.1) * 16)), pot_margin_raw=40,
    )  # fmt: skip
    return values


def run_one(library: ctypes.CDLL, plant: Plant, values: dict[str, int], start: float) -> np.ndarray:
    results = np.zeros((library.promise_motions(), len(RESULT_FIELDS)))
    library.promise_run(
        ctypes.byref(plant), settings.pack_scope("axis", values), ctypes.c_double(start),
        results.ctypes.data_as(ctypes.c_void_p),
    )  # fmt: skip
    return results


def run_many(
    library: ctypes.CDLL, count: int, seed: int, correlated: float, brakes: bool
) -> dict[str, Any]:
    """Every motion of `count` random rods, as columns; noise_mm and stroke_mm beside each."""
    rows, extra = [], []
    for number in range(count):
        random = np.random.default_rng([seed, number])
        plant = random_plant(random, correlated, brakes)
        values = calibrated(library, plant, random)
        start = plant.stroke_mm * random.uniform(0.1, 0.9)
        results = run_one(library, plant, values, start)
        span = abs(values["raw_extended"] - values["raw_retracted"])
        noise_mm = tick_noise(plant) / span * plant.stroke_mm
        used = results[:, 0] > 0
        rows.append(results[used])
        extra += [(number, n, plant.stroke_mm, noise_mm) for n in np.flatnonzero(used)]
    table = {name: np.vstack(rows)[:, n] for n, name in enumerate(RESULT_FIELDS)}
    for n, name in enumerate(("rod", "order", "stroke_mm", "noise_mm")):
        table[name] = np.array([line[n] for line in extra])
    return table


def verdict(t: dict[str, Any]) -> dict[str, Any]:
    """What the promise speaks of, counted."""
    allowed = np.maximum(np.maximum(0.2, t["stroke_mm"] * 0.001), 2 * t["noise_mm"])
    tolerance = np.maximum(1.0, t["stroke_mm"] * 0.01)
    move = (t["kind"] == MOVE) & (t["ended"] < 100)
    timed = move & (t["order"] > 0) & (t["distance_mm"] >= t["stroke_mm"] / 5)
    ratio = t["arrived_s"][timed] / t["ideal_s"][timed]
    inside = t["inside_s"][timed] / t["ideal_s"][timed]
    gone = np.isin(t["kind"], (MOVE, JOG))
    return dict(
        motions=len(move), refused=int((t["ended"] >= 100).sum()),
        past=np.unique(t["rod"][gone & (t["past_mm"] > allowed)]), past_run=np.unique(t["rod"][t["past_mm"] > allowed]),
        worst_past=float((t["past_mm"] / allowed).max()),
        rest=np.unique(t["rod"][move & (np.abs(t["error_mm"]) > tolerance)]),
        worst_rest=float((np.abs(t["error_mm"])[move] / tolerance[move]).max()),
        not_reached=np.unique(t["rod"][move & (t["ended"] != REACHED)]),
        faults=np.unique(t["rod"][t["ended"] == FAULT]), causes=np.unique(t["cause"]),
        slow=int((ratio > 1.1).sum()), timed=int(timed.sum()), worst_ratio=float(ratio.max()),
        slow_inside=int((inside > 1.1).sum()), median_ratio=float(np.median(ratio)),
        worst_inside=float(inside.max()),
        longest_over_s=float((t["ended_s"] - t["ideal_s"])[timed].max()),
    )  # fmt: skip


def report(name: str, t: dict[str, Any]) -> None:
    v = verdict(t)
    print(
        f"{name}: {len(np.unique(t['rod']))} rods, {v['motions']} motions, {v['refused']} refused"
    )
    for key in ("past", "past_run", "rest", "not_reached", "faults"):
        print(f"  {key:12} {len(v[key])} rods  {list(map(int, v[key][:8]))}")
    print(
        f"  worst past {v['worst_past']:.2f} of what is allowed; worst rest {v['worst_rest']:.2f} of tolerance;"
        f" causes {v['causes']}"
    )
    print(
        f"  timed {v['timed']}: over 10 % {v['slow']} (inside tolerance later {v['slow_inside']}),"
        f" median {v['median_ratio']:.3f}, worst {v['worst_ratio']:.2f} / {v['worst_inside']:.2f};"
        f" longest until ended {v['longest_over_s']:.1f} s over"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("rods", type=int, nargs="?", default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--build", type=Path, default=Path("/tmp/rodbench-promise"))
    options = parser.parse_args(arguments)
    options.build.mkdir(exist_ok=True)
    library = build(options.build)
    for name, correlated, brakes in (
        ("braking, white noise", 0.0, True),
        ("braking, half of the noise power with 50 ms", 0.5, True),
        ("coasting, white noise", 0.0, False),
    ):
        report(name, run_many(library, options.rods, options.seed, correlated, brakes))
    return 0


if __name__ == "__main__":
    sys.exit(main())
