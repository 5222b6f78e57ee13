"""The charts: current along the rod, and the last 60 s. Colours are put in by the page itself."""

from __future__ import annotations

from typing import Any

from nicegui import ui

_TEXT = {"fontSize": 13}
_LEGEND = {
    "selectedMode": False,
    "top": 0,
    "left": "center",
    "itemGap": 8,
    "itemWidth": 24,
    "itemStyle": {"opacity": 0},
    "textStyle": _TEXT,
}
# Told apart by width and dash, not by colour.
_DASHED = {"type": "dashed", "width": 2}
_THIN = {"type": "solid", "width": 1, "opacity": 0.7}
_THICK = {"type": "solid", "width": 3}
_DOTTED = {"type": [2, 4], "width": 2}


def strokes_chart(axis: int, unit: str) -> ui.echart:
    """Current against position, on the ruler's own axis of length."""
    options: dict[str, Any] = {
        "animation": False,
        "legend": _LEGEND,
        "grid": {"outerBoundsMode": "none", "top": 44, "bottom": 44, "left": 84, "right": 56},
        "xAxis": _axis(f"position, {unit}", "middle", 28) | {"min": 0},
        "yAxis": _axis("current, A", "end", 8) | {"splitNumber": 4} | {"min": 0},
        "series": [
            _line("baseline", _DASHED),
            _line("earlier", _THIN),
            _line("this stroke", _THICK) | {"markLine": {"symbol": "none", "silent": True}},
        ],
    }
    return _chart(
        options, f"strokes-{axis}", "Current against position of this and earlier strokes"
    )


def trace_chart(axis: int, name: str, unit: str) -> ui.echart:
    """Position with its reference, and current with its trip, over the last 60 s."""
    options: dict[str, Any] = {
        "animation": False,
        "legend": _LEGEND,
        "grid": [
            {"outerBoundsMode": "none", "top": 52, "height": 110, "left": 64, "right": 24},
            {"outerBoundsMode": "none", "top": 206, "height": 90, "left": 64, "right": 24},
        ],
        "xAxis": [
            _time(0) | {"axisLabel": {"show": False}},
            _time(1) | {"name": "time before now, s", "nameLocation": "middle", "nameGap": 26},
        ],
        "yAxis": [
            _axis(f"position, {unit}", "end", 10) | {"gridIndex": 0, "scale": True},
            _axis("current, A", "end", 10) | {"splitNumber": 3} | {"gridIndex": 1, "min": 0},
        ],
        "dataZoom": [
            {"type": "inside", "xAxisIndex": [0, 1], "filterMode": "none"},
            {"type": "slider", "xAxisIndex": [0, 1], "bottom": 4, "height": 26,
             "left": 64, "right": 24, "filterMode": "none", "brushSelect": False,
             "showDetail": False},
        ],
        "series": [
            _line("position", _THICK) | {"sampling": "lttb"},
            _line("reference", _DOTTED) | {"sampling": "lttb"},
            _line("current", _THICK) | {"sampling": "max", "xAxisIndex": 1, "yAxisIndex": 1,
                                        "markLine": {"symbol": "none", "silent": True}},
        ],
    }  # fmt: skip
    return _chart(options, f"trace trace-{axis}", f"{name}: position and current of the last 60 s")


def _chart(options: dict[str, Any], name: str, words: str) -> ui.echart:
    chart = ui.echart(options).classes(f"chart {name}")
    chart._props |= {"role": "img", "aria-label": words}
    return chart


def _axis(name: str, where: str, gap: int) -> dict[str, Any]:
    """A value axis with its title."""
    align = {"align": "left"} if where == "end" else {}
    title = {"nameLocation": where, "nameGap": gap, "nameTextStyle": _TEXT | align}
    return {"type": "value", "name": name, **title, "axisLabel": _TEXT}


def _time(grid: int) -> dict[str, Any]:
    return {"type": "value", "gridIndex": grid, "min": -60, "max": 0, "axisLabel": _TEXT}


def _line(name: str, style: dict[str, Any]) -> dict[str, Any]:
    return {"type": "line", "name": name, "symbol": "none", "lineStyle": style, "data": []}
