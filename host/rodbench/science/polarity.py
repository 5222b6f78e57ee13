"""Which way is out: a verdict from two short runs and what a person saw."""

from dataclasses import dataclass
from enum import StrEnum

SIGMAS = 6.0  # a change of the pot must stand this far out of the error of its two means
LEAST_CHANGE_RAW = 4.0
LEAD_COUNTS = 1.0  # mean current in ADC steps, below which no motor draws


class Seen(StrEnum):
    """What a person says about a run."""

    OUT = "out"
    IN = "in"
    STILL = "still"
    NOT_SEEN = "not seen"


class Finding(StrEnum):
    SETTLED = "settled"
    POT_FROZEN = "pot frozen"
    POT_NOT_FOLLOWING = "pot not following"
    MOTOR_OPEN = "motor lead open"
    NO_MOTION = "no motion"
    NOT_SEEN = "not seen"
    CONTRADICTORY = "contradictory"


@dataclass(frozen=True, slots=True)
class PolarityRun:
    """One run at creep by the lines: `sign` of the output, change of the pot with its error (one
    sigma), mean current with the size of one ADC step (None without a sensor), whether every pot
    reading was the same, and the answer."""

    sign: int
    change_raw: float
    error_raw: float
    current_a: float | None
    step_a: float
    quiet: bool
    seen: Seen

    @property
    def moved(self) -> bool:
        """The pot changed by more than its noise explains."""
        return abs(self.change_raw) > max(LEAST_CHANGE_RAW, SIGMAS * self.error_raw)

    @property
    def draws(self) -> bool | None:
        """The motor drew current; None without a sensor."""
        if self.current_a is None:
            return None
        return self.current_a > LEAD_COUNTS * self.step_a


@dataclass(frozen=True, slots=True)
class Verdict:
    """The finding; direction only when settled. `pot_falls`: raw falls as the rod extends."""

    finding: Finding
    text: str
    motor_reversed: bool = False
    pot_falls: bool = False

    @property
    def settled(self) -> bool:
        return self.finding is Finding.SETTLED


def verdict(a: PolarityRun, b: PolarityRun) -> Verdict:
    """Judge two runs of opposite sign. Only agreement of pot and person settles anything."""
    if a.sign == b.sign:
        raise ValueError("the two runs must be driven in opposite directions")
    if not (a.moved and b.moved):
        return _no_pot_motion(a, b)
    if Seen.NOT_SEEN in (a.seen, b.seen):
        return Verdict(Finding.NOT_SEEN, "nobody saw which way the rod went")
    return _direction(a, b)


def _direction(a: PolarityRun, b: PolarityRun) -> Verdict:
    if Seen.STILL in (a.seen, b.seen):
        return Verdict(
            Finding.CONTRADICTORY,
            "the pot moved but the rod is said to have stood still: are both on the same rod?",
        )
    if a.seen is b.seen:
        return Verdict(
            Finding.CONTRADICTORY,
            f"two opposite runs cannot both go {a.seen.value}",
        )
    if (a.change_raw > 0) == (b.change_raw > 0):
        return Verdict(
            Finding.CONTRADICTORY,
            "the pot went the same way in two opposite runs: is it on this rod, and free of play?",
        )
    reverse = (a.seen is Seen.OUT) != (a.sign > 0)
    falls = (a.seen is Seen.OUT) != (a.change_raw > 0)
    motor = "motor reversed" if reverse else "motor not reversed"
    pot = "pot falls as the rod extends" if falls else "pot rises as the rod extends"
    return Verdict(Finding.SETTLED, f"{motor}, {pot}. Leave the leads as they are.", reverse, falls)


def _no_pot_motion(a: PolarityRun, b: PolarityRun) -> Verdict:
    """At least one run left the pot where it was."""
    still = [run for run in (a, b) if not run.moved]
    if all(run.draws is False for run in still):
        where = "both runs" if len(still) == 2 else "one of the two runs"
        return Verdict(
            Finding.MOTOR_OPEN,
            f"{where} drew no current and the pot stood: motor lead, end switch or driver open",
        )
    went = any(run.seen in (Seen.OUT, Seen.IN) for run in still)
    if went and all(run.quiet for run in still):
        return Verdict(
            Finding.POT_FROZEN,
            "the rod went but every pot reading was the same: the wiper is stuck, or its wire "
            "leads elsewhere",
        )
    if went:
        return Verdict(
            Finding.POT_NOT_FOLLOWING,
            "the rod went but the pot did not follow: is it this rod's pot, and is it coupled?",
        )
    return Verdict(
        Finding.NO_MOTION,
        "the motor draws current but the pot stood and nobody saw the rod go: is it jammed, or "
        "does creep output lack the force?",
    )
