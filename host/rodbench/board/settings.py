"""Settings over the wire: one scope read, or changed by a draft, all or nothing."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Mapping

from rodbench_protocol.names import Which
from rodbench_protocol.schema import Key, load_schema

from rodbench.errors import LinkLost, Refused, RodbenchError, SettingsError
from rodbench.link.api import Link
from rodbench.link.refusals import refusal

ITEM_BYTES = 5


def kind_of(scope: int) -> str:
    """Scope kind of the schema."""
    return "axis" if scope else "board"


def read(link: Link, scope: int, which: str = "live") -> dict[str, int]:
    """All keys of a scope that this program knows; see Board.read_scope."""
    keys = {k.id: k for k in load_schema().keys(kind_of(scope))}
    number = Which[which.upper()].value
    found: dict[str, int] = {}
    first = 1
    while first <= max(keys):
        items = link.request("settings_get", which=number, scope=scope, first_key=first)["items"]
        if not items:
            break
        for item in items:
            if item["key"] in keys:
                found[keys[item["key"]].name] = _from_wire(keys[item["key"]], item["value"])
        first = max(item["key"] for item in items) + 1
    return found


def write(link: Link, scope: int, values: Mapping[str, int]) -> int:
    """Draft, check, commit; see Board.write_scope."""
    with _draft(link, scope, values):
        link.request("draft_check", scope=scope)
        digest: int = link.request("draft_commit", scope=scope)["digest"]
        return digest


def check(link: Link, scope: int, values: Mapping[str, int]) -> int:
    """Draft and check; the draft is dropped."""
    with _draft(link, scope, values):
        digest: int = link.request("draft_check", scope=scope)["digest"]
    link.request("draft_discard", scope=scope)
    return digest


@contextlib.contextmanager
def _draft(link: Link, scope: int, values: Mapping[str, int]) -> Iterator[None]:
    """A draft with these values; dropped again when anything inside fails."""
    items = _items(scope, values)
    room = (load_schema().body_max - 1) // ITEM_BYTES
    try:
        link.request("draft_begin", scope=scope)
        for at in range(0, len(items), room):
            link.request("draft_set", scope=scope, items=items[at : at + room])
        yield
    except Refused as error:
        _drop(lambda: link.request("draft_discard", scope=scope))
        raise refusal(error.request, error.status, error.detail, scope) from error
    except LinkLost:
        raise  # the board, or the port, is gone, and the draft with it
    except BaseException:
        _drop(lambda: link.request("draft_discard", scope=scope))
        raise
    finally:
        link.release()


def _drop(discard: Callable[[], object]) -> None:
    with contextlib.suppress(RodbenchError):
        discard()


def _items(scope: int, values: Mapping[str, int]) -> list[dict[str, int]]:
    keys = {k.name: k for k in load_schema().keys(kind_of(scope))}
    unknown = sorted(values.keys() - keys.keys())
    if unknown:
        raise SettingsError(
            f"no such setting in scope {scope}: {', '.join(unknown)}", kept="nothing was sent"
        )
    return [
        {"key": keys[name].id, "value": _to_wire(keys[name], value)}
        for name, value in sorted(values.items(), key=lambda pair: keys[pair[0]].id)
    ]


def _to_wire(key: Key, value: int) -> int:
    if not -(2**31) <= value < 2**32:
        raise SettingsError(f"{key.name} = {value} does not fit 32 bits", kept="nothing was sent")
    return value - 2**32 if value >= 2**31 else value


def _from_wire(key: Key, value: int) -> int:
    return value & 0xFFFFFFFF if key.setting.type == "u32" else value
