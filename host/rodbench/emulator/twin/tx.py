"""Frames onto the line. `credit` decides what fits, whatever the line drains in truth."""

from __future__ import annotations

import binascii

from cobs import cobs

TX_SIZE = 128
TX_BYTES_PER_TICK = 120
TX_FRAME_EXTRA = 4
TX_REPLIES_MAX = 80
TX_RESERVE = max(0, TX_REPLIES_MAX - TX_BYTES_PER_TICK)


class Tx:
    """Encoded frames wait in `ring`; `counter` is that of unasked frames."""

    __slots__ = ("counter", "credit", "ring")

    def __init__(self) -> None:
        self.ring = b""
        self.credit = TX_SIZE
        self.counter = 0


def tx_tick(tx: Tx) -> None:
    """The line drains by a fixed number of bytes per tick."""
    if tx.credit < TX_SIZE:
        tx.credit = min(TX_SIZE, tx.credit + TX_BYTES_PER_TICK)


def tx_room_for_replies(tx: Tx) -> bool:
    """Whether the longest replies of one tick fit."""
    return tx.credit >= TX_REPLIES_MAX


def tx_reply(tx: Tx, payload: bytes) -> None:
    """Queue a frame for which room was kept."""
    crc = binascii.crc_hqx(payload, 0xFFFF)
    tx.ring += cobs.encode(payload + crc.to_bytes(2, "big")) + b"\0"
    tx.credit -= len(payload) + TX_FRAME_EXTRA
    assert tx.credit >= 0


def tx_unasked(tx: Tx, payload: bytes) -> bool:
    """Queue a frame, or drop it when room kept for replies would be used up."""
    if len(payload) + TX_FRAME_EXTRA + TX_RESERVE > tx.credit:
        return False
    tx_reply(tx, payload)
    return True
