"""The eye: what a person beside the machine would say, from the plant's truth.

It answers the facts that procedures ask for by their question ids. Beside a pty or a TCP port it
is served on an address of its own, one JSON object a line: {"id": "run_a"} -> {"answer": "out"}.
"""

from __future__ import annotations

import contextlib
import json
import os
import socket
import stat
import threading
from collections.abc import Callable
from random import Random
from typing import Any

from rodbench.emulator.plant import Plant, Rod
from rodbench.emulator.rig import Rig
from rodbench.errors import NeedsPerson, PortError

SEEN_MM = 0.2  # less than this nobody sees
TIMEOUT_S = 2.0


# What a person reads off the parts in hand.
_PARTS: dict[str, Callable[[Rod], str]] = {
    "wires": lambda rod: "motor + pot" if rod.pot.fitted else "motor only",
    "mounting": lambda rod: "mounted" if rod.mount.fitted else "bench",
    "driver": lambda rod: rod.driver.kind,
    "current_sensor": lambda rod: rod.sensor.kind,
    "current_sensor_v_per_a": lambda rod: f"{rod.sensor.v_per_a:g}",
    "current_sensor_ratiometric": lambda rod: "yes" if rod.sensor.ratiometric else "no",
}


# A person who brings a mounted rod to its working ends holds the key until it is near, then taps,
# and stops short of the machine's own end. Shares of the stroke.
NEAR_SHARE, FAR_SHARE = 0.05, 0.12
CALIPER_MM = 0.05  # how near the eye reads a length for `calibrate linearity`, 19 times of 20


def _hand(plant: Plant, way: int) -> str:
    """What to press next on the way to a working end."""
    left, stroke = _left(plant)[way > 0], plant.rod.stroke_mm
    if left <= NEAR_SHARE * stroke:
        return "there"
    words = "out" if way > 0 else "in"
    return words if left > FAR_SHARE * stroke else f"a little {words}"


def _left(plant: Plant) -> tuple[float, float]:
    """The way in mm to the lower and the upper end of the machine, else of the rod."""
    mount, at = plant.rod.mount, plant.position_mm
    return at - mount.min_mm, (mount.max_mm or plant.rod.stroke_mm) - at


def _pin_to_pin_mm(plant: Plant) -> float:
    return plant.rod.retracted_pin_to_pin_mm + plant.position_mm


def _stands(plant: Plant) -> str:
    """Where the rod is seen to stand."""
    near = max(1.0, 0.01 * plant.rod.stroke_mm)
    if plant.position_mm < near:
        return "all the way in"
    return "all the way out" if plant.position_mm > plant.rod.stroke_mm - near else "between"


# What a person measures or sees where the rod stands.
_PLACES: dict[str, Callable[[Plant], str]] = {
    "stroke_about": lambda plant: f"{plant.rod.stroke_mm:.0f} mm",
    "end_retracted": _stands,
    "end_extended": _stands,
    "room": lambda plant: f"{min(_left(plant)):.1f} mm",
    "hand_retracted": lambda plant: _hand(plant, -1),
    "hand_extended": lambda plant: _hand(plant, 1),
    "working_retracted_pin_to_pin": lambda plant: f"{_pin_to_pin_mm(plant):.1f} mm",
    "between_pin_to_pin": lambda plant: f"{_pin_to_pin_mm(plant):.1f} mm",
    "working_extended_pin_to_pin": lambda plant: f"{_pin_to_pin_mm(plant):.1f} mm",
}


class Eye:
    """Looks at the rods of a rig. A run counts from where the rod last turned round, or from the
    last answer, whichever is later."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._caliper = Random(rig.machine.seed)
        self._answered = {axis: (p.position_mm, p.turns) for axis, p in rig.plants.items()}

    def look(self, question_id: str, axis: int = 0) -> str | None:
        """The answer to a question, or None where seeing does not help.

        run_...: which way the rod went that moved last: "out", "in" or "still". supply_v and
        board_5v: what a meter shows. driver, current_sensor...: what is written on the parts.
        nudge: how far it moved, there and back. room: whether a mounted rod has so much way both
        ways. hand_retracted, hand_extended: what to hold next to bring the rod to a working end.
        end_...: whether it stands all the way in, all the way out or between. ruler_...: pin to
        pin by a caliper.
        """
        if question_id.startswith("run_"):
            return self._which_way(axis)
        if question_id.startswith("ruler_"):
            return self._by_caliper(question_id, axis)
        if question_id == "nudge":
            far_mm = self._how_far(axis)
            return f"{far_mm if far_mm >= SEEN_MM else 0.0:.1f} mm"
        if question_id in _PLACES and self._rig.plants:
            return _PLACES[question_id](self._rig.plants[self._which(axis)])
        if question_id in _PARTS and self._rig.plants:
            return _PARTS[question_id](self._rig.plants[self._which(axis)].rod)
        if question_id in ("supply_v", "meter_supply_v"):
            return f"{self._rig.supply_v:.2f}"
        if question_id in ("board_5v", "meter_board_5v"):
            return f"{self._rig.machine.board.reference_v:.2f}"
        return None

    def _by_caliper(self, question_id: str, axis: int) -> str | None:
        """Pin to pin where the rod stands, as near as said."""
        if question_id == "ruler_error":
            return f"{CALIPER_MM:g} mm"
        if not self._rig.plants:
            return None
        true_mm = _pin_to_pin_mm(self._rig.plants[self._which(axis)])
        return f"{self._caliper.gauss(true_mm, CALIPER_MM / 2):.2f} mm"

    def _which(self, axis: int) -> int:
        """The axis that is meant: the one asked for, else the one that moved last."""
        plants = self._rig.plants
        return axis if axis in plants else max(plants, key=lambda a: self._rig.moved_at[a])

    def _how_far(self, axis: int) -> float:
        """The way gone since the last answer, in mm: there, or back from where it turned."""
        axis = self._which(axis)
        plant, (before, turns) = self._rig.plants[axis], self._answered[axis]
        self._answered[axis] = (plant.position_mm, plant.turns)
        places = [before, plant.position_mm] + ([plant.turned_mm] if plant.turns != turns else [])
        return max(places) - min(places)

    def _which_way(self, axis: int) -> str | None:
        plants = self._rig.plants
        if not plants:
            return None
        axis = self._which(axis)
        plant, (before, turns) = plants[axis], self._answered[axis]
        now = plant.position_mm
        start = before if plant.turns == turns else plant.turned_mm
        self._answered[axis] = (now, plant.turns)
        if abs(now - start) < SEEN_MM:
            return "still"
        return "out" if now > start else "in"


class EyeServer:
    """Serves an eye on a Unix socket (a path) or on loopback TCP ("HOST:PORT", port 0: any)."""

    def __init__(self, look: Callable[[str, int], str | None], address: str) -> None:
        self._look = look
        self._path = None if _is_tcp(address) else address
        try:
            self._socket = self._listen(address)
        except (OSError, OverflowError, AttributeError) as problem:
            raise PortError(
                f"the eye cannot listen on {address}: {problem}",
                kept="no emulator was started",
                hint="a path that is free, or 127.0.0.1:0",
            ) from problem
        threading.Thread(target=self._serve, name="eye", daemon=True).start()

    def _listen(self, address: str) -> socket.socket:
        if self._path is None:
            host, _, port = address.rpartition(":")
            listener = socket.create_server((host, int(port)))
            self.address = f"{host}:{listener.getsockname()[1]}"
            return listener
        with contextlib.suppress(FileNotFoundError):
            if stat.S_ISSOCK(os.stat(address).st_mode):  # left by one that was killed
                os.unlink(address)
        listener = socket.socket(socket.AF_UNIX)
        listener.bind(address)
        listener.listen(32)  # a full backlog refuses at once
        self.address = address
        return listener

    def close(self) -> None:
        """Stop serving."""
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()
        if self._path is not None:
            with contextlib.suppress(OSError):
                os.unlink(self._path)

    def _serve(self) -> None:
        while True:
            try:
                client, _ = self._socket.accept()
            except OSError:
                return
            with client, contextlib.suppress(OSError, ValueError, KeyError, TypeError):
                self._talk(client)

    def _talk(self, client: socket.socket) -> None:
        client.settimeout(TIMEOUT_S)
        for line in client.makefile("r", encoding="utf-8"):
            question = json.loads(line)
            answer = self._look(str(question["id"]), int(question.get("axis", 0)))
            client.sendall((json.dumps({"answer": answer}) + "\n").encode())


class EyeClient:
    """Asks a served eye; `look` fits the prompt of the procedures."""

    def __init__(self, address: str) -> None:
        self.address = address

    def look(self, question_id: str, axis: int = 0) -> str | None:
        """The answer, or None. Raises NeedsPerson when nobody answers at the address."""
        try:
            reply = self._ask({"id": question_id, "axis": axis})
        except (OSError, ValueError, AttributeError) as problem:
            raise NeedsPerson(
                f"the eye at {self.address} does not answer: {problem}",
                kept="nothing was settled",
                hint="is the emulator still running, with --eye on this address?",
            ) from problem
        answer = reply.get("answer")
        return None if answer is None else str(answer)

    def _ask(self, question: dict[str, Any]) -> dict[str, Any]:
        with self._connect() as line:
            line.sendall((json.dumps(question) + "\n").encode())
            reply = json.loads(line.makefile("r", encoding="utf-8").readline())
        if not isinstance(reply, dict):
            raise ValueError("not an eye")
        return reply

    def _connect(self) -> socket.socket:
        if _is_tcp(self.address):
            host, _, port = self.address.rpartition(":")
            return socket.create_connection((host, int(port)), TIMEOUT_S)
        line = socket.socket(socket.AF_UNIX)
        line.settimeout(TIMEOUT_S)
        line.connect(self.address)
        return line


def _is_tcp(address: str) -> bool:
    host, _, port = address.rpartition(":")
    return bool(host) and port.isdigit() and os.sep not in address
