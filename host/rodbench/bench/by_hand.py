"""A mounted rod: its ends are shown by hand, never sought.

Where the bench has found the rod's own ends they stay, and what is shown are the machine's working
ends inside them. Where not, the shown ends become the endpoints, by a person's measure.
"""

from __future__ import annotations

from dataclasses import replace

from rodbench.science.rest import Rest

from . import cautions, current, edge, ordinary, polarity, speed
from .budget import Budget
from .current import AtRest
from .endpoints import say_provisional
from .found_ends import SHOWN, Endpoints
from .job import Job, failed
from .keeper import Keeper, KnownRod
from .label import Label, length, pin_to_pin, wrong_stroke
from .leg import Leg, creep_a, creep_raw_s
from .ordinary import TRIAL_GUESS_S, Commissioned
from .places import places
from .polarity import Polarity, Room
from .reach import AskedHand, Hand, Reach, capture
from .straight import check_between

ROOM_SHARE = 0.05  # of the stroke that the direction runs need, each way
ROOM_LEAST_MM = 3.0
ROOM_USED = 0.6
LEAST_POT_SHARE = 0.4  # of its scale that a pot uses over the stroke, as far as not known
LEAST_SPAN_RAW = 400
LEAST_ROOM_MM = 2.0  # between the working ends
OUTSIDE_SHARE, OUTSIDE_MM = 0.01, 1.0  # past an own end this is no scatter
MARGIN_RAW, MARGIN_SHARE = 40, 0.02
ENDS = ("retracted", "extended")


def commission(job: Job, keeper: Keeper, label: Label) -> Commissioned:
    """Sections 2 to 8 for a mounted rod.

    Raises ProcedureError for a lack of room, for working ends that contradict the rod, and when the
    proposal is left.
    """
    known = keeper.known_rod(label.rod)
    assert label.stroke_mm is not None
    room_mm = ask_room(job, label.stroke_mm)
    _say_cost(job, label.stroke_mm)
    cautions.first_motion(job, label.rod, cautions.CRUSH_MOUNTED)
    at_rest = edge.leave(job, current.measure(job), label.stroke_mm)
    raw_mm = _raw_per_mm(job, label.stroke_mm, known)
    way = polarity.find(job, at_rest, Room(at_rest.pot_raw, ROOM_USED * room_mm * raw_mm))
    _same_direction(job, way.pot_falls, known)
    ends, short_mm = find(job, at_rest, way, known)
    if short_mm is None:
        return ordinary.finish(job, keeper, label, at_rest, way, ends)
    label = replace(label, retracted_pin_to_pin_mm=short_mm, stroke_mm=ends.stroke_mm)
    return ordinary.finish(
        job, keeper, label, at_rest, way, ends, lambda: check_between(job, ends, short_mm)
    )


def find(
    job: Job, at_rest: AtRest, way: Polarity, known: KnownRod | None
) -> tuple[Endpoints, float | None]:
    """Have both working ends shown, and put provisional soft stops inside them in force.

    Gives the ends, and pin to pin in mm at the retracted one where the person measured it. Nothing
    is stored. Raises ProcedureError for contradictions.
    """
    hand: Hand = job.asker.hand or AskedHand()
    job.say(
        " 4 Working ends                       by hand, at creep: hold a key, let go in time; the "
        "rod's own ends are not sought"
    )
    with job.stopping():
        job.uncalibrate()
        reach = Reach(job, at_rest, way, known)
        creep = round(1000 * reach.output_most)
        job.commit({"creep_output_permille": creep, "stall_time_ms": polarity.STALL_MS})
        shown, lengths = _shown(job, hand, reach, known)
        if known is None:
            job.forget_table()
            found = _as_endpoints(job, reach, shown, lengths[1] - lengths[0])
        else:
            found = _inside_known(job, reach, shown, known)
        job.commit(found.provisional())
    say_provisional(job, found)
    job.record("calibrate endpoints", {"axis": job.number, "found": found, "by": "hand"})
    return found, lengths[0] if lengths else None


def ask_room(job: Job, stroke_mm: float) -> float:
    """The room in mm that the direction runs may use, each way; a fact from the person first."""
    need_mm = max(ROOM_LEAST_MM, ROOM_SHARE * stroke_mm)
    words = "Room from here to the nearer end that the machine leaves"
    room_mm = job.asker.number(length(job, "room", words))
    if room_mm < need_mm:
        raise failed(
            job,
            f"{job.units.length(room_mm)} of room: the first runs go up to "
            f"{job.units.length(need_mm)} either way, before anybody knows which way is out",
            "Unbolt one end of the rod, or turn it by hand to the middle of its way; then start "
            "again.",
        )
    return need_mm


def _say_cost(job: Job, stroke_mm: float) -> None:
    """A guess before the first motion."""
    reach_s = 1.5 * polarity.CROSSING_MOUNTED_S * 0.8  # from the middle to one end, then across
    fast_s = speed.planned_s(stroke_mm, stroke_mm / polarity.CROSSING_MOUNTED_S, 0.3)
    motor_s = polarity.MOST_S + reach_s + fast_s + TRIAL_GUESS_S
    Budget(job).say_cost(motor_s, "at most, less for a quick rod")


def _raw_per_mm(job: Job, stroke_mm: float, known: KnownRod | None) -> float:
    """Raw a mm of way, the least that is to be expected where it is not known."""
    if known is not None:
        return abs(known.raw[1] - known.raw[0]) / known.stroke_mm
    return LEAST_POT_SHARE * job.scale.pot / stroke_mm


def _same_direction(job: Job, falls: bool, known: KnownRod | None) -> None:
    if known is None or falls == (known.raw[1] < known.raw[0]):
        return
    words = ("rises", "falls")
    raise failed(
        job,
        f"the pot {words[falls]} as the rod extends; on the bench it was seen that it "
        f"{words[not falls]}",
        "Were the pot's end leads swapped when it was mounted, or is this another rod? Give it "
        "another name then.",
    )


def _shown(
    job: Job, hand: Hand, reach: Reach, known: KnownRod | None
) -> tuple[list[Rest], list[float]]:
    """The pot at both working ends, and pin to pin there in mm where the rod is not known."""
    shown: list[Rest] = []
    lengths: list[float] = []
    job.board.listeners.append(reach.hear)
    try:
        for end in ENDS:
            hand.bring(reach, end)
            shown.append(capture(job))
            mm = _place(job, known, shown[-1].mean) if known else 0.0
            place = f", {job.units.length(mm)}" if known else ""
            job.say(
                f"       {end} working end: raw {shown[-1].mean:.0f}, noise {shown[-1].rms:.1f}"
                f"{place}"
            )
            if known is None:
                _check_order(reach, shown)
                lengths.append(_measure(job, end, lengths))
    finally:
        job.board.listeners.remove(reach.hear)
    return shown, lengths


def _check_order(reach: Reach, shown: list[Rest]) -> None:
    """The second end lies further out than the first, by the pot."""
    if len(shown) == 2 and (shown[1].mean < shown[0].mean) != reach.way.pot_falls:
        raise failed(
            reach.job,
            "the retracted working end was shown further out than the extended one: were the two "
            "swapped?",
            "Show them again: retracted first.",
        )


def _measure(job: Job, end: str, before: list[float]) -> float:
    words = f"Pin to pin here, at the {end} working end"
    if not before:
        return pin_to_pin(job, f"working_{end}_pin_to_pin", words)
    return job.asker.number(
        length(job, f"working_{end}_pin_to_pin", words, lambda mm: wrong_stroke(job, before[0], mm))
    )


def _place(job: Job, known: KnownRod, raw: float) -> float:
    """Position in mm from the rod's own retracted end, by the axis's table where it has one: the
    soft stops that follow are kept by that."""
    own = {"raw_retracted": known.raw[0], "raw_extended": known.raw[1]}
    stroke = {"stroke_um": round(1000 * known.stroke_mm)}
    return places(job.live | own | stroke)(raw)


def _inside_known(job: Job, reach: Reach, shown: list[Rest], known: KnownRod) -> Endpoints:
    """The rod's own ends with the working ends inside them."""
    low, high = shown_mm = [_place(job, known, one.mean) for one in shown]
    units = job.units
    slack = max(OUTSIDE_MM, OUTSIDE_SHARE * known.stroke_mm)
    if low > high:
        raise failed(
            job,
            f"the retracted working end was shown at {units.length(low)}, further out than the "
            f"extended one at {units.length(high)}: were the two swapped?",
            "Show them again: retracted first.",
        )
    if high - low < max(LEAST_ROOM_MM, 0.02 * known.stroke_mm):
        raise failed(
            job,
            f"the working ends are {units.length(high - low)} apart: no room to work in",
            "Show them again.",
        )
    for end, place in zip(ENDS, shown_mm, strict=True):
        if not -slack <= place <= known.stroke_mm + slack:
            raise failed(
                job,
                f"the {end} working end lies at {units.length(place)}, outside the rod's own "
                f"{units.span(0.0, known.stroke_mm)}",
                "Is this the rod that was on the bench? If not, give it another name.",
            )
    scale = known.stroke_mm / abs(known.raw[1] - known.raw[0])
    ends = _ends(job, reach, scale)
    return replace(
        ends,
        stroke_mm=known.stroke_mm,
        raw=known.raw,
        spread_mm=(known.spread_mm, known.spread_mm),
        kinds=known.kinds,
        reasons=("found on the bench", "found on the bench"),
        working_mm=(max(0.0, low), min(known.stroke_mm, high)),
        pot_margin_raw=_margin(job, known.raw),
    )


def _as_endpoints(job: Job, reach: Reach, shown: list[Rest], stroke_mm: float) -> Endpoints:
    """The shown ends as the endpoints: positions count from the retracted one."""
    raw = (round(shown[0].mean), round(shown[1].mean))
    span = raw[1] - raw[0]
    if abs(span) < LEAST_SPAN_RAW:
        raise failed(
            job,
            f"the working ends are only {abs(span)} raw apart: the pot does not tell enough",
            "Does the pot turn over the whole way? Show the ends again.",
        )
    scale = stroke_mm / abs(span)
    job.say(
        "       The rod's own ends are not known: positions count from the retracted working end."
    )
    ends = _ends(job, reach, scale)
    error = (6.0 * shown[0].error * scale, 6.0 * shown[1].error * scale)
    return replace(
        ends, stroke_mm=stroke_mm, raw=raw, spread_mm=error, pot_margin_raw=_margin(job, raw)
    )


def _margin(job: Job, raw: tuple[int, int]) -> int:
    edge_raw = min(min(r, job.scale.pot - r) for r in raw)
    wide = max(MARGIN_RAW, round(MARGIN_SHARE * abs(raw[1] - raw[0])))
    return max(4, min(wide, edge_raw - 1))


def _ends(job: Job, reach: Reach, scale: float) -> Endpoints:
    """What the hand's motions have told of creep; places are put in by the caller."""
    legs = {way: _best(reach.legs, way) for way in (1, -1)}
    raw_s = [creep_raw_s(legs[way], reach.way, way) for way in (1, -1)]
    amps = [creep_a(legs[way], reach.way, way) for way in (1, -1)]
    peaks = [max(amp, *_all_amps(reach, way)) for way, amp in zip((1, -1), amps, strict=True)]
    return Endpoints(
        stroke_mm=0.0,
        raw=(0, job.scale.pot),
        spread_mm=(0.0, 0.0),
        kinds=(SHOWN, SHOWN),
        reasons=("shown by hand", "shown by hand"),
        stopped_a=(0.0, 0.0),
        stopped_output=(0.0, 0.0),
        creep_mm_s=(raw_s[0] * scale, raw_s[1] * scale),
        creep_a=(amps[0], amps[1]),
        creep_peak_a=(peaks[0], peaks[1]),
        creep_output=reach.way.creep_output,
        dropout_raw=0.0,
        pot_margin_raw=MARGIN_RAW,
        full_scale=job.scale.pot,
    )


def _best(legs: list[Leg], way: int) -> Leg | None:
    """The longest leg of this way that tells a speed."""
    good = [leg for leg in legs if leg.way == way and leg.raw_s()]
    return max(good, key=lambda leg: len(leg.samples), default=None)


def _all_amps(reach: Reach, way: int) -> list[float]:
    """Currents in A of all presses this way: a load differs from place to place."""
    return [0.0, *(leg.current_a() or 0.0 for leg in reach.legs if leg.way == way)]
