"""Refusals of the board in words: the reason, what was left, what to try."""

from __future__ import annotations

from rodbench_protocol.names import Status
from rodbench_protocol.schema import load_schema

from rodbench.errors import ProtocolMismatch, Refused

_HINTS: dict[int, str] = {
    Status.DUTY_SPENT: "let the motor rest; `rodbench info` shows when the budget allows a start",
    Status.FAULTED: "see why (`rodbench info`), look at the rod, then `rodbench clear`",
    Status.IN_MOTION: "wait until the axis is at rest, or `rodbench stop`",
    Status.STOP_STANDING: "wait until the axis is at rest",
    Status.UNCALIBRATED: "calibrate first: `rodbench commission`; until then jog by output",
    Status.CALIBRATED: "commit the axis to uncalibrated first, or jog by speed",
    Status.NOT_FITTED: "`rodbench commission` sets it up; `settings push` if the file has its rod",
    Status.OUTSIDE: "ask for a target between the soft stops",
    Status.GANGED: "once both are calibrated `move` and `jog` move both, `rodbench level` one "
    "alone; [gang] taken out and pushed, each moves on its own",
    Status.LOCAL_CONTROL: "rodbench local AXIS --take",
    Status.BUSY: "a store takes about two seconds: ask again",
    Status.NO_DRAFT: "the draft was dropped (a restart, or another program): begin again",
}
_OFF_HINT = "let the motor rest: `rodbench info` shows how long"
DUTY_NEVER = 0xFFFF
_SETTING_STATUSES = (Status.UNKNOWN_SETTING, Status.SETTING_RANGE, Status.CROSS_RULE)


def refusal(request: str, status: int, detail: int, scope: int | None = None) -> Refused:
    """The error of a reply whose status is not ok; `scope` lets settings be named."""
    reason, hint = _reason(status), _HINTS.get(status)
    if scope is not None and status in _SETTING_STATUSES:
        reason = _about_setting(status, detail, scope)
    elif status == Status.FAULTED:
        reason = f"{reason}: {fault_words(detail)}"
    elif status == Status.BAD_VALUE:
        reason = f"{reason}: {_field(request, detail)}"
    elif status == Status.DUTY_SPENT:
        reason = _about_duty(detail)
    elif request == "credit_off" and status == Status.NOTHING_KEPT:
        reason = "time without power counts only after power came on, before any motion, and once"
        hint = _OFF_HINT
    return Refused(
        f"{request} refused: {reason}",
        request=request,
        status=status,
        status_name=_name(status),
        detail=detail,
        kept="nothing changed on the board",
        hint=hint,
    )


def major_refused() -> ProtocolMismatch:
    """The board does not take our protocol major."""
    return ProtocolMismatch(
        "the board refuses this program's protocol",
        kept="nothing changed on the board",
        hint="load the firmware that belongs to this program, or install the other",
    )


def _name(status: int) -> str:
    return next((s.name.lower() for s in Status if s == status), f"status {status}")


def _reason(status: int) -> str:
    choices = load_schema().enums["status"].values
    return next((c.doc for c in choices if c.value == status), f"status {status}, unknown here")


def _about_duty(wait_s: int) -> str:
    """A board before minor 2 says 0: it does not tell how long."""
    reason = "the duty budget does not allow a start"
    if wait_s == DUTY_NEVER:
        return f"{reason}: it is longer than the whole budget"
    minutes, seconds = divmod(wait_s, 60)
    wait = f"{minutes} min {seconds:02d} s" if minutes else f"{seconds} s"
    return f"{reason}: wait {wait}" if wait_s else reason


def _field(request: str, place: int) -> str:
    fields = load_schema().messages[request].body.fields
    return fields[place - 1].name if 0 < place <= len(fields) else f"field {place}"


def _about_setting(status: int, detail: int, scope: int) -> str:
    kind = "axis" if scope else "board"
    where = f"axis {scope}" if scope else "board"
    key = next((k for k in load_schema().keys(kind) if k.id == detail & 0xFF), None)
    name = key.name if key else f"key {detail & 0xFF}"
    if status == Status.CROSS_RULE:
        rules = load_schema().rules
        number = detail >> 8
        rule = next((r for r in rules if r.scope == kind and r.id == number), None)
        return f"{where} {name}: {rule.text if rule else f'rule {number}'}"
    if status == Status.SETTING_RANGE and key:
        return f"{where} {name} is outside {key.setting.min}..{key.setting.max}"
    return f"{where} {name}: {_reason(status)}"


def fault_words(number: int) -> str:
    """A fault as 'name: sentence'."""
    choices = load_schema().enums["fault"].values
    return next((f"{c.name}: {c.doc}" for c in choices if c.value == number), f"fault {number}")
