"""The installed programmer, avrdude: its line, its run, and what its words mean."""

from __future__ import annotations

import enum
import os
import re
import shlex
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from rodbench.errors import RodbenchError
from rodbench.load.images import Bootloader

PROGRAM = "avrdude"
INSTALL = (
    "install avrdude: Debian and Ubuntu `sudo apt install avrdude`; elsewhere your system's "
    "packages, or the one that a board's own development kit brings (put it on PATH)"
)
CHIP = 0x1E950F  # signature of the ATmega328P (data sheet, "Signature Bytes")
TRIES = 3  # unanswered calls, of up to 5 s each; avrdude by itself would make ten
NO_PORT = re.compile(r"can'?t open (device|port)|cannot open port|ser_open\(\): can", re.I)
UNANSWERED = re.compile(r"not in sync", re.I)
SIGNATURE = re.compile(r"device signature = 0x([0-9a-f]{6})", re.I)
WRITING = re.compile(r"writing \d+ bytes? (to )?flash|Writing \|", re.I)


class Outcome(enum.Enum):
    """What a run of the programmer came to."""

    LOADED = "written and compared"
    NO_PORT = "the port could not be opened"
    SILENT = "no bootloader answered; nothing was written"
    OTHER_CHIP = "another chip; nothing was written"
    NOT_BEGUN = "ended before anything was written"
    CUT = "ended while the program was being written"


@dataclass(frozen=True, slots=True)
class Run:
    """A run: the outcome, all that avrdude said, and what interrupted it, if anything did."""

    outcome: Outcome
    log: str
    signature: int | None = None
    interrupted: BaseException | None = None


def find() -> str | None:
    """The installed avrdude, or None."""
    return shutil.which(PROGRAM)


def arguments(port: str, image: Path, bootloader: Bootloader) -> list[str]:
    """What avrdude is given. `-D`: pages are erased one by one; a bootloader cannot erase all."""
    chip = ["-p", "m328p", "-c", "arduino", "-b", str(bootloader.baud), "-P", port]
    return [*chip, "-D", "-U", f"flash:w:{image}:i"]


def line(port: str, image: Path, bootloader: Bootloader) -> str:
    """The line as a person types it."""
    words = [PROGRAM, *arguments(port, image, bootloader)]
    return subprocess.list2cmdline(words) if os.name == "nt" else shlex.join(words)


def run(program: str, words: list[str], heard: Callable[[str], object]) -> Run:
    """Run avrdude to its end; `heard` gets its words as they come.

    It is ended after TRIES calls that no bootloader answered, when nothing can have been written,
    and when this program is interrupted.
    """
    process = subprocess.Popen(
        [program, *words],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    log, interrupted = "", None
    assert process.stdout is not None
    try:
        while data := os.read(process.stdout.fileno(), 4096):
            text = data.decode(errors="replace")
            log += text
            heard(text)
            if len(UNANSWERED.findall(log)) >= TRIES and not SIGNATURE.search(log):
                process.terminate()
                break
        process.wait()
    except (KeyboardInterrupt, RodbenchError) as stop:
        interrupted = stop
        process.terminate()
        process.wait()
    finally:
        process.stdout.close()
    return replace(judge(log, process.returncode), interrupted=interrupted)


def judge(log: str, code: int) -> Run:
    """What a run's words and exit code mean."""
    found = SIGNATURE.search(log)
    signature = int(found[1], 16) if found else None
    if code == 0:
        return Run(Outcome.LOADED, log, signature)
    if NO_PORT.search(log):
        return Run(Outcome.NO_PORT, log)
    if signature is None:
        return Run(Outcome.SILENT, log)
    if WRITING.search(log):
        return Run(Outcome.CUT, log, signature)
    other = signature not in (CHIP, 0)
    return Run(Outcome.OTHER_CHIP if other else Outcome.NOT_BEGUN, log, signature)
