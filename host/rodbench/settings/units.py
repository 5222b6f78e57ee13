"""Numbers for a person: mm or inches by the machine file's show_units, minutes, shares."""

from __future__ import annotations

from dataclasses import dataclass

MM_PER_IN = 25.4  # exact


@dataclass(frozen=True, slots=True)
class Units:
    """Units of length on screens, plots and reports: "mm" or "in". All arguments are mm, mm/s,
    mm/s2; None is written as `-`."""

    name: str = "mm"

    @property
    def speed_name(self) -> str:
        """Unit of speed."""
        return f"{self.name}/s"

    def value(self, mm: float) -> float:
        """A length (or speed) in these units."""
        return mm / MM_PER_IN if self.name == "in" else mm

    def to_mm(self, value: float) -> float:
        """mm of a length (or speed) in these units."""
        return value * MM_PER_IN if self.name == "in" else value

    def number(self, mm: float) -> str:
        """A length (or speed) without its unit: `101.5` or `3.996`."""
        return f"{self.value(mm):.3f}" if self.name == "in" else f"{mm:.1f}"

    def length(self, mm: float | None) -> str:
        """`101.5 mm` or `3.996 in`."""
        return f"{'-' if mm is None else self.number(mm)} {self.name}"

    def span(self, low_mm: float, high_mm: float) -> str:
        """`3.0 .. 200.0 mm` or `0.118 .. 7.874 in`."""
        return f"{self.number(low_mm)} .. {self.length(high_mm)}"

    def fine(self, mm: float) -> str:
        """A small length such as that of one count: `0.030 mm` or `0.0012 in`."""
        return f"{self.value(mm):.4f} in" if self.name == "in" else f"{mm:.3f} mm"

    def speed(self, mm_s: float | None) -> str:
        """`8.1 mm/s` or `0.319 in/s`."""
        return f"{'-' if mm_s is None else self.number(mm_s)} {self.speed_name}"

    def acceleration(self, mm_s2: float) -> str:
        """`20 mm/s2` or `0.79 in/s2`."""
        if self.name == "in":
            return f"{self.value(mm_s2):.2f} in/s2"
        return f"{mm_s2:.0f} mm/s2"


def minutes(seconds: float) -> str:
    """`12 s` or `1 min 20 s`."""
    whole = round(seconds)
    return f"{whole} s" if whole < 60 else f"{whole // 60} min {whole % 60:02d} s"


def share(part: float) -> str:
    """`25 %`."""
    return f"{100 * part:.3g} %"
