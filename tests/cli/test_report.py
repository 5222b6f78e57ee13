"""rodbench report, its card, and settings restore: what is on the page, and back from it."""

from __future__ import annotations

import io
import json
import re
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from rodbench.cli.main import cli
from rodbench.errors import SettingsError, UsageError
from rodbench.record.logbook import Logbook
from rodbench.record.runs import Requirement, Stroke, Writer, set_baseline
from rodbench.settings.machine import MachineFile
from rodbench.settings.photo import code_text
from rodbench.show import print_pdf

from tests.cli.conftest import PLANT
from tests.settings.test_card import VENT

EVIL = "<script>alert('x')</script>"
OUTSIDE = re.compile(r"""(?:src|href)\s*=|url\((?!#)|@import|<link|<script|<iframe|<object""")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "machine.toml").write_text(VENT)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    cli.main([*words], standalone_mode=False)
    return capsys.readouterr().out


def as_json(capsys: pytest.CaptureFixture[str], *words: str) -> Any:
    return json.loads(run(capsys, *words, "--json"))


def digest(folder: Path) -> str:
    return f"{MachineFile.load(folder / 'machine.toml').digest():08X}"


def stroke(name: str, bump_a: float = 0.0) -> Stroke:
    t = np.arange(0.0, 20.0, 0.05)
    place = 5.0 + 8.0 * t
    current = 1.2 + bump_a * np.exp(-(((place - 140.0) / 6.0) ** 2))
    facts = {"kind": "move", "way": 1, "target_mm": 164.0}
    return Stroke(name, facts, t, place, current, 800.0 + 0 * t, 12.0 - 0.1 * current)


def prove(folder: Path, when: datetime, bump_a: float, baseline: bool = False) -> str:
    writer = Writer(folder, when)
    writer.stroke(stroke("out <1>", bump_a))
    required = [
        Requirement("peak while running", "A", "at most", 1.5, 1.2 + bump_a, "trip less a tenth"),
        Requirement("supply sag", "V", "at most", 0.8, None, "machine file", "not calibrated"),
    ]
    conditions = {"supply_v": 12.3, "load": f"two panes {EVIL}", "ends_extended_mm": [203.0, 203.2]}
    conditions |= {"ends_retracted_mm": [0.0, 0.1], "ends_found_again": True, "stroke_mm": 203.2}
    conditions |= {"pot_span": 0.8, "supply_step_v": 0.03, "current_sensor": True}
    found = writer.finish(
        axis=1, rod="north", settings=0x12345678, conditions=conditions, required=required
    )
    if baseline:
        set_baseline(folder, 1, found.name)
    return found.name


class Words(HTMLParser):
    """The page as a reader sees it."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[str] = []
        self.inside: list[str] = []
        self.tags: list[str] = []
        self.feed(page)
        self.text = re.sub(r"\s+", " ", " ".join(self.found))

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.tags.append(tag)
        if tag in ("style", "svg"):
            self.inside.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if self.inside and tag == self.inside[-1]:
            self.inside.pop()

    def handle_data(self, data: str) -> None:
        if not self.inside:
            self.found.append(data)


# ---------------------------------------------------------------- the report


def test_the_report_says_what_the_machine_is(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    book = Logbook(folder / "logbook")
    found = {"ends_raw": [90.25, 930.0], "lifted": "", "reasons": []}
    book.append("learned", axis=1, step="endpoints", found=found, digest=0x4C19A7E2)
    book.append("trip", number=3, axis=1, fault="over_current", position_mm=140.2, current_a=3.1)
    book.append("move", axis=1, target_mm=10.0, position_mm=10.0)
    told = as_json(capsys, "report")
    page = (folder / "report.html").read_text()
    words = Words(page).text
    assert told["digest"] == digest(folder)
    assert digest(folder) in words
    for said in (
        "8.000 in", "12.000 in", "5 A", "2.9 A", "end switch",  # stroke, pins, fuse, trip, ends
        "D9", "H-bridge 1, direction A", "axis 1: endpoints", "number 3, axis 1: over current",
        "soft_stop_max_mm", "7.4 in", "Local codes", "Not guarded", "rodbench proof",
    ):  # fmt: skip
        assert said in words, said
    assert "axis 1: endpoints: ends 90.25 raw, 930 raw" in words
    assert "lifted" not in words
    assert "to 0.394 in: rests at" not in words  # daily work is no history
    assert len(re.findall(r"<svg ", page)) == 1
    assert Logbook(folder / "logbook").read()[0][-1].kind == "report"


def test_the_report_asks_for_nothing_outside(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    prove(folder, datetime(2026, 3, 1, tzinfo=UTC), 0.0, baseline=True)
    prove(folder, datetime(2026, 3, 2, tzinfo=UTC), 0.5)
    for words in (["report", "a.html"], ["report", "--card", "b.html"]):
        run(capsys, *words)
        page = (folder / words[-1]).read_text()
        inside = re.sub(r'xlink:href="#[^"]*"|xmlns(:\w+)?="[^"]*"', "", page)
        assert OUTSIDE.findall(inside) == []
        assert "http" not in inside.replace("http://www.w3.org/", "")


def test_names_are_a_strangers_text(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = VENT.replace("ridge vent", EVIL).replace("12 V, 150 N", f"{EVIL} & <b>")
    text = text.replace("[rods.north]", f'[rods."{EVIL}"]').replace('"north"', f'"{EVIL}"')
    (folder / "machine.toml").write_text(text)
    Logbook(folder / "logbook").append("note", text=f"{EVIL}", photos=[])
    prove(folder, datetime(2026, 3, 1, tzinfo=UTC), 0.0)
    for words in (["report", "a.html"], ["report", "--card", "b.html"]):
        run(capsys, *words)
        page = (folder / words[-1]).read_text()
        assert "script" not in Words(page).tags
        assert "<script" not in page
        assert EVIL in Words(page).text


def test_proof_and_baseline_stand_in_the_report(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first = prove(folder, datetime(2026, 3, 1, tzinfo=UTC), 0.0, baseline=True)
    last = prove(folder, datetime(2026, 3, 2, tzinfo=UTC), 0.5)
    (folder / "runs" / "2026-03-03T00-00-00Z-proof").mkdir()
    told = as_json(capsys, "report")
    page = (folder / "report.html").read_text()
    words = Words(page).text
    assert told["proofs"] == 1
    assert "FAIL" in words
    assert "Missed: peak while running, supply sag" in words
    assert first in words
    assert last in words
    assert "≤ 1.50 A 1.70 A -0.20 A FAIL trip less a tenth" in words
    assert "ends extended 7.992 in, 8.000 in" in words
    assert "broken off" in words
    assert "Nothing changed by more than its uncertainty" in words
    assert "stroke-dasharray" in page  # the baseline is dashed
    assert len(re.findall(r"<svg ", page)) == 2


def test_a_table_that_was_edited_is_told_and_left_out(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    name = prove(folder, datetime(2026, 3, 1, tzinfo=UTC), 0.0)
    table = folder / "runs" / name / "out <1>.csv"
    table.write_bytes(table.read_bytes().replace(b"1.2", b"1.1", 1))
    told = as_json(capsys, "report")
    assert told["proofs"] == 0
    assert "not as it was written" in told["left_out"][0]
    assert "not as it was written" in Words((folder / "report.html").read_text()).text


def test_a_machine_without_axes_has_a_report_and_no_card(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "machine.toml").write_text("machine_file = 1\n")
    run(capsys, "report")
    assert "No axis yet" in Words((folder / "report.html").read_text()).text
    with pytest.raises(UsageError, match="describes no axis"):
        run(capsys, "report", "--card")


@pytest.mark.parametrize("words", [["machine.toml"], ["--pdf", "machine.toml"], ["--card", "x"]])
def test_nothing_but_pages_is_written(
    folder: Path, capsys: pytest.CaptureFixture[str], words: list[str]
) -> None:
    with pytest.raises(UsageError, match="ends in"):
        run(capsys, "report", *words)
    assert (folder / "machine.toml").read_text() == VENT


# ---------------------------------------------------------------- style


def luminance(colour: str) -> float:
    """WCAG 2.1, relative luminance (from memory)."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def test_every_colour_of_words_has_contrast_on_white(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Black and white is 21 to 1; AA wants 4.5 to 1 for text, 3 to 1 for what is drawn."""
    assert (luminance("#ffffff") + 0.05) / (luminance("#000000") + 0.05) == pytest.approx(21)
    for words in (["report", "a.html"], ["report", "--card", "b.html"]):
        run(capsys, *words)
        page = (folder / words[-1]).read_text()
        style = page[page.index("<style>") : page.index("</style>")]
        colours = set(re.findall(r"(?<!-)\bcolor: (#[0-9a-f]{6})", style))
        colours |= set(re.findall(r"<text[^>]*fill[=:]\"?(#[0-9a-fA-F]{6})", page))
        assert colours
        for colour in colours:
            assert 1.05 / (luminance(colour) + 0.05) >= 4.5, colour
        lines = set(re.findall(r"border[\w-]*: [\d.]+mm solid (#[0-9a-f]{6})", style))
        assert all(1.05 / (luminance(colour) + 0.05) >= 3.0 for colour in lines)


# ---------------------------------------------------------------- PDF


def test_without_a_browser_the_page_stays_and_the_way_out_is_said(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(print_pdf, "BROWSERS", ("no-such-browser",))
    with pytest.raises(UsageError, match="needs a browser that prints") as caught:
        run(capsys, "report", "a.html", "--pdf", "a.pdf")
    assert "print it" in str(caught.value.hint)
    assert (folder / "a.html").exists()
    assert not (folder / "a.pdf").exists()


def test_the_pdf_has_the_right_paper(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    if print_pdf.browser() is None:
        import os

        assert os.environ.get("CI") != "true", "chromium is missing"
        pytest.skip("no chromium")
    for words, paper_mm, pages in (([], (210, 297), 9), (["--card"], (105, 148), 1)):
        run(capsys, "report", *words, "--pdf", "a.pdf")
        boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", Path("a.pdf").read_bytes())
        assert 1 <= len(boxes) <= pages
        for box in boxes:
            size = [float(side) / 72 * 25.4 for side in box]
            assert size == pytest.approx(paper_mm, abs=0.5)
    assert not Path("report.html").exists()


# ---------------------------------------------------------------- the card, and back


def picture_of_page(page: str, path: Path, px: int = 8) -> None:
    """The QR code as it stands in the page's SVG, drawn by hand from its path."""
    svg = page[page.index("<svg") : page.index("</svg>")]
    size = int(re.findall(r'viewBox="0 0 (\d+) \d+"', svg)[0])
    dark = np.full((size, size), 255, dtype=np.uint8)
    (path_data,) = re.findall(r'<path[^>]*class="qrline"[^>]* d="([^"]*)"', svg)
    x = y = 0.0
    for step, numbers in re.findall(r"([Mmh])([-\d. ]*)", path_data):
        values = [float(v) for v in numbers.split()]
        if step == "M":
            x, y = values
        elif step == "m":
            x, y = x + values[0], y + values[1]
        else:
            dark[int(y), int(x) : int(x + values[0])] = 0
            x += values[0]
    Image.fromarray(dark).resize((size * px, size * px), Image.Resampling.NEAREST).save(path)


@pytest.mark.parametrize("words", [["report", "a.html"], ["report", "--card", "a.html"]])
def test_a_rod_that_coasts_has_no_promise_of_soft_stops(
    folder: Path, capsys: pytest.CaptureFixture[str], words: list[str]
) -> None:
    said = "0.197 .. 7.400 in; not guarded: it coasts"
    run(capsys, *words)
    page = Words((folder / "a.html").read_text()).text
    assert "0.197 .. 7.400 in" in page
    assert said not in page
    (folder / "machine.toml").write_text(
        VENT.replace('rod = "north"\n', 'rod = "north"\nstop_by = "coast"\n')
    )
    run(capsys, *words)
    assert said in Words((folder / "a.html").read_text()).text


def test_the_card_holds_everything_and_brings_it_back(
    folder: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    told = as_json(capsys, "report", "--card")
    page = (folder / "card.html").read_text()
    words = Words(page).text
    for said in (digest(folder), "STOP", "rodbench clear", "5 A", "2.9 A", "25 % in 20 min",
                 "0.197 .. 7.400 in", "D9", "rodbench settings restore"):  # fmt: skip
        assert said in words, said
    assert told["left_out"] == ["spare"]
    picture_of_page(page, folder / "lid.png")
    with pytest.raises(UsageError, match="is there already"):
        run(capsys, "settings", "restore", "lid.png")
    assert (folder / "machine.toml").read_text() == VENT
    back = as_json(capsys, "settings", "restore", "lid.png", "-m", "new.toml")
    assert back["digest"] == back["card_digest"] == digest(folder)
    again = MachineFile.load(folder / "new.toml")
    assert again.scopes() == MachineFile.load(folder / "machine.toml").scopes()
    run(capsys, "settings", "restore", "lid.png", "--replace")
    assert MachineFile.load(folder / "machine.toml").scopes() == again.scopes()
    assert Logbook(folder / "logbook").read()[0][-1].kind == "restored"


def test_a_new_board_takes_the_restored_settings(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = as_json(capsys, "report", "--card")
    (folder / "code.txt").write_text(told["code"])
    (folder / "other").mkdir()
    words = ["-m", "other/machine.toml"]
    run(capsys, "settings", "restore", "code.txt", *words)
    (folder / "plant.toml").write_text(PLANT)
    emulator = ["--port", "emulator:plant.toml", "--speed", "max"]
    pushed = as_json(capsys, "settings", "push", *words, *emulator)
    assert pushed["digest"] == digest(folder)
    shown = run(capsys, "log", "--all", *words)
    assert "from code.txt, the card of 20" in shown


def test_what_a_phones_reader_shows_is_read_too(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = as_json(capsys, "report", "--card")
    (folder / "code.txt").write_text(told["code"] + "\n")
    back = as_json(capsys, "settings", "restore", "code.txt", "-m", "new.toml")
    assert back["digest"] == digest(folder)


def test_pictures_without_a_card_say_what_to_try(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    import segno

    Image.new("L", (400, 300), 200).save("empty.png")
    segno.make_qr("https://example.org").save("other.png", scale=6)
    (folder / "words.jpg").write_text("no picture")
    for name, why in (
        ("empty.png", "no code that can be read"),
        ("other.png", "a code, but none of a card"),
        ("words.jpg", "no picture that can be opened"),
        ("gone.jpg", "No such file"),
        (".", "directory"),
    ):
        with pytest.raises(SettingsError, match=why) as caught:
            run(capsys, "settings", "restore", name, "-m", "new.toml")
        assert caught.value.kept == "Nothing was written."
        assert caught.value.hint
    assert not (folder / "new.toml").exists()


def test_two_cards_in_one_picture_are_refused(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    both = []
    for fuse in ("5.0", "6.0"):
        (folder / "machine.toml").write_text(VENT.replace("fuse_a = 5.0", f"fuse_a = {fuse}"))
        run(capsys, "report", "--card")
        picture_of_page((folder / "card.html").read_text(), folder / "lid.png", px=6)
        both.append(np.asarray(Image.open(folder / "lid.png")))
    rows = min(len(one) for one in both)
    Image.fromarray(np.hstack([one[:rows] for one in both])).save("both.png")
    with pytest.raises(SettingsError, match="two cards"):
        code_text(folder / "both.png")


def test_a_clear_background_is_paper(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    import segno

    told = as_json(capsys, "report", "--card")
    out = io.BytesIO()
    segno.make_qr(told["code"], mode="alphanumeric").save(out, kind="png", scale=5, light=None)
    (folder / "clear.png").write_bytes(out.getvalue())
    assert code_text(folder / "clear.png") == told["code"]
