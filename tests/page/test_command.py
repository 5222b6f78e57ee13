"""`rodbench page` as a command: what it says, and how it ends when it cannot serve."""

from __future__ import annotations

import socket

from tests.page.bench import PageBench


def test_every_network_at_once_is_refused(bench: PageBench) -> None:
    for address in ("0.0.0.0", "::", "", "0", "0x0", "0:0:0:0:0:0:0:0", "::ffff:0.0.0.0"):
        done = bench.run("page", "--yes", "--listen", address, code=2, timeout_s=20.0)
        assert "name the one address" in done.stderr


def test_a_port_that_is_taken_is_said(bench: PageBench) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        number = str(taken.getsockname()[1])
        done = bench.run("page", "--yes", "--web-port", number, code=3)
    assert "--web-port 0" in done.stderr


def test_an_address_that_this_computer_has_not_is_said(bench: PageBench) -> None:
    done = bench.run("page", "--yes", "--listen", "192.0.2.7", code=3)
    assert "cannot be served at 192.0.2.7" in done.stderr
    assert "in sight of the machine" in done.stderr


def test_a_page_may_move_rods_so_it_asks_for_consent(bench: PageBench) -> None:
    book = bench.folder / "logbook" / "log.jsonl"
    kept = book.read_text() if book.exists() else ""
    book.unlink(missing_ok=True)
    done = bench.run("page", code=9)
    assert "The rod can crush a hand" in done.stderr
    assert "axis 1: Not guarded" in done.stderr
    book.parent.mkdir(exist_ok=True)
    book.write_text(kept)


def test_a_recording_that_is_none_is_said(bench: PageBench) -> None:
    missing = bench.run("page", "--replay", "nothing.rodrec", code=None)
    assert missing.returncode not in (0, 70)
    assert "nothing.rodrec" in missing.stderr
    (bench.folder / "other.rodrec").write_text("something else")
    other = bench.run("page", "--replay", "other.rodrec", code=None)
    assert other.returncode not in (0, 70)
    assert "other.rodrec" in other.stderr
