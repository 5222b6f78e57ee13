"""A pot that reads at the edge of its scale: a rod at its end, or a wire in the wrong place."""

from __future__ import annotations

from dataclasses import dataclass

AT_BOTTOM, NEAR_TOP = "at the bottom", "near the top"
LOW_SHARE = 0.003  # of the scale: three steps of ten bits
# A wiper that feeds the pot while its supply end goes to the input reads at most the share of the
# input's bleed (470 kohm) beside a track of 10 kohm below the top, and less with a resistor in
# series; a sound pot near its own end reads there, too.
HIGH_SHARE = 0.94
# A sound pot takes at least two fifths of its scale over the stroke; a swapped one a fiftieth.
LEAST_SLOPE = 0.09  # of the scale over the whole stroke: between the two
SIGMAS = 6.0
LEAST_CHANGE_RAW = 4.0
JUMP_SHARE = 0.25  # of the scale, in one nudge: no screw does that


@dataclass(frozen=True, slots=True)
class Nudges:
    """Two short runs, there and back: changes of the pot in raw, the error of one (one sigma), and
    how far the rod was seen to move, as a share of its stroke."""

    changes_raw: tuple[float, float]
    error_raw: float
    moved_share: float

    @property
    def change_raw(self) -> float:
        """The greater change of the two."""
        return max(map(abs, self.changes_raw))

    @property
    def clear(self) -> bool:
        """The pot changed by more than its noise explains."""
        return self.change_raw > max(LEAST_CHANGE_RAW, SIGMAS * self.error_raw)


def edge(raw: float, full_scale: float) -> str:
    """At which edge of its scale a pot reads: AT_BOTTOM, NEAR_TOP or ""."""
    if raw < LOW_SHARE * full_scale:
        return AT_BOTTOM
    return NEAR_TOP if raw > HIGH_SHARE * full_scale else ""


def follows(nudges: Nudges, full_scale: float) -> bool | None:
    """Whether the pot followed the rod; None: the rod moved too little to tell."""
    jumped = nudges.change_raw > JUMP_SHARE * full_scale
    there, back = nudges.changes_raw
    small = min(abs(there), abs(back)) < max(LEAST_CHANGE_RAW, SIGMAS * nudges.error_raw)
    if jumped or (nudges.clear and not small and there * back > 0.0):
        return False
    expected = LEAST_SLOPE * full_scale * nudges.moved_share
    if nudges.moved_share > 0.0 and nudges.clear and nudges.change_raw >= expected:
        return True
    return False if expected > max(LEAST_CHANGE_RAW, SIGMAS * nudges.error_raw) else None


def meaning(where: str) -> str:
    """What a pot that stays at an edge while the rod moves may be."""
    if where == AT_BOTTOM:
        return (
            "wiper and ground lead swapped, wiper or supply lead open, or wiper shorted to ground"
        )
    return "wiper and supply lead swapped, ground lead open, or wiper shorted to the supply"
