"""Exit codes, one table for `rodbench --help`, the README and the tests."""

CODES: tuple[tuple[int, str], ...] = (
    (0, "done"),
    (1, "no failure: settings differ, no rod does the job, something has changed"),
    (2, "a command or an argument that cannot be meant"),
    (3, "the port cannot be had: not there, no permission, held"),
    (4, "no answer, or not a rodbench board"),
    (5, "the board speaks another protocol version"),
    (6, "the board refused; nothing changed"),
    (7, "the machine file (or a job's files), or its settings, are wrong"),
    (8, "a guard tripped"),
    (9, "a fact or a consent is needed that only a person can give"),
    (10, "no reply: what was asked may or may not have been done"),
    (11, "the link was lost, or the board started anew, in the middle"),
    (12, "a procedure or a motion did not come to its end; the text says why"),
    (13, "a proof was made, and a required value was missed; the table says which"),
    (70, "a fault of rodbench itself; the text names the file with the details"),
    (130, "stopped by Ctrl-C, a signal, a key, or `stop` elsewhere; the rod rests"),
)
DIFFERENT = 1
MISSED = 13
BUG = 70


def table() -> str:
    """The table as text, a line each."""
    return "\n".join(f"  {code:>3}  {meaning}" for code, meaning in CODES)
