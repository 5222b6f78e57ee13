"""A person at an axis's local input: at rest, then moves it, or something goes wrong."""

from __future__ import annotations

from random import Random
from typing import Any

from rodbench_protocol.names import LocalAs, LocalSource

KNOBS = ((1000, 1500, 40, 2000), (1900, 1520, 12, 1100), (120, 512, 2, 900), (1, 2500, 400, 4095))
"""Low end, rest, band, high end."""


def settings_for(source: int, as_place: bool, knob: int) -> dict[str, int]:
    """Settings of a local input."""
    low, rest, band, high = KNOBS[knob % len(KNOBS)]
    return {
        "local_source": source,
        "local_as": int(LocalAs.POSITION if as_place else LocalAs.SPEED),
        "local_low_end": low,
        "local_rest": rest,
        "local_rest_band": band,
        "local_high_end": high,
        "local_place_retract": (0, 6000, 65535, 30000)[knob // 4 % 4],
        "local_place_extend": (65535, 60000, 0, 50000)[knob // 4 % 4],
        "local_loss_ms": (30, 50, 100, 300)[knob // 16 % 4],
    }


class Person:
    """`step` gives what the board reads: stick or pulse, and the two bits of the buttons."""

    def __init__(self, rng: Random) -> None:
        self.rng = rng
        self.rest()

    def rest(self) -> None:
        """Lets go; mostly for as long as it takes until the board listens, or nearly so."""
        self.left = self.rng.choice((12, 19, 20, 21, 22, 22, 22, 40))
        self.share, self.buttons, self.lost = 0.0, 0, 0
        self._is_resting = True

    def step(self, live: Any, armed: bool) -> tuple[int, int]:
        """One tick, by the settings in force; `armed`: the board listens."""
        self.left -= 1
        if self.left < 0:
            self._next(live, armed)
        rng, buttons = self.rng, self.buttons
        if rng.random() < 0.01:
            buttons = rng.randrange(4)  # a bounce
        if live.local_source == LocalSource.NONE:
            return rng.randrange(1024), buttons
        return self._value(live), buttons

    def _next(self, live: Any, armed: bool) -> None:
        rng = self.rng
        kind = rng.random()
        if not armed and not self._is_resting and kind < 0.7:
            self.rest()
            return
        self.left, self.lost = rng.randrange(2, 70), 0
        self.share, self.buttons = 0.0, 0
        if self._is_resting or kind > 0.9:
            self._out(live)
        else:
            self.left = rng.choice((1, 3, 4, 5, 19, 20, 21, 22, 30))
            self._is_resting = True

    def _out(self, live: Any) -> None:
        rng = self.rng
        self._is_resting = False
        self.buttons = rng.choice((1, 1, 2, 2, 3))
        self.share = rng.choice(
            (1.0, -1.0, 1.05, -1.05, rng.uniform(-1, 1), rng.uniform(-0.1, 0.1))
        )
        if rng.random() < 0.25:
            self.lost = rng.randrange(1, 6)
            self.left = rng.randrange(1, live.local_loss_ms // 5 + 30)

    def _value(self, live: Any) -> int:
        low, rest, high = live.local_low_end, live.local_rest, live.local_high_end
        margin = abs(high - low) // 10
        top, bottom = max(low, high), min(low, high)
        if self.lost:
            edges = (0, top + margin, top + margin + 1, bottom - margin, bottom - margin - 1)
            slips = self.rng.randrange(5) if self.rng.random() < 0.02 else 0
            return max(
                0, edges[(self.lost + slips) % 5]
            )  # held: a good reading begins the time anew
        span = high - rest if self.share > 0 else rest - low
        noise = self.rng.choice((-1, 0, 0, 1, live.local_rest_band, -live.local_rest_band))
        return max(0, rest + int(self.share * span) + noise)
