"""The duty that is proposed: what the machine file says for the rod, else the default."""

from __future__ import annotations

from rodbench_protocol.settings import defaults

from rodbench.science.proposal import DEFAULT_DUTY, Duty

from .keeper import DUTY, Keeper

SAID = "as the machine file says"


def duty_of(keeper: Keeper, axis: int, rod: str) -> Duty:
    """Share and window for a rod. Another rod's duty says nothing about this one."""
    given = keeper.given(axis, rod, DUTY) if keeper.rod_on(axis) == rod else {}
    known = defaults("axis") | given
    share, window_min = known["duty_share_permille"] / 1000, known["duty_window_s"] / 60
    usual = (share, window_min) == (DEFAULT_DUTY.share, DEFAULT_DUTY.window_min)
    return DEFAULT_DUTY if usual else Duty(share, window_min, SAID)


def note(why: str) -> dict[str, str]:
    """The reason for the machine file, by axis key; none for what the file said itself."""
    return {} if why == SAID else {"duty_share_permille": why}
