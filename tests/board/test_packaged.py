"""The HEX files that `rodbench load` brings along are those that this source builds."""

from __future__ import annotations

import json
import sys

import pytest
from rodbench.load.images import FOLDER, NEW, OLD, WHOLE, Bootloader, hex_file

from tests.board import build
from tests.board.build import FIRMWARE

sys.path.insert(0, str(FIRMWARE))
import package

STALE = "the packaged firmware is stale: make -C firmware_reference package"


@pytest.mark.parametrize("baud", package.BAUDS)
@pytest.mark.parametrize("bootloader", [NEW, OLD, WHOLE])
def test_packaged_and_built_are_the_same(baud: int, bootloader: Bootloader) -> None:
    options = package.PROGRAMS[f"{bootloader.word}-bootloader{bootloader.program}"]
    elf = build.firmware(baud, options["WATCHDOG"], local=options["LOCAL"] == "1")
    built = elf.with_suffix(".hex")
    same = hex_file(baud, bootloader).read_text() == built.read_text()
    assert same, STALE


def test_what_is_said_about_them_is_true() -> None:
    assert json.loads((FOLDER / "about.json").read_text()) == package.about(), STALE


def test_nothing_else_is_packaged() -> None:
    meant = {package.name(baud, word) for baud in package.BAUDS for word in package.PROGRAMS}
    assert {f.name for f in FOLDER.iterdir()} == meant | {"about.json"}
