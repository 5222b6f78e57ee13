"""A card's code: all settings of a machine there and back, or a refusal; never anything else."""

from __future__ import annotations

import binascii
import random
import re
import zlib
from datetime import date
from pathlib import Path

import pytest
from rodbench.errors import SettingsError
from rodbench.settings import base45
from rodbench.settings.card import (
    ELSEWHERE,
    NUMBERS,
    POSITION,
    Card,
    Entry,
    from_text,
    of_machine,
    to_text,
)
from rodbench.settings.machine import MachineFile
from rodbench.settings.restore import machine_file
from rodbench.show.card_code import GOOD_MM, LEAST_MM, code
from rodbench_protocol.schema import load_schema
from rodbench_protocol.settings import KEYS, defaults, digest_all

from tests.settings import random_machines
from tests.settings.cards import DAY, trials

HERE = Path("machine.toml")
BEGIN = "RODBENCH/1/"
# All figures invented.
VENT = """\
machine_file = 1
name = "ridge vent"
show_units = "in"
[board]
board_id = 812345
fuse_a = 5.0
supply_low_v = 10.5
supply_calibrated = true
[rods.north]
stroke = "8 in"
label = "12 V, 150 N"
retracted_pin_to_pin = "12 in"
pot_retracted = 0.9
pot_extended = 0.1
end_retracted = "end-switch"
[rods.spare]
stroke_mm = 100
[axes.1]
rod = "north"
calibrated = true
learned_with = "north"
learned_on_board = 812345
[axes.1.limits]
soft_stop_min_mm = 5.0
soft_stop_max = "7.4 in"                # glass touches the ridge at 193
working_end_max_mm = 190.0
trip_a = 2.9
[linkage]
hinge_to_frame_pin_mm = 420.0
hinge_to_vent_pin_mm = 390.0
opens_by = "extending"
[positions]
open = "30 deg"
[proof]
from = "3 mm"
find_ends = false
current_peak_a = 2.5
[axes.1.proof]
cycles = 3
"""


def vent(text: str = VENT) -> MachineFile:
    return MachineFile(text, HERE)


def there_and_back(machine: MachineFile) -> MachineFile:
    return machine_file(from_text(to_text(of_machine(machine, DAY))), HERE)


def coded(payload: bytes, begin: str = BEGIN) -> str:
    """The text of a payload with a right check sum, by CARD.md and the library alone."""
    packer = zlib.compressobj(wbits=-15)
    packed = packer.compress(payload) + packer.flush()
    check = binascii.crc32(begin.encode() + packed).to_bytes(4, "little")
    return begin + base45.encode(check + packed)


def payload_of(machine: MachineFile) -> bytearray:
    data = base45.decode(to_text(of_machine(machine, DAY)).removeprefix(BEGIN))
    return bytearray(zlib.decompress(data[4:], wbits=-15))


def refused(text: str, match: str) -> None:
    with pytest.raises(SettingsError, match=match) as caught:
        machine_file(from_text(text), HERE)
    assert caught.value.kept == "Nothing was written."


# ---------------------------------------------------------------- there and back


def test_everything_but_comments_and_spare_rods_comes_back() -> None:
    before, after = vent(), there_and_back(vent())
    assert after.digest() == before.digest()
    assert after.scopes() == before.scopes()
    assert after.rods == ["north"]
    assert after.name == "ridge vent"
    assert after.show_units == "in"
    assert after.host("fuse_a", ("board",)) == 5.0
    rod = ("rods", "north")
    assert after.host("label", rod) == "12 V, 150 N"
    assert after.host("retracted_pin_to_pin_mm", rod) == 304.8  # 12 in exactly
    assert after.host("end_retracted", rod) == "end-switch"
    assert after.host("learned_with", ("axes", "1")) == "north"
    assert after.host("learned_on_board", ("axes", "1")) == 812345
    assert after.working_ends_mm(1) == (None, 190.0)
    linkage = after.way_of(1).linkage
    assert linkage is not None
    assert (linkage.frame_mm, linkage.vent_mm, linkage.retracted_mm) == (420.0, 390.0, 304.8)
    assert after.proof_of(1) == before.proof_of(1)
    assert after.host("find_ends", ("proof",)) is False
    assert after.positions["open"].place.text == "30 deg"
    assert "glass" not in after.text
    assert "2026-03-01" in after.text.splitlines()[0]


def test_random_machines_come_back_whole() -> None:
    changed, tables = set(), 0
    for number in range(60):
        before = random_machines.machine(random.Random(number))
        after = there_and_back(before)
        assert after.scopes() == before.scopes(), number
        assert after.digest() == before.digest()
        assert [after.rod_of(a) for a in after.axes] == [before.rod_of(a) for a in before.axes]
        assert set(after.positions) == set(before.positions)
        for axis in before.axes:
            usual = defaults("axis")
            tables += before.scope(axis)["table_points"] > 0
            changed |= {k for k, v in before.scope(axis).items() if v != usual[k]}
    assert tables > 20
    # The machines look everywhere: nearly every key that the file has was other than its default.
    keys = {key.name for key in KEYS["axis"] if key.setting.file}
    assert len(keys - changed) <= 4, keys - changed


def test_a_board_of_another_kind_has_another_scale_and_fewer_axes() -> None:
    text = VENT.replace("[board]", '[board]\nkind = "posix-3v3"')
    before, after = vent(text), there_and_back(vent(text))
    assert after.board_kind == "posix-3v3"
    assert list(after.scopes()) == [0, 1]
    assert after.scopes() == before.scopes()
    assert after.scope(1)["raw_retracted"] != vent().scope(1)["raw_retracted"]


def test_every_key_that_stays_in_the_file_has_a_number_on_a_card() -> None:
    known = {(table, name) for table, _, name in (h.file.rpartition(".") for h in
             load_schema().host_keys)}  # fmt: skip
    missing = known - set(NUMBERS.values()) - ELSEWHERE
    assert not missing, f"{missing}: give it a number in settings/card.py and in CARD.md"
    assert set(NUMBERS.values()) | ELSEWHERE == known
    assert POSITION not in NUMBERS


def test_the_text_says_how_its_bytes_lie() -> None:
    """CARD.md followed by hand, with nothing of the reader."""
    data, schema = payload_of(vent()), load_schema()
    assert data[0:3] == bytes([schema.protocol["major"], schema.protocol["minor"], 1])
    assert int.from_bytes(data[3:5], "little") == (DAY - date(2000, 1, 1)).days
    assert int.from_bytes(data[5:9], "little") == vent().digest()
    at, whole = 9, b""
    for kind in ("board", "axis", "axis"):
        size = int.from_bytes(data[at : at + 2], "little")
        usual = b"".join(
            key.setting.default.to_bytes(key.setting.width, "little") for key in KEYS[kind]
        )
        part = data[at + 2 : at + 2 + size]
        whole += bytes(a ^ b for a, b in zip(part, usual, strict=True))
        at += 2 + size
    assert binascii.crc32(whole) == vent().digest()
    entries = []
    while at < len(data):
        size = int.from_bytes(data[at + 2 : at + 4], "little")
        entries.append((data[at], data[at + 1], data[at + 4 : at + 4 + size].decode()))
        at += 4 + size
    assert (1, 0, "ridge vent") in entries
    assert (10, 1, "north") in entries
    assert (50, 0, "open = 30 deg") in entries
    table = (Path(__file__).parents[2] / "host/rodbench/settings/CARD.md").read_text()
    said: dict[int, str] = {}
    for row in re.findall(r"^\| ([\d, to]+) \| (.*`.*) \|$", table, re.MULTILINE):
        names = [name.rpartition(".")[2] for name in re.findall(r"`([\w.]+)`(?!:)", row[1])]
        first, *others = [int(number) for number in re.findall(r"\d+", row[0])]
        numbers = range(first, others[0] + 1) if " to " in row[0] else (first, *others)
        said |= dict(zip(numbers, names, strict=True)) if first != POSITION else {}
    assert said == {number: name for number, (_, name) in NUMBERS.items()}


# ---------------------------------------------------------------- refusals


def test_every_flipped_bit_is_refused() -> None:
    packed = base45.decode(to_text(of_machine(vent(), DAY)).removeprefix(BEGIN))
    for bit in range(8 * len(packed)):
        data = bytearray(packed)
        data[bit // 8] ^= 1 << bit % 8
        refused(BEGIN + base45.encode(bytes(data)), "damaged")


def test_random_damage_is_refused() -> None:
    text, rng = to_text(of_machine(vent(), DAY)), random.Random(45)
    for _ in range(1000):
        characters = list(text)
        for place in rng.sample(range(len(text)), rng.randint(1, 12)):
            characters[place] = rng.choice(base45.ALPHABET)
        damaged = "".join(characters)
        if damaged != text:
            refused(damaged, "damaged|not one of a rodbench card|made by another rodbench")
    for size in range(len(text)):
        refused(text[:size], "damaged|not one of a rodbench card|made by another rodbench")


def test_damage_behind_a_right_check_sum_is_refused() -> None:
    """A code made with care to be wrong: digest, ranges, rules and sizes each stand alone."""
    good, rng = payload_of(vent()), random.Random(46)
    scopes = good.index(b"\x01\x00\x0a\x00ridge vent")  # where the entries begin
    for _ in range(1000):
        data = bytearray(good)
        data[rng.randrange(5, scopes)] ^= 1 << rng.randrange(8)
        refused(coded(bytes(data)), "damaged|made by another rodbench")
    for size in range(scopes + 4):
        refused(coded(bytes(good[:size])), "damaged|does not make")
    refused(coded(bytes(good) + b"\x32"), "damaged")
    refused(coded(bytes(good) + b"\x32\x00\x09\x00short"), "damaged")
    refused(coded(b"\0" * 20_000), "damaged")


@pytest.mark.parametrize(
    ("scope", "key", "value", "why"),
    [
        (1, "trip_ma", 40_000, "is above 30"),
        (1, "soft_stop_min_um", 500_000, "soft stop"),
        (2, "trip_ma", 2000, "names no rod"),  # there is no rod on axis 2
        (1, "table_raw_1", 5, "no place for|does not make"),
    ],
)
def test_settings_that_cannot_be_are_refused(scope: int, key: str, value: int, why: str) -> None:
    made = of_machine(vent(), DAY)
    scopes = {n: dict(values) for n, values in made.scopes.items()}
    scopes[scope][key] = value
    digest = digest_all(*scopes.values())
    refused(to_text(Card(made.kind, DAY, digest, scopes, made.entries)), why)


@pytest.mark.parametrize(
    ("entry", "why"),
    [
        (Entry(3, 0, "many"), "does not make"),
        (Entry(3, 0, "nan"), "no number"),
        (Entry(20, 2, "300"), "belongs to nothing"),
        (Entry(10, 2, "north"), "on axis 1 already"),
        (Entry(2, 0, "furlong"), "not known"),
        (Entry(50, 0, "[board] = 3 mm"), "name of a position"),
    ],
)
def test_entries_that_cannot_be_are_refused(entry: Entry, why: str) -> None:
    made = of_machine(vent(), DAY)
    kept = [e for e in made.entries if (e.number, e.place) != (entry.number, entry.place)]
    refused(to_text(Card(made.kind, DAY, made.digest, made.scopes, (*kept, entry))), why)


def test_names_cannot_bring_lines_of_their_own() -> None:
    """A name is a stranger's text, in the new machine file too."""
    text = VENT.replace('"ridge vent"', r'"a\"\n[board]\nfuse_a = 99\u0007"')
    after = there_and_back(vent(text))
    assert after.name == 'a"\n[board]\nfuse_a = 99\a'
    assert after.host("fuse_a", ("board",)) == 5.0


def test_a_newer_card_is_refused_by_name() -> None:
    data, newer = payload_of(vent()), "made by another rodbench"
    for place, value in ((0, 9), (1, 99), (2, 77)):
        changed = bytearray(data)
        changed[place] = value
        refused(coded(bytes(changed)), newer)
    refused(coded(bytes(data) + b"\xf0\x00\x01\x00x"), newer)
    refused(coded(bytes(data), "RODBENCH/2/"), f"{newer}: card version 2")
    longer = bytearray(data)
    longer[9] += 1  # a byte more of the board's settings
    longer.insert(11, 0)
    refused(coded(bytes(longer)), newer)


def test_other_codes_are_told_from_cards() -> None:
    for text in ("", "https://example.org", "RODBENCH", "RODBENCH/1", "rodbench/1/BB8"):
        refused(text, "not one of a rodbench card")


def test_an_older_card_takes_defaults_for_newer_settings() -> None:
    """A card of before the last two keys: its digest is that of fewer settings."""
    made, cut = of_machine(vent(), DAY), 4  # local_place_extend and local_loss_ms
    data, sizes = payload_of(vent()), []
    at, older, whole = 9, bytearray(data[:9]), b""
    for kind in ("board", "axis", "axis"):
        size = int.from_bytes(data[at : at + 2], "little")
        usual = b"".join(k.setting.default.to_bytes(k.setting.width, "little") for k in KEYS[kind])
        part = bytes(data[at + 2 : at + 2 + size - (cut if kind == "axis" else 0)])
        older += len(part).to_bytes(2, "little") + part
        whole += bytes(a ^ b for a, b in zip(part, usual, strict=False))
        sizes.append(len(part))
        at += 2 + size
    older[5:9] = binascii.crc32(whole).to_bytes(4, "little")
    card = from_text(coded(bytes(older + data[at:])))
    assert card.digest != made.digest
    assert machine_file(card, HERE).scopes() == vent().scopes()


# ---------------------------------------------------------------- the code itself


def test_modules_are_large_enough_whatever_the_machine_says() -> None:
    for number in range(16):
        made = code(of_machine(random_machines.machine(random.Random(number)), DAY))
        assert made.module_mm >= GOOD_MM or (made.level == "M" and made.module_mm >= LEAST_MM)
        assert made.qr.mode == "alphanumeric"
        assert made.qr.error == made.level


def test_a_machine_that_says_too_much_loses_words_and_no_setting() -> None:
    rng = random.Random(7)
    label = "".join(chr(rng.randrange(0x4E00, 0x9000)) for _ in range(1500))
    text = VENT.replace("12 V, 150 N", label)
    made = code(of_machine(vent(text), DAY))
    assert made.left_out == ("proof", "label")
    assert machine_file(from_text(made.text), HERE).digest() == vent(text).digest()
    with pytest.raises(SettingsError, match="too much for a card"):
        code(of_machine(vent(VENT.replace("ridge vent", label)), DAY))


def test_poor_photos_come_back_right_or_are_refused(tmp_path: Path) -> None:
    found = trials(10, tmp_path)
    assert found["wrong"] == 0
    assert found["back"] >= 5
