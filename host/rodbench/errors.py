"""The one tree of errors. Each class has its exit code; each error says what was wrong, what was
left as it was (`kept`) and what to try (`hint`)."""

from __future__ import annotations


class RodbenchError(Exception):
    """Base of every error that a user or the world can cause. Never raised for our own bugs."""

    exit_code = 1

    def __init__(self, message: str, *, kept: str | None = None, hint: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.kept = kept
        self.hint = hint


class UsageError(RodbenchError):
    """A command or an argument that cannot be meant."""

    exit_code = 2


class PortError(RodbenchError):
    """The port cannot be had: not there, no permission, or held by another program."""

    exit_code = 3


class HeldError(PortError):
    """Another command is commanding motion on this port; only `stop` passes."""


class NoAnswer(RodbenchError):
    """Silence, or bytes that are not this protocol."""

    exit_code = 4


class ProtocolMismatch(RodbenchError):
    """The other side speaks another protocol major (or the owner is of another version)."""

    exit_code = 5


class Refused(RodbenchError):
    """The board refused a request and changed nothing.

    `request` is its name, `status` the number of enum status, `status_name` its name, `detail`
    the number that the board gave with it (a key, a field's place, a fault: see SPEC.md).
    """

    exit_code = 6

    def __init__(
        self,
        message: str,
        *,
        request: str = "",
        status: int = 0,
        status_name: str = "",
        detail: int = 0,
        kept: str | None = None,
        hint: str | None = None,
    ) -> None:
        super().__init__(message, kept=kept, hint=hint)
        self.request = request
        self.status = status
        self.status_name = status_name
        self.detail = detail


class SettingsError(RodbenchError):
    """A machine file, or settings, that contradict the schema or themselves."""

    exit_code = 7


class Faulted(RodbenchError):
    """A guard tripped. `axis` is 1, 2 or 0 (board), `fault` the number of enum fault."""

    exit_code = 8

    def __init__(
        self,
        message: str,
        *,
        axis: int = 0,
        fault: int = 0,
        kept: str | None = None,
        hint: str | None = None,
    ) -> None:
        super().__init__(message, kept=kept, hint=hint)
        self.axis = axis
        self.fault = fault


class NeedsPerson(RodbenchError):
    """A fact is asked for that only a person who looks can give."""

    exit_code = 9


class OutcomeUnknown(RodbenchError):
    """No reply to any of the tries: the request may or may not have been carried out."""

    exit_code = 10


class LinkLost(RodbenchError):
    """The port went away, or the board started anew, in the middle."""

    exit_code = 11


class ProcedureError(RodbenchError):
    """A procedure came to a finding that it must not go on with."""

    exit_code = 12


class Interrupted(RodbenchError):
    """Ctrl-C, a termination signal or a closed terminal; the rod was stopped first."""

    exit_code = 130


class StopAsked(Interrupted):
    """Another command asked for a stop."""
