"""The motor supply and the board's own, by a meter; then the limits between which it is watched."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from statistics import fmean

from rodbench.board import Board, BoardSample
from rodbench.errors import ProcedureError, RodbenchError

from .ask import Asker, Kind, Question
from .scale import kind_of

CAUTION = (
    "! The meter stands at V DC, its black probe on the board's GND. Touch the two named places "
    "and nothing else: a probe that slips from 5 V to VIN or a motor wire kills the board, and a "
    "meter set to A shorts the supply. Motor power is on: keep off the rod."
)
WATCH_S = 1.5
BOARD_PERIOD_S = 0.05
LOW_SHARE, HIGH_SHARE = 7 / 8, 5 / 4  # of nominal: a flat lead battery; above one being charged
FULL_SHARE = 0.97  # of what the input can tell
LEAST_V = 0.5  # read, as things stand: below that the divider is not there
OWN_MOST_V = 5.5
OWN_LEAST_SHARE = 0.88  # of the nominal reference, as the board's own rule has it
METER_V = (3.0, 36.0)
RATIO = (1.0, 20.0)


@dataclass(frozen=True, slots=True)
class Supply:
    """What the meter said, and what follows from it; V. `high_v` None: the input cannot tell it.
    `step_v`: one step of the board's reading."""

    board_5v: float
    meter_v: float
    as_read_v: float  # with the ratio as it was
    ratio: float
    nominal_v: float
    low_v: float
    high_v: float | None
    step_v: float

    def settings(self) -> dict[str, int]:
        """Board keys, wire units."""
        return {
            "board_5v_mv": round(1000 * self.board_5v),
            "supply_ratio_x1000": round(1000 * self.ratio),
            "supply_calibrated": 1,
            "supply_low_mv": round(1000 * self.low_v),
            "supply_high_mv": round(1000 * self.high_v) if self.high_v else 0,
        }

    def notes(self) -> dict[str, str]:
        """Evidence for the machine file, by board key."""
        return {
            "board_5v_mv": "by the meter, at its 5 V pin",
            "supply_ratio_x1000": f"meter {self.meter_v:.2f} V, before {self.as_read_v:.2f} V",
            "supply_low_mv": "7/8 of nominal, or as you set it",
            "supply_high_mv": "5/4 of nominal, or as you set it",
        }


def calibrate(board: Board, asker: Asker, say: Callable[[str], None]) -> Supply:
    """Ask for both readings, reckon, and leave the result in force until reset.

    Raises ProcedureError where reading and board cannot both be true, UsageError for a caution
    that was not accepted, Refused while an axis moves.
    """
    say(CAUTION)
    if not asker.accept(Question("caution_meter", "Go on?", Kind.CAUTION, ("yes", "no"))):
        raise failed("the caution was not accepted", "Nothing is measured without it.")
    live = board.read_scope(0)
    own_v = _own(board, asker)
    before = live["board_5v_mv"]
    board.write_scope(0, {"board_5v_mv": round(1000 * own_v)})
    try:
        found = _measured(board, asker, live, own_v)
        found = _agreed(asker, say, found, _most_v(found))
        board.write_scope(0, found.settings())
    except BaseException:
        with contextlib.suppress(RodbenchError):
            board.write_scope(0, {"board_5v_mv": before})
        raise
    return found


def failed(what: str, hint: str) -> ProcedureError:
    """The error of a step that cannot go on; nothing of it was kept."""
    return ProcedureError(what, kept="The board's settings are as before.", hint=hint)


def _own(board: Board, asker: Asker) -> float:
    nominal = kind_of(board.hello.board_kind).adc_reference_mv / 1000
    least = nominal * OWN_LEAST_SHARE

    def check(volts: float) -> str | None:
        if least <= volts <= OWN_MOST_V:
            return None
        return f"a board of {nominal:g} V works between {least:.2f} and {OWN_MOST_V:g} V"

    text = f"       Red probe on the board's own {nominal:g} V pin, not on VIN. What does it show?"
    return asker.number(Question("meter_board_5v", text, unit="V", check=check))


def _measured(board: Board, asker: Asker, live: Mapping[str, int], own_v: float) -> Supply:
    def check(volts: float) -> str | None:
        low, high = METER_V
        return None if low <= volts <= high else f"a motor supply has {low:g} to {high:g} V"

    text = (
        "       Red probe on the motor supply's plus, where the driver has it. What does it show?"
    )
    meter_v = asker.number(Question("meter_supply_v", text, unit="V", check=check))
    as_read = _read(board)
    if as_read < LEAST_V:
        raise failed(
            f"the board reads {as_read:.2f} V where the meter shows {meter_v:.2f} V",
            "Wire the divider of the supply input (`rodbench wire`), or look at its ground.",
        )
    ratio = live["supply_ratio_x1000"] / 1000 * meter_v / as_read
    if not RATIO[0] <= ratio <= RATIO[1]:
        raise failed(
            f"a divider of {ratio:.2f} to 1 would follow, beyond {RATIO[0]:g} to {RATIO[1]:g}",
            "Measure again, or look at the divider's two resistors.",
        )
    nominal = live["supply_nominal_mv"] / 1000
    low, high = round(nominal * LOW_SHARE, 1), round(nominal * HIGH_SHARE, 1)
    step = round(own_v / kind_of(board.hello.board_kind).supply_full_scale * ratio, 4)
    return Supply(own_v, meter_v, round(as_read, 3), round(ratio, 3), nominal, low, high, step)


def _read(board: Board) -> float:
    """The supply as the board reads it now, by the mean."""
    board.subscribe(BOARD_PERIOD_S, BOARD_PERIOD_S)
    seen = [s.supply_v for s in board.watch(WATCH_S) if isinstance(s, BoardSample)]
    if not seen:
        raise failed("the board sends no telemetry", "rodbench info")
    return fmean(seen)


def _most_v(found: Supply) -> float:
    """The highest supply that the input can tell."""
    return FULL_SHARE * found.board_5v * found.ratio


def _agreed(asker: Asker, say: Callable[[str], None], found: Supply, most_v: float) -> Supply:
    """The limits, as the person accepts or sets them. Raises ProcedureError."""
    if found.meter_v > most_v:
        raise failed(
            f"the input is full at {most_v:.1f} V: it cannot tell {found.meter_v:.2f} V",
            "A divider of a higher ratio (`rodbench wire`).",
        )
    if found.high_v is not None and found.high_v > most_v:
        found = replace(found, high_v=round(most_v, 1) if most_v > found.nominal_v else None)
    _say(say, found)
    question = Question(
        "accept_supply", "       Accept, or edit?", Kind.DECISION, ("accept", "edit")
    )
    if asker.ask(question) == "edit":
        found = _edited(asker, found, most_v)
        _say(say, found)
    if not found.low_v < found.meter_v < (found.high_v or most_v):
        raise failed(
            f"{found.meter_v:.2f} V by the meter lies outside {_limits(found)}: it would stop at "
            "once",
            "Is supply_nominal_v in the machine file what this supply is built for?",
        )
    return found


def _edited(asker: Asker, found: Supply, most_v: float) -> Supply:
    def below(volts: float) -> str | None:
        return None if 0 < volts < found.nominal_v else f"it lies below {found.nominal_v:g} V"

    def above(volts: float) -> str | None:
        good = found.nominal_v < volts <= most_v
        return None if good else f"it lies between {found.nominal_v:g} and {most_v:.1f} V"

    def ask(which: str, words: str, check: Callable[[float], str | None]) -> float:
        text = f"       {words}?"
        return asker.number(Question(which, text, Kind.DECISION, unit="V", check=check))

    low = ask("edit_supply_low_v", "Stop below", below)
    return replace(found, low_v=low, high_v=ask("edit_supply_high_v", "Stop above", above))


def _say(say: Callable[[str], None], found: Supply) -> None:
    say(
        f"       supply {found.meter_v:.2f} V by the meter, {found.as_read_v:.2f} V before: "
        f"divider {found.ratio:.3f} to 1"
    )
    say(
        f"       read in steps of {found.step_v:.3f} V, and no surer than the meter: 1 % that it "
        "is off is 1 % of every V, of the limits too"
    )
    high = "" if found.high_v else "   too high for the input: not watched above"
    say(f"       watched {_limits(found)} (nominal {found.nominal_v:g} V){high}")


def _limits(found: Supply) -> str:
    return f"{found.low_v:g} .. {found.high_v:g} V" if found.high_v else f"{found.low_v:g} V and up"
