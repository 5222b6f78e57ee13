"""Numbers for a person: mm or inches, amperes, shares, minutes."""

from __future__ import annotations

from dataclasses import dataclass

MM_PER_IN = 25.4


@dataclass(frozen=True, slots=True)
class Units:
    """Units of length on screens, plots and reports: "mm" or "in"."""

    name: str = "mm"

    @property
    def speed_name(self) -> str:
        """Unit of speed."""
        return f"{self.name}/s"

    def value(self, mm: float) -> float:
        """A length (or speed) in these units."""
        return mm / MM_PER_IN if self.name == "in" else mm

    def length(self, mm: float | None) -> str:
        """`101.5 mm` or `3.996 in`."""
        if mm is None:
            return f"- {self.name}"
        return f"{self.value(mm):.3f} in" if self.name == "in" else f"{mm:.1f} mm"

    def speed(self, mm_s: float | None) -> str:
        """`8.1 mm/s` or `0.319 in/s`."""
        if mm_s is None:
            return f"- {self.speed_name}"
        return f"{self.value(mm_s):.3f} in/s" if self.name == "in" else f"{mm_s:.1f} mm/s"

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
