"""What is known of a rod's two ends, and what board and machine file make of it."""

from __future__ import annotations

from dataclasses import dataclass

PROVISIONAL_SHARE = 0.05
PROVISIONAL_SPEED = 3.0  # times creep
SHOWN = "shown-by-hand"  # kind of an end that a person showed


@dataclass(frozen=True, slots=True)
class Endpoints:
    """Both ends. Pairs are (retracted, extended) for ends and (extend, retract) for ways.

    raw is as the board sums it, at most `full_scale`; stopped_a are the currents at the ends, seen
    at stopped_output. `working_mm`: where the machine ends inside the rod's own ends, for a mounted
    rod.
    """

    stroke_mm: float
    raw: tuple[int, int]
    spread_mm: tuple[float, float]
    kinds: tuple[str, str]
    reasons: tuple[str, str]
    stopped_a: tuple[float, float]
    stopped_output: tuple[float, float]
    creep_mm_s: tuple[float, float]
    creep_a: tuple[float, float]
    creep_peak_a: tuple[float, float]
    creep_output: tuple[float, float]
    dropout_raw: float
    pot_margin_raw: int
    full_scale: int
    working_mm: tuple[float, float] | None = None
    uneven: bool = False  # the pot's rate differs along the way: a place between wants the tape

    @property
    def span_raw(self) -> int:
        """Raw from the retracted to the extended end; negative when the pot falls."""
        return self.raw[1] - self.raw[0]

    @property
    def mm_per_raw(self) -> float:
        return self.stroke_mm / abs(self.span_raw)

    @property
    def mounted(self) -> bool:
        """Whether the rod was in its machine."""
        return self.working_mm is not None or SHOWN in self.kinds

    @property
    def range_mm(self) -> tuple[float, float]:
        """Where the rod may go at all: from end to end, or between the working ends."""
        return self.working_mm or (0.0, self.stroke_mm)

    def at_share(self, share: float) -> float:
        """Position in mm at a share of that range."""
        low, high = self.range_mm
        return low + share * (high - low)

    def creep_of(self, way: int) -> float:
        """Output that creeps this way: +1 extending."""
        return self.creep_output[0 if way > 0 else 1]

    def position_mm(self, raw: float) -> float:
        """Position of a raw reading on the line between the ends."""
        return (raw - self.raw[0]) / self.span_raw * self.stroke_mm

    def settings(self) -> dict[str, int]:
        """Axis keys, wire units."""
        return {
            "raw_retracted": self.raw[0],
            "raw_extended": self.raw[1],
            "stroke_um": round(1000 * self.stroke_mm),
            "creep_output_permille": round(1000 * max(self.creep_output)),
            "creep_speed_um_s": min(50_000, max(100, round(1000 * min(self.creep_mm_s)))),
            "pot_margin_raw": self.pot_margin_raw,
        }

    def provisional(self) -> dict[str, int]:
        """Keys that make the axis usable inside 5 % of its ends, until reset."""
        speed = max(200, round(PROVISIONAL_SPEED * 1000 * min(self.creep_mm_s)))
        return self.settings() | {
            "calibrated": 1,
            "soft_stop_min_um": round(1000 * self.at_share(PROVISIONAL_SHARE)),
            "soft_stop_max_um": round(1000 * self.at_share(1.0 - PROVISIONAL_SHARE)),
            "speed_max_um_s": speed,
            "acceleration_um_s2": max(500, 2 * speed),
            "deceleration_um_s2": max(500, 3 * speed),
        }

    def file_only(self) -> dict[str, object]:
        """Keys that stay in the machine file, by their place."""
        keys: dict[str, object] = {
            "rods.end_retracted": self.kinds[0],
            "rods.end_extended": self.kinds[1],
            "rods.endpoint_spread_mm": round(max(self.spread_mm), 3),
        }
        if self.working_mm is not None:
            keys["limits.working_end_min_mm"] = round(self.working_mm[0], 2)
            keys["limits.working_end_max_mm"] = round(self.working_mm[1], 2)
        return keys

    def notes(self) -> dict[str, str]:
        """Evidence for the machine file, by axis key or place."""
        return {
            "raw_retracted": f"raw {self.raw[0]} of {self.full_scale}",
            "raw_extended": f"raw {self.raw[1]}",
            "creep_speed_um_s": "at creep output, the slower way",
            "rods.end_retracted": self.reasons[0],
            "rods.end_extended": self.reasons[1],
        }
