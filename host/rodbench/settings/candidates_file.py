"""Candidates: the data sheets of rods that may do a job, many in a file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rodbench.science.candidate import Sheet
from rodbench.science.screw import HALF_ANGLES, Screw
from rodbench.settings.job_keys import CANDIDATE
from rodbench.settings.lines import Place
from rodbench.settings.parse import Parsed
from rodbench.settings.sheets import begin, read_table, unknown_tables, value_of

# Key of the file: field of the sheet.
_NUMBERS = {
    "stroke_mm": "stroke_mm",
    "dynamic_force_n": "force_n",
    "voltage_v": "volts",
    "retracted_pin_to_pin_mm": "retracted_mm",
    "static_force_n": "static_n",
    "speed_no_load_mm_s": "speed_free_mm_s",
    "speed_rated_mm_s": "speed_rated_mm_s",
    "current_no_load_a": "amps_free",
    "current_rated_a": "amps_rated",
    "duty_share": "duty",
    "rod_diameter_mm": "rod_mm",
    "pot_ohm": "pot_ohm",
}


def read_candidates(text: str, file: str) -> tuple[list[Sheet], Parsed]:
    """The sheets, in the order of the file, and the findings."""
    parsed, document = begin(text, file, "candidates_file")
    if document is None:
        return [], parsed
    unknown_tables(parsed, document, ["candidates_file", "candidates"])
    table = document.get("candidates", {})
    if not isinstance(table, Mapping) or not table:
        parsed.add(("candidates",), "there is no candidate: write [candidates.NAME], one for each.")
        return [], parsed
    for name, raw in table.items():
        read_table(parsed, ("candidates", name), raw, CANDIDATE)
        if isinstance(raw, Mapping):
            _contradictions(parsed, ("candidates", name), raw)
    if parsed.findings:
        return [], parsed
    return [_sheet(parsed, ("candidates", name)) for name in table], parsed


def _contradictions(parsed: Parsed, at: Place, raw: Mapping[str, Any]) -> None:
    """What no rod can be."""
    speeds = ("speed_no_load_mm_s", "speed_rated_mm_s", "speed_no_load", "speed_rated")
    if not any(name in raw for name in speeds):
        text = f"[{'.'.join(at)}] has neither speed_no_load_mm_s nor speed_rated_mm_s: one of them "
        parsed.add(at, text + "must be there.")
    _not_above(parsed, at, "speed_rated_mm_s", "speed_no_load_mm_s")
    _not_above(parsed, at, "current_no_load_a", "current_rated_a")
    screw = [parsed.get(at, name) for name in ("screw_diameter_mm", "screw_lead_mm")]
    for found, other in (screw, screw[::-1]):
        if found and not other:
            text = (
                f"{found.said}: a screw is known by screw_diameter_mm and screw_lead_mm together."
            )
            parsed.add((*at, found.name), text)


def _not_above(parsed: Parsed, at: Place, less: str, more: str) -> None:
    low, high = parsed.get(at, less), parsed.get(at, more)
    if low and high and float(low.value) > float(high.value):
        text = f"{low.said} is above {high.said} (line {high.line}): no rod does that."
        parsed.add((*at, low.name), text)


def _sheet(parsed: Parsed, at: Place) -> Sheet:
    numbers = {ours: value_of(parsed, at, theirs) for theirs, ours in _NUMBERS.items()}
    window, feedback = (value_of(parsed, at, n) for n in ("duty_window_min", "feedback"))
    return Sheet(
        name=at[-1],
        **numbers,
        window_s=None if window is None else 60.0 * window,
        pot=None if feedback is None else feedback == "pot",
        screw=_screw(parsed, at),
        self_locking=value_of(parsed, at, "self_locking"),
        motor=value_of(parsed, at, "motor", ""),
    )


def _screw(parsed: Parsed, at: Place) -> Screw | None:
    mean, lead = (value_of(parsed, at, name) for name in ("screw_diameter_mm", "screw_lead_mm"))
    if mean is None or lead is None:
        return None
    return Screw(mean, lead, HALF_ANGLES[value_of(parsed, at, "screw_thread", "square")])
