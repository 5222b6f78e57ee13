"""What the converter of a board makes of volts: raw sums, one step, the reference."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from rodbench_protocol.schema import load_schema

from rodbench.board import Hello


@dataclass(frozen=True, slots=True)
class Scale:
    """Greatest raw of a pot and of a current input, steps of one conversion, reference in V: by the
    meter where it was read, and nominal."""

    pot: int
    current: int
    steps: int
    reference_v: float
    nominal_v: float

    @classmethod
    def of(cls, hello: Hello, meter_mv: int = 0) -> Scale:
        """The scale of the board that said hello; `meter_mv` of its own supply, 0: not read."""
        kinds = load_schema().board_kinds.values()
        kind = next(kind for kind in kinds if kind.id == hello.board_kind)
        nominal = kind.adc_reference_mv / 1000.0
        return cls(
            hello.adc_full_scale,
            kind.current_full_scale,
            kind.supply_full_scale,
            meter_mv / 1000.0 if meter_mv else nominal,
            nominal,
        )

    @property
    def step_raw(self) -> float:
        """One step of the converter in raw of the pot: how many conversions are summed."""
        return self.pot / self.steps

    @property
    def least_noise_raw(self) -> float:
        """One step over sqrt(12), in raw: below half a step of noise the conversions are alike, and
        their sum is no better than one of them."""
        return self.step_raw / sqrt(12.0)

    def current_step_a(self, v_per_a: float) -> float:
        """One step of the converter on a current input, in A."""
        return self.reference_v / self.steps / v_per_a
