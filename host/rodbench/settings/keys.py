"""The keys of the machine file, made from the schema: name, unit, range, and its wire setting.

Mapping, once and for all: a wire setting goes to the schema's `file` place; its value in the file
is wire / `scale`, or a share of the ADC's full scale with six digits (`file_fraction`), or
true / false (`file_bool`), or a word of its enumeration with `_` written as `-`. The full scale is
that of the board's kind, so keys are looked up for a kind.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from functools import cache

from rodbench_protocol.schema import BoardKindData, HostKey, Schema, Setting, load_schema

from rodbench.settings.quantity import SUFFIXES

Value = bool | int | float | str
_FRACTION_DIGITS = 6
# Wire unit times scale: the unit of the file.
_FILE_UNITS = {
    ("um", 1000): "mm",
    ("um/s", 1000): "mm/s",
    ("um/s2", 1000): "mm/s2",
    ("mV", 1000): "V",
    ("mA", 1000): "A",
    ("uV/mA", 1000): "V/A",
    ("ms", 1): "ms",
    ("cs", 100): "s",
    ("s", 60): "min",
}
FIRST_KIND = "atmega328p-5v"  # of a file that does not say


@dataclass(frozen=True, slots=True)
class Key:
    """One key. `wire` is the setting's name on the wire (None: stays in the file), `scope` its
    scope kind. `low` and `high` are wire integers. `full_scale` is not 0 for shares of the ADC."""

    table: str
    name: str
    kind: str  # number, bool, word, text, axes, points
    unit: str  # of the file; "" for none
    doc: str
    wire: str | None = None
    scope: str = ""
    scale: int = 1
    full_scale: int = 0
    low: int = 0
    high: int = 0
    default: Value | None = None
    words: tuple[tuple[str, int], ...] = ()

    @property
    def bare(self) -> str:
        """The name without its unit, for quantities as text."""
        for suffix, unit in SUFFIXES.items():
            if unit == self.unit and self.name.endswith(suffix):
                stem = self.name.removesuffix(suffix)
                return self.name if (self.table, stem) in by_place() else stem
        return self.name

    def to_wire(self, value: Value) -> int:
        """Wire integer of a value of the right kind, rounded to the nearest."""
        if self.kind == "word":
            return dict(self.words)[str(value)]
        factor = self.full_scale or self.scale
        exact = Decimal(repr(value + 0)) * factor if not isinstance(value, str) else Decimal(0)
        return int(exact.to_integral_value(ROUND_HALF_EVEN))

    def to_file(self, wire: int) -> Value:
        """Value for the file; `to_wire` gives the same integer back."""
        if self.kind == "bool":
            return bool(wire)
        if self.kind == "word":
            return {number: word for word, number in self.words}[wire]
        if self.full_scale:
            return round(wire / self.full_scale, _FRACTION_DIGITS)
        return self._shortest(wire)

    def _shortest(self, wire: int) -> Value:
        """The number with the fewest digits that still means `wire`."""
        if self.scale == 1:
            return wire
        for digits in range(1, 12):
            value = round(wire / self.scale, digits)
            if self.to_wire(value) == wire:
                return value
        return wire / self.scale

    def range_in_file(self) -> tuple[float, float]:
        """Least and greatest value in the unit of the file."""
        factor = self.full_scale or self.scale
        return self.low / factor, self.high / factor


def word_of(name: str) -> str:
    """How a value of a schema enumeration is written in the file: `one_sided` -> `one-sided`."""
    return name.replace("_", "-")


@cache
def all_keys(board_kind: str = FIRST_KIND) -> tuple[Key, ...]:
    """Every key that the file knows, in the order of the schema."""
    return tuple(_all_keys(kind_named(board_kind)))


@cache
def by_place(board_kind: str = FIRST_KIND) -> dict[tuple[str, str], Key]:
    """(table, name) -> key."""
    return {(key.table, key.name): key for key in all_keys(board_kind)}


@cache
def by_wire(board_kind: str = FIRST_KIND) -> dict[tuple[str, str], Key]:
    """(scope kind, wire name) -> key."""
    return {(key.scope, key.wire): key for key in all_keys(board_kind) if key.wire}


def keys_of(table: str, board_kind: str = FIRST_KIND) -> list[Key]:
    """The keys of a table: "", board, rods, axes, limits, local, gang, linkage or proof."""
    return [key for key in all_keys(board_kind) if key.table == table]


@cache
def kind_named(word: str) -> BoardKindData:
    """The figures of a kind of board, by the file's word for it."""
    return next(kind for kind in load_schema().board_kinds.values() if kind.word == word)


def _all_keys(board: BoardKindData) -> Iterator[Key]:
    schema = load_schema()
    for settings in schema.settings.values():
        yield from (_from_setting(schema, board, each) for each in settings if each.file)
    for host in schema.host_keys:
        yield _from_host_key(host)


def _from_setting(schema: Schema, board: BoardKindData, setting: Setting) -> Key:
    table, name = _place(setting.file)
    words: tuple[tuple[str, int], ...] = ()
    if setting.enum:
        values = schema.enums[setting.enum].values
        words = tuple((word_of(value.name), value.value) for value in values)
    kind = "word" if words else "bool" if setting.file_bool else "number"
    of_currents = setting.unit == "raw4"
    full_scale = board.current_full_scale if of_currents else board.adc_full_scale
    return Key(
        table=table,
        name=name,
        kind=kind,
        unit=_FILE_UNITS.get((setting.unit, setting.scale), ""),
        doc=setting.doc,
        wire=setting.name,
        scope=setting.scope,
        scale=setting.scale,
        full_scale=full_scale if setting.file_fraction else 0,
        low=setting.min,
        high=setting.max,
        default=setting.default,
        words=words,
    )


def _from_host_key(host: HostKey) -> Key:
    table, name = _place(host.file)
    words = tuple((word, number) for number, word in enumerate(host.words))
    kind = "word" if words else {"quantity": "number"}.get(host.kind, host.kind)
    return Key(table, name, kind, host.unit, host.doc, default=host.default, words=words)


def _place(file: str) -> tuple[str, str]:
    table, _, name = file.rpartition(".")
    return table, name
