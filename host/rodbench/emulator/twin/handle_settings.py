"""Requests about settings: drafts, store, reading back."""

from __future__ import annotations

import zlib
from typing import TYPE_CHECKING

from rodbench_protocol.names import MessageId, Status, Which
from rodbench_protocol.schema import load_schema

from rodbench.emulator.twin import draft as drafts
from rodbench.emulator.twin import wire
from rodbench.emulator.twin.axis import axis_at_rest, axis_settings_changed
from rodbench.emulator.twin.blackbox import BlackBox
from rodbench.emulator.twin.duty import duty_settings_changed
from rodbench.emulator.twin.store import KINDS, scope_to_bytes, store_begin
from rodbench.emulator.twin.telemetry import telemetry_wait

if TYPE_CHECKING:
    from rodbench.emulator.twin.call import Call
    from rodbench.emulator.twin.core import Twin

_DIGEST, _STORE = wire.reply("draft_check"), wire.reply("store")
_DIGESTS, _GET = wire.reply("digests"), wire.reply("settings_get")
_REPLY_HEAD_SIZE = 7
REPLY_BODY_ROOM = load_schema().body_max - _REPLY_HEAD_SIZE - _GET.size
ITEMS_AT = 1


def _check(core: Twin, call: Call) -> int:
    status, call.detail = drafts.draft_check(core.draft, core.live)
    call.reply = _DIGEST.pack(drafts.draft_digest(core.draft))
    telemetry_wait(core)
    return status


def _apply(core: Twin, number: int) -> None:
    drafts.draft_commit(core.draft, core.live)
    if number:
        axis_settings_changed(core.axis[number - 1])
        duty_settings_changed(core.noinit.duty[number - 1], core.live.scope[number])


def _commit(core: Twin, call: Call) -> int:
    number = core.draft.number
    if not (axis_at_rest(core.axis[number - 1]) if number else core.at_rest()):
        return Status.IN_MOTION
    if core.store.writing:
        return Status.BUSY
    status = _check(core, call)
    if status == Status.OK:
        _apply(core, number)
    return status


def _of_draft(core: Twin, call: Call, message: int) -> int:
    number, items = call.body[0], call.body[ITEMS_AT:]
    if message == MessageId.DRAFT_SET and len(items) % drafts.DRAFT_ITEM.size:
        return Status.MALFORMED
    if number >= drafts.SCOPES:
        return call.bad_value(1)
    if message == MessageId.DRAFT_BEGIN:
        core.noinit.box = BlackBox()
        drafts.draft_begin(core.draft, core.live, number)
        return Status.OK
    if core.draft.number != number:
        return Status.NO_DRAFT
    if message == MessageId.DRAFT_SET:
        status, call.detail = drafts.draft_set(core.draft, items)
        return status
    if message == MessageId.DRAFT_CHECK:
        return _check(core, call)
    if message == MessageId.DRAFT_COMMIT:
        return _commit(core, call)
    drafts.draft_drop(core.draft)
    return Status.OK


def _store(core: Twin, call: Call) -> int:
    if core.store.writing:
        return Status.BUSY
    call.reply = _STORE.pack(store_begin(core.store, core.live))
    return Status.OK


def _get(core: Twin, call: Call) -> int:
    which, number, first_key = call.body[:3]
    if which > max(Which):
        return call.bad_value(1)
    if number >= drafts.SCOPES:
        return call.bad_value(2)
    if which == Which.DRAFT and core.draft.number != number:
        return Status.NO_DRAFT
    scope = core.draft.scope if which == Which.DRAFT else core.live.scope[number]
    items = drafts.settings_items(scope, number, first_key, REPLY_BODY_ROOM)
    call.reply = _GET.pack(number) + items
    return Status.OK


def _digests(core: Twin, call: Call) -> int:
    scopes = zip(KINDS, core.live.scope, strict=True)
    call.reply = _DIGESTS.pack(
        core.live.digest(),
        core.store.digest,
        *(zlib.crc32(scope_to_bytes(kind, scope)) for kind, scope in scopes),
        core.store.writing != 0,
    )
    return Status.OK


def handle_settings(core: Twin, call: Call, message: int) -> int:
    """store, reading back, and drafts."""
    if message == MessageId.STORE:
        return _store(core, call)
    if message == MessageId.SETTINGS_GET:
        return _get(core, call)
    if message == MessageId.DIGESTS:
        return _digests(core, call)
    return _of_draft(core, call, message)
