"""Loading a board, step by step: look, pull, write, look again, put back. Nothing ever moves."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from rodbench_protocol.names import BoardKind

from rodbench.board import Board, Hello
from rodbench.errors import (
    Interrupted,
    NoAnswer,
    PortError,
    ProcedureError,
    Refused,
    RodbenchError,
    UsageError,
)
from rodbench.link.transport import BAUD
from rodbench.load import backup, programmer
from rodbench.load.images import NEW, OLD, WHOLE, About, Bootloader, about, hex_file
from rodbench.load.programmer import Outcome, Run
from rodbench.owner.link import OwnerLink
from rodbench.owner.start import kept_free

Say = Callable[[str], None]
POWER_OFF = (
    "! Switch motor power off until this has ended: while a program is being written, and with "
    "half of one, nothing guards the rod, and what the pins do is unknown."
)
AS_BEFORE = "nothing was written; the board holds what it held"
AGAIN = "switch motor power off, then run `rodbench load` again"


@dataclass(slots=True)
class Loaded:
    """What a load found and did."""

    about: About
    before: Hello | None = None  # None: no firmware of ours answered
    after: Hello | None = None
    bootloader: Bootloader | None = None
    line: str = ""
    kept: Path | None = None  # the file of settings pulled
    log: Path | None = None  # what avrdude said
    put_back: bool = False
    new_keys: list[str] = field(default_factory=list)


def line_baud() -> int:
    """Speed of the board's line, as for every other command."""
    return int(os.environ.get("RODBENCH_BAUD", BAUD))


def lines_for(port: str, bootloaders: Sequence[Bootloader]) -> list[tuple[Bootloader, str]]:
    """The programmer's line for each bootloader, in the order in which they are tried."""
    baud = line_baud()
    return [(b, programmer.line(port, hex_file(baud, b), b)) for b in bootloaders]


class Loader:
    """One load of one port. `say` hears a line at a time, `heard` the programmer's own words."""

    def __init__(self, port: str, logbook: Path, say: Say, heard: Say) -> None:
        self.port = port
        self.logbook = logbook
        self.say = say
        self.heard = heard
        self.done = Loaded(about())
        self._pulled: backup.Backup | None = None

    def load(self, program: str, bootloaders: Sequence[Bootloader], pull: bool = True) -> Loaded:
        """All of it. Raises PortError, HeldError, ProcedureError, Interrupted and what the link
        raises; each says what was done, what the board holds, and what to try."""
        self._look() if pull else self.say("settings are not pulled, as asked")
        self.say(POWER_OFF)
        with kept_free(self.port):
            self._write(program, bootloaders)
        self._look_again()
        return self.done

    # -- before

    def _look(self) -> None:
        """Who is there; pull what it holds and free the port."""
        try:
            board = Board.open(self.port, warn=lambda text: None, who="load")
        except NoAnswer as silent:
            self.say(f"no rodbench firmware answers: {silent.message}")
            self.say("  a new board, another program or another baud rate; nothing to pull")
            return
        with board:
            _check_kind(board.hello)
            self._pulled = backup.take(board)
            self._keep()
            assert isinstance(board.link, OwnerLink)
            board.link.give_up()

    def _keep(self) -> None:
        pulled = self._pulled
        assert pulled is not None
        hello = self.done.before = pulled.hello
        self.say(f"on the board: {hello.name} {_version(hello)}")
        if pulled.empty:
            self.say("  no settings are stored on it, and defaults are in force: nothing to pull")
            return
        self.done.kept = backup.save(pulled, self.logbook)
        self.say(f"  settings {hello.digest_live:08X} pulled into {self.done.kept}")
        if not pulled.stored:
            self.say(f"  they are not stored: a start brings back {_stored(hello)}")

    # -- the programmer

    def _write(self, program: str, bootloaders: Sequence[Bootloader]) -> None:
        for number, (bootloader, line) in enumerate(lines_for(self.port, bootloaders)):
            self.done.bootloader, self.done.line = bootloader, line
            self.say(f"{bootloader.name}: {line}")
            words = programmer.arguments(self.port, hex_file(line_baud(), bootloader), bootloader)
            run = programmer.run(program, words, self.heard)
            self._keep_log(run)
            if run.outcome is Outcome.LOADED:
                return
            if run.outcome is Outcome.SILENT and not run.interrupted:
                self.say(f"the {bootloader.name} did not answer; nothing was written")
                if number + 1 < len(bootloaders):
                    continue
            raise self._failed(run, bootloaders)

    def _keep_log(self, run: Run) -> None:
        """What avrdude said, beside the settings that were pulled, where there is a logbook."""
        if not self.logbook.exists():
            return
        stamp = datetime.now(UTC).strftime("%Y-%m-%dT%H%M%S")
        assert self.done.bootloader is not None
        word = self.done.bootloader.word
        path = self.logbook / backup.FOLDER / f"{stamp}-avrdude-{word}.txt"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(f"{self.done.line}\n{run.log}", "utf-8")
        self.done.log = path

    def _failed(self, run: Run, tried: Sequence[Bootloader]) -> RodbenchError:
        if run.interrupted and run.outcome is not Outcome.CUT:
            return Interrupted(
                "interrupted before anything was written", kept="the board holds what it held"
            )
        kind = Interrupted if run.interrupted else ProcedureError
        if run.outcome is Outcome.CUT:
            return kind(
                "the programmer ended before all was written and compared",
                kept="the board holds half a program; its settings and its bootloader are whole",
                hint=f"{AGAIN}{self._where()}",
            )
        if run.outcome is Outcome.NO_PORT:
            return PortError(
                f"avrdude could not open {self.port}: {_last_words(run.log)}",
                kept=AS_BEFORE,
                hint="`rodbench ports` says why a port cannot be used",
            )
        return _not_written(run, tried)

    def _where(self) -> str:
        return f"; the settings pulled are in {self.done.kept}" if self.done.kept else ""

    # -- after

    def _look_again(self) -> None:
        try:
            board = Board.open(self.port, warn=self.say, who="load")
        except RodbenchError as error:
            raise ProcedureError(
                f"the program was written and compared, but does not answer: {error.message}",
                kept="the board holds the new program; its settings were not touched",
                hint=f"press its reset button, then `rodbench info`; else {AGAIN}{self._where()}",
            ) from error
        with board:
            self.done.after = board.hello
            self._check_version(board.hello)
            if self._pulled is None:
                self._found(board)
            elif not self._pulled.empty:
                self._settings(board, self._pulled)
            self.done.after = board.ask_hello()

    def _check_version(self, hello: Hello) -> None:
        meant = self.done.about
        told = (hello.firmware, hello.schema_digest)
        if told != (meant.firmware, meant.schema_digest):
            raise ProcedureError(
                f"the board answers as {_version(hello)}, but {meant} was written",
                kept=f"its settings were not touched{self._where()}",
                hint="is this the board that was loaded? `rodbench info`",
            )
        self.say(f"the board answers: {hello.name} {_version(hello)}")

    def _settings(self, board: Board, pulled: backup.Backup) -> None:
        """The settings survived by themselves, or are put back."""
        wanted = pulled.wanted()
        self.done.new_keys = pulled.new_keys()
        if unknown := pulled.unknown_keys():
            self.say(f"  {unknown} settings of a newer firmware are unknown to this one")
        before, now = pulled.hello.digest_live, board.hello.digest_live
        if not backup.differences(board, wanted):
            self.say(self._survived(before, now))
        elif not pulled.stored and _has_store(board.hello) == _has_store(pulled.hello):
            self.say(
                f"settings {now:08X}, as a start brings them back; {before:08X} was not stored"
            )
        else:
            self.say(f"settings did not survive (the board tells {now:08X}): putting them back")
            self._put_back(board, wanted)

    def _found(self, board: Board) -> None:
        """Nothing was pulled: what the board has, against what an earlier load has kept."""
        hello = board.hello
        if not hello.digest_stored:
            self.say("no settings are stored on it: no axis is fitted yet")
            return
        self.say(f"settings {hello.digest_live:08X} were stored on it and are in force")
        kept = backup.newest(self.logbook, hello.board_id)
        if kept is None:
            return
        path, wanted = kept
        if backup.differences(board, wanted):
            self.say(f"  they are not those that an earlier load kept: {path}")
        else:
            self.say(f"  the same as an earlier load kept in {path}")

    def _survived(self, before: int, now: int) -> str:
        if before == now:
            return f"settings survived: {before:08X} before and after"
        return (
            f"settings survived: every key that was {before:08X} reads the same. With "
            f"{len(self.done.new_keys)} new keys at their defaults the digest is {now:08X}"
        )

    def _put_back(self, board: Board, wanted: backup.Scopes) -> None:
        try:
            now = backup.put_back(board, wanted)
        except Refused as refused:
            raise ProcedureError(
                f"the new firmware refuses the settings of before: {refused.message}",
                kept="the board holds the new program; axes not put back yet hold defaults",
                hint=f"mend the machine file and `rodbench settings push`{self._where()}",
            ) from refused
        if now != backup.digest_of(wanted):
            raise ProcedureError(
                f"the board tells {now:08X} after its settings were put back, "
                f"not {backup.digest_of(wanted):08X}",
                kept="the board holds the new program",
                hint=f"`rodbench settings diff`{self._where()}",
            )
        self.done.put_back = True
        self.say(f"settings put back and stored: {now:08X}")


def _check_kind(hello: Hello) -> None:
    if hello.board_kind != BoardKind.ATMEGA328P_5V:
        raise ProcedureError(
            f"this board is of kind {_kind(hello)}; rodbench has a program for the ATmega328P only",
            kept="nothing was changed",
            hint="firmware_reference/PORTING.md says how another board gets its program",
        )


def _kind(hello: Hello) -> str:
    known = {k.value: k.name.lower().replace("_", "-") for k in BoardKind}
    return known.get(hello.board_kind, str(hello.board_kind))


def _version(hello: Hello) -> str:
    return f"{hello.firmware}, protocol {hello.protocol_major}.{hello.protocol_minor}"


def _has_store(hello: Hello) -> bool:
    return hello.digest_stored != 0


def _stored(hello: Hello) -> str:
    return f"settings {hello.digest_stored:08X}" if _has_store(hello) else "defaults"


def _last_words(log: str) -> str:
    said = [text for text in log.splitlines() if "error" in text.lower()]
    return said[0].strip() if said else "it said nothing"


def _not_written(run: Run, tried: Sequence[Bootloader]) -> ProcedureError:
    """Why a run wrote nothing."""
    if run.outcome is Outcome.OTHER_CHIP:
        what = f"its signature is {run.signature:06X}, not {programmer.CHIP:06X}"
        return ProcedureError(
            f"this is no ATmega328P: {what}",
            kept=AS_BEFORE,
            hint="another board, or a chip that only looks like it",
        )
    if run.outcome is Outcome.SILENT:
        speeds = " nor ".join(f"at {b.baud} baud ({b.name})" for b in tried)
        return ProcedureError(
            f"no bootloader answered {speeds}",
            kept=AS_BEFORE,
            hint="press the board's reset button just as avrdude starts; is it a board with an "
            "ATmega328P? One without a bootloader needs a programmer: "
            "firmware_reference/README.md",
        )
    return ProcedureError(
        f"avrdude gave up before it wrote: {_last_words(run.log)}",
        kept=AS_BEFORE,
        hint="run `rodbench load` again, or the line as it is shown",
    )


def order(word: str | None, program: str = "usual") -> tuple[Bootloader, ...]:
    """Which bootloaders are tried: the one that was named, or the newer, then the old. Raises
    UsageError for the whole program beside the old one."""
    if program == "whole" and word == "old":
        raise UsageError(
            "the whole program has no room beside the old bootloader",
            kept="nothing was changed",
            hint="a board with the newer one, or the usual program",
        )
    if program == "whole":
        return (WHOLE,)
    return {"new": (NEW,), "old": (OLD,)}.get(word or "", (NEW, OLD))


__all__ = ["POWER_OFF", "Loaded", "Loader", "line_baud", "lines_for", "order"]
