"""Figures with their names, as a list that changes in place."""

from __future__ import annotations

import contextlib

from nicegui import ui

from rodbench.page.look.figures import Figure


class Facts:
    """Rows inside a `dl`; `row`: the element around a name and its figure, if any."""

    def __init__(self, place: ui.element, row: str = "") -> None:
        self._place, self._around = place, row
        self._rows: dict[str, tuple[ui.label, ui.linear_progress | None]] = {}

    def show(self, found: list[Figure]) -> None:
        """Put these figures there; names that are new get a row."""
        for figure in found:
            if figure.name not in self._rows:
                with self._place, self._row_place():
                    self._rows[figure.name] = _row(figure)
            label, meter = self._rows[figure.name]
            label.text = figure.text
            if meter is not None and figure.part is not None:
                meter.value = round(figure.part, 2)

    def _row_place(self) -> contextlib.AbstractContextManager[object]:
        return ui.element(self._around) if self._around else contextlib.nullcontext()


def _row(figure: Figure) -> tuple[ui.label, ui.linear_progress | None]:
    meter = None
    with ui.element("dt"):
        ui.label(figure.name)
    with ui.element("dd"):
        label = ui.label(figure.text)
        if figure.part is not None:
            meter = ui.linear_progress(figure.part, show_value=False, color=None).classes("meter")
            meter.props("instant-feedback")
            meter._props["aria-label"] = figure.name
    return label, meter
