"""Machine files with random settings that hold, written by plain means of its own."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Any

from rodbench.settings.keys import by_wire
from rodbench.settings.machine import MachineFile
from rodbench_protocol.settings import KEYS, Peer, check, defaults

NAMES = ("north", "south", "rod 2", "Südflügel", "ridge-vent_west", "a", "x" * 40)
LABELS = ("unknown", "12 V, 150 N", '"8 in" stroke; 25 % duty', "Hub 200 mm, ±5 %", "")
ENDS = ("end-switch", "stall", "unknown", "shown-by-hand")
Values = dict[str, int]


def machine(rng: random.Random, path: Path = Path("machine.toml")) -> MachineFile:
    """A machine file that holds; one or two axes, pots or two wires, ganged or not."""
    return MachineFile(text(rng), path)


def text(rng: random.Random) -> str:
    """Its text. All figures invented."""
    axes = {axis: _axis(rng, axis) for axis in rng.choice([(1,), (2,), (1, 2), (1, 2)])}
    board = _changed(rng, "board", defaults("board"))
    board["board_id"] = rng.choice([0, rng.randrange(2**31)])
    board["apart_trip_um"] = 0
    _beside(axes)
    pots = sum(values["feedback"] == 1 for values in axes.values())
    if pots == 2 and rng.random() < 0.5:
        board["apart_trip_um"] = rng.randint(500, 60_000)
    return "\n".join(_lines(rng, board, axes)) + "\n"


def _axis(rng: random.Random, axis: int) -> Values:
    values = defaults("axis") | {"feedback": rng.choice([1, 1, 1, 2])}
    if values["feedback"] == 1:
        values |= {"raw_retracted": 7400, "raw_extended": 700, "calibrated": 1}
        values |= {"full_speed_extend_um_s": 8000, "full_speed_retract_um_s": 8000}
        assert not check("axis", values), check("axis", values)
    values = _changed(rng, "axis", values, keep=("feedback", "table_points"))
    if values["feedback"] == 1 and values["calibrated"] and rng.random() < 0.5:
        values = _with_table(rng, values)
    if values["stall_ma"] <= values["trip_ma"]:
        values["stall_ma"] = 0  # a trip above the stall never trips: the file is refused
    return values


def _with_table(rng: random.Random, values: Values) -> Values:
    """Points near the line between the endpoints, where the rules let them be."""
    low, high = values["raw_retracted"], values["raw_extended"]
    count = rng.randint(1, 8)
    tried = values | {"table_points": count}
    for n in range(1, count + 1):
        share = n / (count + 1)
        tried[f"table_raw_{n}"] = round(low + share * (high - low))
        tried[f"table_place_{n}"] = round(65535 * (share + rng.uniform(-0.02, 0.02)))
    return values if check("axis", tried) else tried


def _points(values: Values) -> list[list[float]]:
    """The table in the file's units: share of the pot, mm."""
    return [
        [
            round(values[f"table_raw_{n}"] / 8184, 6),
            round(values[f"table_place_{n}"] / 65535 * values["stroke_um"] / 1000, 7),
        ]
        for n in range(1, values["table_points"] + 1)
    ]


def _changed(rng: random.Random, kind: str, values: Values, keep: tuple[str, ...] = ()) -> Values:
    """Each key may take a random value, small or large, where the rules let it."""
    keys = [key for key in KEYS[kind] if (kind, key.name) in by_wire() and key.name not in keep]
    for key in rng.sample(keys, len(keys)):
        if rng.random() < 0.3:
            continue
        low, high = key.setting.min, key.setting.max
        far, near = rng.randint(low, high), round(values[key.name] * rng.uniform(0.7, 1.4))
        for wanted in (far, near) if rng.random() < 0.5 else (near, far):
            tried = values | {key.name: min(high, max(low, wanted))}
            if tried != values and not check(kind, tried):
                values = tried
                break
    return values


def _beside(axes: dict[int, Values]) -> None:
    """What one axis does not allow the other is taken back to its default."""
    for axis, values in axes.items():
        other = axes.get(3 - axis, defaults("axis"))
        for problem in check("axis", values, peer=Peer(axis, other)):
            for one in (values, other):
                one[problem.key] = defaults("axis")[problem.key]
        assert not check("axis", values, peer=Peer(axis, other))


def _lines(rng: random.Random, board: Values, axes: dict[int, Values]) -> list[str]:
    rods = dict(zip(axes, rng.sample(NAMES, len(axes)), strict=True))
    lines = ["machine_file = 1", f'name = "{rng.choice(NAMES)}"', *_maybe(rng, 'show_units = "in"')]
    lines += ["[board]", *_written("board", "board", board, {})]
    trip_a = max(values["trip_ma"] for values in axes.values()) / 1000
    lines += _maybe(rng, f"fuse_a = {round(trip_a + rng.uniform(0.1, 10), 1)}")
    for axis, values in axes.items():
        lines += _rod(rng, rods[axis], values) + _limits(rng, axis, rods[axis], values)
    if board["apart_trip_um"]:
        lines += ["[gang]", "axes = [1, 2]", f"apart_trip_mm = {board['apart_trip_um'] / 1000}"]
    if rng.random() < 0.5:
        places = rng.sample(['open = "90 %"', 'shut = "12.5 mm"', '"Über" = "30 deg"'], 2)
        lines += ["[positions]", *places]
    return lines


def _rod(rng: random.Random, name: str, values: Values) -> list[str]:
    usual = defaults("axis") | {"feedback": 1, "stroke_um": 0}
    lines = [f'[rods."{name}"]', *_written("axis", "rods", values, usual)]
    if values["table_points"]:
        lines.append(f"pot_table = {_points(values)}")
    lines += _maybe(rng, f"retracted_pin_to_pin_mm = {rng.randint(100, 900)}")
    lines += _maybe(rng, f"end_retracted = {_quoted(rng.choice(ENDS))}")
    lines += _maybe(rng, f"end_extended = {_quoted(rng.choice(ENDS))}")
    lines += _maybe(rng, f"endpoint_spread_mm = {round(rng.uniform(0, 2), 3)}")
    lines += _maybe(rng, f"label = {_quoted(rng.choice(LABELS))}")
    return lines + _maybe(rng, 'rated_supply = "12 V"')


def _limits(rng: random.Random, axis: int, rod: str, values: Values) -> list[str]:
    lines = [f"[axes.{axis}]", f'rod = "{rod}"', *_written("axis", "axes", values, {})]
    lines += _maybe(rng, f'learned_with = "{rod}"')
    lines += _maybe(rng, f"learned_on_board = {rng.randrange(2**31)}")
    lines += [f"[axes.{axis}.limits]", *_written("axis", "limits", values, {})]
    if values["calibrated"]:
        lines += _maybe(rng, f"working_end_min_mm = {values['soft_stop_min_um'] / 2000}")
    lines += [f"[axes.{axis}.local]", *_written("axis", "local", values, {})]
    if rng.random() < 0.3:
        lines += [f"[axes.{axis}.linkage]", "hinge_to_frame_pin_mm = 420.0"]
        lines += ["hinge_to_vent_pin_mm = 390.25", *_maybe(rng, "closed_at_mm = 3.0")]
    return lines


def _written(kind: str, table: str, values: Values, usual: dict[str, int]) -> list[str]:
    """Lines of the keys of a table that are not at their defaults."""
    left_out = usual or defaults(kind)
    lines = []
    for key in KEYS[kind]:
        place = by_wire().get((kind, key.name))
        if place is not None and place.table == table and values[key.name] != left_out[key.name]:
            lines.append(f"{place.name} = {_toml(place.to_file(values[key.name]))}")
    return lines


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return _quoted(value) if isinstance(value, str) else repr(value)


def _quoted(words: str) -> str:
    return "'" + words + "'"


def _maybe(rng: random.Random, line: str) -> list[str]:
    return [line] if rng.random() < 0.5 else []
