"""A host that speaks to a native board, one request per tick."""

from __future__ import annotations

import ctypes as ct

from rodbench_protocol import framing, messages, settings
from rodbench_protocol.names import EventKind, Status

from tests.core.native import Board, library

POWER_ON, EXTERNAL, WATCHDOG = 1, 2, 8
SESSION = 3
SETTLED = 12  # ticks
ITEMS_MOST = 11  # of a draft_set
BLANK = b"\xff" * 1024


class Host:
    """Speaks to a native board; carries out what it wants to write, as a memory would."""

    def __init__(
        self,
        image: bytes = BLANK,
        lib: ct.CDLL | None = None,
        pots: tuple[int, int] = (4000, 4000),
    ) -> None:
        self.board = Board(lib or library())
        self.board.eeprom[:] = image
        self.board.set_readings(pots, (0, 0))
        self.board.boot(POWER_ON, 77)
        self.seq = 0
        self.replies: list[messages.Message] = []
        self.events: list[messages.Message] = []
        self.writes: list[tuple[int, int]] = []
        self.slow = False  # a byte takes 3.4 ms: the memory is busy in the tick after it was begun
        self.wait_for_memory()
        self.open()

    def wait_for_memory(self) -> None:
        """Until the record of duty and heat is written: a start waits for it."""
        for _ in range(SETTLED):
            Host.tick(self)
        self.writes.clear()

    def again(self, flags: int = EXTERNAL) -> None:
        """A reset that RAM survives, or with POWER_ON and a spoilt record a power loss."""
        self.board.boot(flags, 99)
        self.seq = 0
        self.replies.clear()
        self.events.clear()
        self.open()

    def power_loss(self) -> None:
        """The RAM is rubbish, the memory as it is."""
        self.board.noinit[:] = b"\x5a" * len(self.board.noinit)
        self.again(POWER_ON)

    def open(self) -> None:
        """Hello, then a session."""
        nonce = self.ask("hello")["boot_nonce"]
        self.ask("open", boot_nonce=nonce, protocol_major=1, protocol_minor=0)

    def tick(self, data: bytes = b"", keep: bool = True) -> None:
        """One tick; without `keep` the memory does not take what is written."""
        if self.slow:
            self.board.set_ready(not self.board.outputs().ee_write)
        self.board.tick(data)
        for frame in self.board.sent().split(b"\0")[:-1]:
            message = messages.parse(framing.decode(frame))
            (self.replies if message.kind == "reply" else self.events).append(message)
        out = self.board.outputs()
        if out.ee_write:
            self.writes.append((out.ee_address, out.ee_value))
            if keep:
                self.board.eeprom[out.ee_address] = out.ee_value

    def frame(self, name: str, **fields: object) -> bytes:
        """The next request, encoded; hello and stop take no number of the sequence."""
        if name not in ("hello", "stop"):
            self.seq = (self.seq + 1) & 0xFF
        return framing.encode(messages.pack(name, SESSION, self.seq, **fields))

    def ask(self, name: str, **fields: object) -> dict[str, int]:
        """A request that must be carried out; its reply."""
        assert self.status(name, **fields) == Status.OK, (name, self.replies[0])
        return self.replies[0].fields

    def status(self, name: str, **fields: object) -> int:
        """A request; how it was answered."""
        self.replies.clear()
        self.tick(self.frame(name, **fields))
        return int(self.replies[0].fields["status"])

    def change(self, **values: int) -> None:
        """Put keys of axis 1 and 2 in force."""
        ids = {key.name: key.id for key in settings.KEYS["axis"]}
        items = [{"key": ids[name], "value": value} for name, value in values.items()]
        for scope in (1, 2):
            self.ask("draft_begin", scope=scope)
            for first in range(0, len(items), ITEMS_MOST):
                self.ask("draft_set", scope=scope, items=items[first : first + ITEMS_MOST])
            self.ask("draft_commit", scope=scope)

    def store(self) -> list[tuple[int, int]]:
        """Store to the end; the bytes that were written, in order."""
        self.writes.clear()
        self.events.clear()
        self.ask("store")
        for _ in range(400):
            self.tick()
            if any(e.fields["kind"] == EventKind.STORED for e in self.events):
                return list(self.writes)
        raise AssertionError("the store did not end")

    @property
    def image(self) -> bytes:
        return bytes(self.board.eeprom)
