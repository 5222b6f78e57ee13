"""Before the first real run: a pot that reads at the edge of its scale.

The rod may stand at an end, or the wiper's wire may be in the wrong place: then it would short the
board's own supply as it nears its end. So the rod is nudged, there and back, and no more.
"""

from __future__ import annotations

from rodbench_protocol.names import Ended

from rodbench.science.edge import AT_BOTTOM, Nudges, edge, follows, meaning
from rodbench.science.polarity import LEAD_COUNTS
from rodbench.science.rest import Rest, rest

from . import current
from .budget import Budget
from .current import AtRest
from .job import Job, failed, follow, rest_samples, settle
from .label import length, stroke_about

# Output and time of a nudge each way, the gentlest first. All of them stay within the second of
# drive that the board's guard lets a pot read at an edge.
NUDGES = ((0.2, 0.25), (0.3, 0.4), (0.45, 0.6), (0.6, 0.8))
REST_S = 0.6
SEEN_MM = 0.2  # less than this nobody sees
MOST_MM = 50.0
HINT = (
    "Switch the supply off: a swapped wiper shorts the board's supply as it nears its end. Then "
    "check the pot's three wires: `rodbench wire --identify` tells them apart with an ohmmeter."
)


def leave(job: Job, at_rest: AtRest, stroke_mm: float | None) -> AtRest:
    """What is known at rest, measured anew where the pot read at an edge and was seen to follow.

    Raises ProcedureError for a pot that stays there or does otherwise.
    """
    where = edge(at_rest.pot_raw, job.scale.pot)
    if not where:
        return at_rest
    job.say(
        f"       The pot reads {where} of its scale: the rod stands at an end, or a wire is in the "
        "wrong place. First a nudge, there and back."
    )
    with job.stopping():
        need_s = 2 * sum(seconds for _, seconds in NUDGES)
        Budget(job).ensure(need_s, "nudging the rod")
        stroke_mm = stroke_mm or job.asker.number(stroke_about(job))
        nudge, changes = _nudge_until_sure(job, at_rest, where, stroke_mm)
        job.record("nudge", {"axis": job.number, "pot": where, "changes_raw": changes})
        job.say("       It follows the rod: a rod near its end, not a wire in the wrong place.")
        if edge(_pot(job).mean, job.scale.pot):  # noise is cut off at the edge: away from it
            inwards = (changes[0] - changes[1] > 0.0) == (where == AT_BOTTOM)
            _nudge(job, nudge[0] if inwards else -nudge[0], nudge[1])
    return current.measure(job)


def _nudge_until_sure(
    job: Job, at_rest: AtRest, where: str, stroke_mm: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Nudge, stronger each time, until the pot was seen to follow: output and seconds of that one,
    and the changes of the pot, there and back."""
    drew = 0.0
    moved = False
    for output, seconds in NUDGES:
        changes, error, amps = _there_and_back(job, output, seconds)
        drew = max(drew, amps)
        mm = job.asker.number(
            length(job, "nudge", "How far did the rod go before it came back, about", _near)
        )
        moved = moved or mm >= SEEN_MM
        answer = follows(Nudges(changes, error, mm / stroke_mm), job.scale.pot)
        if answer:
            return (output, seconds), changes
        if answer is False:
            raise failed(
                job,
                f"the rod moved and the pot stayed {where} of its scale: {meaning(where)}",
                HINT,
            )
    raise _stood(job, at_rest, where, drew, moved)


def _near(mm: float) -> str | None:
    return None if 0.0 <= mm <= MOST_MM else "a nudge is a few mm at most"


def _there_and_back(
    job: Job, output: float, seconds: float
) -> tuple[tuple[float, float], float, float]:
    """Changes of the pot in raw, the error of one, and the greater mean current in A."""
    rests, amps = [_pot(job)], 0.0
    for sign in (1, -1):
        amps = max(amps, _nudge(job, sign * output, seconds))
        rests.append(_pot(job))
    before, there, back = rests
    error = max((a.error**2 + b.error**2) ** 0.5 for a, b in ((before, there), (there, back)))
    return (there.mean - before.mean, back.mean - there.mean), error, amps


def _nudge(job: Job, output: float, seconds: float) -> float:
    """One short run; mean current of its second half in A."""
    job.axis.clear()
    job.commit({"creep_output_permille": round(1000 * abs(output))})
    with job.axis.jog_output(output) as motion:
        samples = [s for s in follow(job, motion, seconds) if s.output != 0.0]
    settle(job)
    if job.axis.outcome().ended == Ended.FAULT:
        job.axis.clear()
    half = samples[len(samples) // 2 :]
    return sum(s.current_a for s in half) / len(half) if half else 0.0


def _pot(job: Job) -> Rest:
    return rest([s.raw for s in rest_samples(job, REST_S)[0]])


def _stood(job: Job, at_rest: AtRest, where: str, drew: float, moved: bool) -> Exception:
    reads = f"the pot reads {where} of its scale"
    if moved:
        what = f"{reads} and the rod moved too little to tell why"
        return failed(job, what, "Move the rod away from its end, then start again.")
    if at_rest.sensor is not None and drew < LEAD_COUNTS * at_rest.current_step_a:
        what = f"{reads}, the rod stood and drew no current: motor lead, end switch or driver open"
        return failed(job, what, "Check motor leads, fuse and driver supply.")
    what = f"{reads} and the rod does not move: is it jammed? If not: {meaning(where)}"
    return failed(job, what, HINT)
