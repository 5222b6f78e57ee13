"""What the converter of a board makes of volts: raw sums, one step, the reference."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from rodbench_protocol.schema import BoardKindData, load_schema
from rodbench_protocol.settings import KEYS

from rodbench.board import Hello

_RAW_MOST = next(k.setting.max for k in KEYS["axis"] if k.name == "raw_extended")


def kind_of(number: int) -> BoardKindData:
    """The figures of a kind of board."""
    return next(kind for kind in load_schema().board_kinds.values() if kind.id == number)


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
        kind = kind_of(hello.board_kind)
        nominal = kind.adc_reference_mv / 1000.0
        return cls(
            hello.adc_full_scale,
            hello.current_full_scale,
            kind.supply_full_scale,
            meter_mv / 1000.0 if meter_mv else nominal,
            nominal,
        )

    @property
    def widest_pot(self) -> int:
        """The whole pot, as far as the settings can hold it."""
        return min(self.pot, _RAW_MOST)

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
