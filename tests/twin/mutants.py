"""Planted mistakes in the C core, each of which a short comparison with the twin must notice.

    python -m tests.twin.mutants              # all of them
    python -m tests.twin.mutants 3 17         # some

The suite tries every third, so that it ends in minutes; a change of the core wants all of them.
What random runs come to too rarely does not stand here: tests/core notices it to the tick.

Each is one change of one line in a copy of the sources. A mutant whose text is no longer in the file
is an error: it would prove nothing.
"""

# ruff: noqa: E501 (a mutant is one line)
from __future__ import annotations

import os
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from tests.core import native

RUNS = 1500
WORKERS = 2
BUILD = native.BUILD / f"mutants-{os.getpid()}"
SNAPSHOT = BUILD / "src"
NOTICED, SURVIVED = 9, 0


@dataclass(frozen=True)
class Mutant:
    """In `file`, `old` (found once) becomes `new`. `unit` is the file that is compiled, if another."""

    file: str
    old: str
    new: str
    unit: str = ""


MUTANTS = (
    # the wire half
    Mutant("rx.h", "rx->stop_length == 0 ? rx->stop : NULL", "NULL", "core.c"),
    Mutant("tx.c", "lacking > TX_BYTES_PER_TICK", "lacking > 60"),
    Mutant("rx.h", "rx->length[rx->write] == 0)", "rx->length[rx->read] == 0)", "core.c"),
    Mutant("rx.h", "if (size > RX_FRAME_MAX)", "if (size >= RX_FRAME_MAX)", "core.c"),
    Mutant("dispatch.c", "size == session->request_size &&", "size >= session->request_size ||"),
    Mutant("dispatch.c", "(uint8_t)(core->session.seq + 1)", "core->session.seq"),
    Mutant("dispatch.c", "age > core->tick - session->newest_alive", "age > core->tick"),
    Mutant("dispatch.c", "core->barred = rx_waiting(rx);", "core->barred = 0;"),
    Mutant("dispatch.c", "if (core->restart_in != 0 || ", "if ("),
    Mutant("handle.c", "core->session.opens++ % SESSIONS_RECENT", "0"),
    Mutant("handle.c", "ms >= least && ", "ms > least && "),
    Mutant(
        "handle_motion.c", "trial && axis->faults == 0 && starts_motion", "trial && starts_motion"
    ),
    Mutant(
        "handle_motion.c",
        "core->faults != 0 ? STATUS_FAULTED",
        "core->faults == 1 ? STATUS_FAULTED",
    ),
    Mutant("handle_motion.c", "START_RESERVE + ramp_ticks", "ramp_ticks"),
    Mutant(
        "handle_settings.c",
        "if (core->store.writing) {\n        return STATUS_BUSY;\n    }\n    uint8_t status",
        "uint8_t status",
    ),
    Mutant("key.c", "value <= limit", "value < limit"),
    Mutant("draft.c", "settings_scope(live, scope), &live", "draft->as, &live"),
    Mutant("duty.c", "next->elapsed >= next->bin_ticks", "next->elapsed > next->bin_ticks"),
    Mutant("duty.c", "bin_ticks > now->bin_ticks ?", "bin_ticks < now->bin_ticks ?"),
    Mutant("duty.c", "valid_0 && valid_1 ? newer(duty) : valid_1", "valid_1"),
    Mutant(
        "store.c",
        "(uint16_t)(head[1].generation - head[0].generation) < 0x8000u",
        "head[1].generation > head[0].generation",
    ),
    Mutant("store.c", "stored < known ? stored : known", "known"),
    Mutant("store.c", "if (ee_read(at) != byte) {", "{"),
    Mutant("noinit.c", "(flags & RESET_FLAG_EXTERNAL) || kept", "(flags & RESET_FLAG_EXTERNAL)"),
    Mutant(
        "telemetry.c",
        "phase != telemetry->axis_period / 2",
        "phase != (telemetry->axis_period + 1) / 2",
    ),
    Mutant("telemetry.c", "- 1 - telemetry->board_waited", "- 1"),
    Mutant("core.c", "duty_tick(duty, axis_out.drive != 0)", "duty_tick(duty, axis_out.drive > 0)"),
    Mutant("core.c", "axis_in.supply_mv = board->", "axis_in.supply_mv = !board->"),
    # two rods as one
    Mutant("gang.c", "#define APART_TICKS 10", "#define APART_TICKS 11"),
    Mutant("gang.c", "gang->alone ? trip + trip : trip", "trip"),
    Mutant("gang.c", "gang->apart_ticks = APART_TICKS - 1;", "gang->apart_ticks = 0;"),
    Mutant("gang.c", "other->ended != ENDED_REACHED", "other->ended != ENDED_NONE"),
    Mutant("gang.c", "other->state != AXIS_STATE_FAULT", "1"),
    Mutant("gang.c", "if (set[0].stroke_um < set[1].stroke_um)", "if (1)"),
    Mutant("gang.c", "along(lead, axis->track.direction)", "lead"),
    Mutant("gang.c", "core->gang.alone != alone && ", ""),
    Mutant("gang.c", "if (its_speed > other->speed_max_um_s)", "if (0)"),
    Mutant("handle_motion.c", " || gang_is_on(core)", ""),
    Mutant("handle_motion.c", "axis->trial = trial;", "axis->trial = 0;"),
    Mutant("axis.c", "axis->wait = 0;", ""),
    Mutant("motion.c", "paced(in, whole(motion->speed))", "whole(motion->speed)"),
    Mutant("motion.c", "paced(in, soon)", "soon"),
    # the axis half
    Mutant("axis.c", "(int32_t)(in->tick - axis->hold_until) > 0", "in->tick >= axis->hold_until"),
    Mutant("axis.c", "in->duty_room <= axis->reserve", "in->duty_room < axis->reserve"),
    Mutant("axis.c", "wanted < output - down", "wanted < output + down"),
    Mutant(
        "axis.c",
        "(int32_t)(until - axis->hold_until) > 0",
        "(int32_t)(until - axis->hold_until) < 0",
    ),
    Mutant(
        "axis.c",
        "output = (int16_t)(output + output / 5);",
        "output = (int16_t)(output + output / 4);",
    ),
    Mutant("axis.c", "set->motor_reversed ?", "!set->motor_reversed ?"),
    Mutant(
        "axis.c",
        "if (target_um < set->soft_stop_min_um ||",
        "if (target_um < set->soft_stop_min_um - 500 ||",
    ),
    Mutant("guard.c", "guard->over_ticks >= set->trip_ms", "guard->over_ticks > set->trip_ms"),
    Mutant("guard.c", "#define BAND_TICKS 5", "#define BAND_TICKS 6"),
    Mutant("guard.c", "running / 5", "running * 2"),
    Mutant(
        "guard.c",
        "guard->still_ticks >= guard->still_limit",
        "guard->still_ticks > guard->still_limit",
    ),
    Mutant("guard.c", "unmoved(position) + larger(", "unmoved(position) - larger("),
    Mutant("guard.c", "raw < low - margin", "raw <= low - margin"),
    Mutant("position.c", "halved(residue, 2)", "halved(residue, 3)"),
    Mutant("position.c", "halved(residue, 5)", "residue / 32"),
    Mutant("motion.c", "+ time + halved(time, 2)", "+ time + halved(time, 3)"),
    Mutant(
        "motion.c",
        "count_um(in) + in->axis->position.noise_um >= motion->stop_um",
        "in->axis->position.noise_um >= motion->stop_um",
    ),
    Mutant(
        "motion.c", "larger(speed - motion->down, lowest)", "larger(speed - motion->up, lowest)"
    ),
    Mutant("motion.c", "motion->boost--;", "motion->boost = 0;"),
    Mutant("motion.c", "#define HELD_FIRM 24", "#define HELD_FIRM 26"),
    Mutant("motion.c", "else if (lead < (lead_max >> 1)", "else if (lead < lead_max"),
    Mutant("seek.c", "#define PROBE_HALF 10", "#define PROBE_HALF 9"),
    Mutant(
        "seek.c", "if (seek->still_ticks < seek->dwell)", "if (seek->still_ticks <= seek->dwell)"
    ),
    Mutant("seek.c", "halved(last - before, 3)", "(last - before) / 8"),
    # local inputs
    Mutant("local.c", "#define REST_TICKS 20", "#define REST_TICKS 19"),
    Mutant("local.c", "#define STEP 10", "#define STEP 80"),
    Mutant("local.c", "* TICK_MS >= (int16_t)input", "* TICK_MS > (int16_t)input"),
    Mutant("local.c", "status == STATUS_STOP_STANDING", "status == STATUS_IN_MOTION"),
    Mutant("local.c", "|| buttons == BOTH", "|| buttons == 7"),
    Mutant("local.c", "off < 0 ? rest :", "off > 0 ? rest :"),
    Mutant("handle.c", "if (!local_commands(core, index))", "if (index < AXES)"),
    Mutant("axis.c", "axis->local->asked = 0;", ""),
    # drivers, sensors, rods without a pot
    Mutant("core.c", "out->driver[index] = set->driver;", "out->driver[index] = 0;"),
    Mutant("axis.c", "counts = absolute(counts);", "counts = -counts;"),
    Mutant("axis.c", "set->current_sensor_ratiometric ?", "!set->current_sensor_ratiometric ?"),
    Mutant("axis.c", "time_cs * UINT32_C(12)", "time_cs * UINT32_C(13)"),
    Mutant("axis.c", "know(axis, AXIS_FLAGS_BETWEEN);", "know(axis, 0);"),
    Mutant("axis.c", "fault == FAULT_NO_CURRENT && axis->guard.moved", "axis->guard.moved"),
    Mutant("guard.c", "running + running / 4 + step", "running + running + step"),
    # what goes into the memory
    Mutant("memory.c", "board_5v_mv != 0 && core->board_5v_mv < LOW_MV", "board_5v_mv < LOW_MV"),
    Mutant("memory.c", "if (memory->tries++ == 0)", "if (memory->tries++ == 1)"),
    Mutant("memory.c", "#define TRIES_MOST 40", "#define TRIES_MOST 41"),
    Mutant(
        "memory.c",
        "trips_due(core, &record) || totals_due(core, &record)",
        "totals_due(core, &record) || trips_due(core, &record)",
    ),
    Mutant("memory.c", "core->memory.at = 0;\n        write_settings", "write_settings"),
    Mutant(
        "store.c",
        "(int16_t)(get_u16(found) - get_u16(newest)) > 0",
        "get_u16(found) > get_u16(newest)",
    ),
    Mutant("trips.c", "trips->waiting == TRIPS_WAITING", "trips->waiting == 1"),
    Mutant("trips.c", "!core->ee_ready || core->memory.at != 0", "!core->ee_ready"),
    Mutant("totals.c", "went < 0 ? -MM : MM", "MM"),
    Mutant("totals.c", "(uint16_t)(MM + axis->position.noise_um)", "MM"),
    Mutant("totals.c", "totals->pause = PAUSE;", "totals->pause = 20;"),
    Mutant("blackbox.c", "box->fault != 0 && !core_faulted(core)", "box->fault != 0"),
    Mutant("blackbox.c", " || core->draft.scope != DRAFT_NONE", ""),
    Mutant("event.c", "told.kind == EVENT_KIND_TRIP", "told.kind == EVENT_KIND_TRIP && axis != 0"),
    Mutant("div.c", "a < 0 ? a - half : a + half", "half < 0 ? a - half : a"),
    # guards
    Mutant("guard.c", "CORE_FULL_SCALE - edge)", "CORE_FULL_SCALE)"),
    Mutant("guard.c", "#define SETTLE_TICKS 200", "#define SETTLE_TICKS 199"),
    Mutant("guard.c", "absolute(um - guard->furthest_um)", "um - guard->furthest_um"),
    Mutant("position.c", "n < set->table_points", "n + 1 < set->table_points"),
    Mutant("position.c", "(way - from) * (high - low)", "(way - from) * (high - from)"),
    Mutant("position.c", "noise * 2 + 8", "noise * 2"),
    Mutant("position.c", "(position->jumped & 1) + 1", "1"),
    Mutant("position.c", "if (position->jumped != 1)", "if (position->jumped != 2)"),
    Mutant("position.c", "    position->last = raw;\n    uint16_t noise", "    uint16_t noise"),
    Mutant("motion.c", "motion->behind < MOTION_BEHIND", "motion->behind < MOTION_BEHIND - 1"),
    Mutant("axis.c", "set->following_um != 0 && axis_is_moving(axis)", "axis_is_moving(axis)"),
    Mutant("axis.c", "(ceiling >> 3)", "(ceiling >> 4)"),
    Mutant(
        "axis.c",
        "axis->current_ma > most && axis->last_sign",
        "axis->current_ma >= most && axis->last_sign",
    ),
    Mutant("axis.c", "axis->ceiling = UNFOLDED;", "axis->ceiling = 0;"),
    Mutant("axis.c", "if (at_once && axis->used != AXIS_RESTS_OFF)", "if (at_once)"),
    Mutant(
        "axis.c",
        "axis_stop(axis, set, !at_once, ENDED_FAULT)",
        "axis_stop(axis, set, 1, ENDED_FAULT)",
    ),
    Mutant(
        "axis.c",
        "        guard_begin(&axis->guard);      /* where it jumped",
        "        /* where it jumped",
    ),
    Mutant("core.c", "#define SUPPLY_LOW_TICKS 40", "#define SUPPLY_LOW_TICKS 41"),
    Mutant("core.c", "#define SUPPLY_HIGH_TICKS 4", "#define SUPPLY_HIGH_TICKS 3"),
    Mutant("core.c", "#define STOP_INPUT_TICKS 4", "#define STOP_INPUT_TICKS 5"),
    Mutant("core.c", "(uint8_t)(patience - 1)", "0"),
    Mutant("core.c", "!(core->inputs & INPUTS_STOP)", "!core->inputs"),
    Mutant("core.c", "core->stops_for = number;", "core->stops_for = 0;"),
    # duty and heat through a power loss
    Mutant("hot.c", "heat_of(duty) < told[0].heat && ", ""),
    Mutant("hot.c", "(duty_used(duty) + LEAD + UNIT - 1)", "(duty_used(duty) + UNIT - 1)"),
    Mutant("hot.c", "core->noinit->credit = 0;\n    take_up", "take_up"),
    Mutant("thermal.c", "halved(step * 9, 5)", "halved(step, 2)"),
    Mutant("thermal.c", "uint8_t left = 8;", "uint8_t left = 7;"),
    Mutant("thermal.c", "ratio > RATIO_MOST ?", "ratio > 10u * ROOT ?"),
)


COMPILE = ("gcc", "-std=gnu11", "-O1", "-w", "-fPIC")


def planted(mutant: Mutant) -> str:
    """The file's text with the mistake; ValueError when there is no such place in it."""
    text = (SNAPSHOT / "core" / mutant.file).read_text()
    if text.count(mutant.old) != 1:
        raise ValueError(f"{mutant}: found {text.count(mutant.old)} times")
    return text.replace(mutant.old, mutant.new)


def build_sound() -> None:
    """All objects of the core as it is, in BUILD."""
    native.own_folder("mutants")
    shutil.copytree(native.SOURCES, SNAPSHOT)  # what is tried cannot change meanwhile
    for source in [*native.c_files(SNAPSHOT), native.HARNESS / "harness.c"]:
        _compile(source, BUILD / f"{source.stem}.o")


def _compile(source: Path, target: Path) -> None:
    command = [*COMPILE, f"-I{SNAPSHOT}", f"-I{SNAPSHOT / 'core'}", "-c", str(source)]
    subprocess.run([*command, "-o", str(target)], check=True)


def _link(folder: Path, objects: list[Path]) -> Path:
    library = folder / "core.so"
    command = ["gcc", "-shared", *map(str, objects), "-o", str(library)]
    subprocess.run(command, check=True)
    return library


def _build(number: int) -> Path:
    mutant = MUTANTS[number]
    unit = mutant.unit or mutant.file
    folder = BUILD / str(number)
    shutil.copytree(SNAPSHOT, folder / "src")
    (folder / "src/core" / mutant.file).write_text(planted(mutant))
    target = folder / "mutant.o"
    _compile(folder / "src/core" / unit, target)
    return _link(folder, [target, *(o for o in BUILD.glob("*.o") if o.stem != Path(unit).stem)])


RUNNER = """
import sys
from tests.core.native import AssertionFailed, load
from tests.twin.pair import Differs
from tests.twin.runs import Seen, compare
seen = Seen()
try:
    compare(load(sys.argv[1]), int(sys.argv[2]), seen=seen)
except (Differs, AssertionFailed) as found:
    print("in run", seen.runs + 1, str(found).splitlines()[:2])
    sys.exit(9)
"""


def noticed(library: Path) -> tuple[bool, str]:
    """Whether the runs tell this core from the twin, and by what."""
    command = [sys.executable, "-c", RUNNER, str(library), str(RUNS)]
    done = subprocess.run(command, cwd=native.ROOT, capture_output=True, text=True, check=False)
    if done.returncode not in (NOTICED, SURVIVED) and done.returncode > 0:
        raise RuntimeError(done.stderr)
    return done.returncode != SURVIVED, done.stdout.strip()


def check(numbers: list[int]) -> list[Mutant]:
    """Tries these mutants, prints each, returns the survivors. The core as it is must survive."""
    build_sound()
    for number in numbers:
        planted(MUTANTS[number])
    sound = _link(BUILD, list(BUILD.glob("*.o")))
    with ThreadPoolExecutor(WORKERS) as pool:
        as_it_is = pool.submit(noticed, sound)
        results = list(pool.map(lambda number: noticed(_build(number)), numbers))
        differs, how = as_it_is.result()
    if differs:
        raise RuntimeError(f"twin and core differ without a mutant: {how}")
    for number, (found, how) in zip(numbers, results, strict=True):
        mutant = MUTANTS[number]
        print(
            f"{number:3} {'noticed ' if found else 'SURVIVED'} {mutant.file}: {mutant.new!r} {how}"
        )
    return [MUTANTS[n] for n, (found, _) in zip(numbers, results, strict=True) if not found]


def main() -> None:
    """Says which survived."""
    numbers = [int(a) for a in sys.argv[1:]] or list(range(len(MUTANTS)))
    survivors = check(numbers)
    print(f"{len(numbers) - len(survivors)} of {len(numbers)} mutants noticed")
    sys.exit(1 if survivors else 0)


if __name__ == "__main__":
    main()
