"""What must be said before something moves."""

from .ask import Kind, Question
from .guarded import not_guarded
from .job import Job, failed

CRUSH = (
    "! The rod can crush a hand, and it starts by itself in the next steps. Clamp "
    "the body, nothing between the ends, a switch that cuts motor power within "
    "reach. Any key stops the rod."
)
CRUSH_MOUNTED = (
    "! The rod moves the machine, and starts by itself in the next steps. Nobody in its way, "
    "nothing under it, a switch that cuts motor power within reach. Any key stops the rod."
)
SALVAGED = (
    "! Nobody knows what this rod bears. A bench supply with its current limit set low, a fuse, "
    "and an eye on it: stop at a smell, at smoke, or when the body gets hot to the hand."
)
FULL_SPEED = "! Full speed comes next: the rod starts hard and runs on after the stop."
STILL_YOURS = (
    "Still yours: fuse, guarding, a brake if the load can push the rod back; local codes and those "
    "licensed for this work come first."
)


def crush(rod: str) -> Question:
    """The caution before the first motion: the rod's name is typed, so that it is read."""
    return Question(
        "caution_crush", f"Type the rod's name to go on: {rod}\n>", Kind.CAUTION, consent=rod
    )


def full_speed() -> Question:
    """The caution before full speed."""
    return Question(
        "caution_full_speed", "Full speed, twice each way. Go on?", Kind.CAUTION, ("yes", "no")
    )


def creep(what: str) -> Question:
    """The caution before a single procedure at creep."""
    return Question("caution_creep", f"{what} Go on?", Kind.CAUTION, ("yes", "no"))


def first_motion(job: Job, rod: str, words: str = CRUSH) -> None:
    """What is not guarded, the caution, and the rod's name. Raises ProcedureError when it is not
    accepted."""
    job.say("       " + not_guarded(job.board_live, job.live))
    job.say(words)
    consent(job, crush(rod))


def consent(job: Job, question: Question) -> None:
    """Ask for a caution. Raises ProcedureError when it is not accepted."""
    if not job.asker.accept(question):
        raise failed(job, "the caution was not accepted", "Nothing moves without it.")
