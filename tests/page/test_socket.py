"""The socket over which a finger holds a rod: what counts as a renewal, and what never does."""

from __future__ import annotations

import time

import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus

from tests.page.bench import PageBench
from tests.page.raw import RawPage, line_to

BAD = (
    "",
    "{",
    "[]",
    "null",
    "7",
    '{"do": "begin"}',
    '{"do": "begin", "axis": 9, "way": 1, "seen": 0}',
    '{"do": "begin", "axis": 1, "way": 0, "seen": TICK}',
    '{"do": "begin", "axis": 1, "way": 7, "seen": TICK}',
    '{"do": "begin", "axis": true, "way": 1, "seen": TICK}',
    '{"do": "begin", "axis": 1, "way": 1, "seen": TICK.0}',
    '{"do": "begin", "axis": 1, "way": 1, "seen": "TICK"}',
    '{"do": "renew", "seen": "x"}',
    '{"do": "renew", "seen": NaN}',
    '{"do": "renew", "seen": 1e999}',
    '{"do": "renew", "seen": -1}',
    '{"do": 5}',
    "[" * 900,
    "x" * 5000,
)


def test_renewals_with_old_ticks_prolong_nothing(served: PageBench) -> None:
    served.to_the_middle()
    with RawPage(served) as page:
        page.begin(served)
        since, old, until = served.board.now, page.tick, time.monotonic() + 1.0
        while time.monotonic() < until:
            page.say(do="renew", seen=old)
            page.hear(0.02)
        served.check_stop("old ticks again and again", since, since)


def test_renewals_with_ticks_that_were_never_sent_prolong_nothing(served: PageBench) -> None:
    served.to_the_middle()
    with RawPage(served) as page:
        page.begin(served)
        since, ahead = served.board.now, page.tick
        for more in range(50):
            page.say(do="renew", seen=ahead + 2000 + more)
            page.hear(0.02)
        served.check_stop("ticks from the future", since, since)


@pytest.mark.parametrize("more", [2**32, -(2**32), 0.0])
def test_renewals_that_are_no_ticks_prolong_nothing(served: PageBench, more: float) -> None:
    """They were taken modulo 2^32, or cut to a whole number."""
    served.to_the_middle()
    with RawPage(served) as page:
        page.begin(served)
        since, until = served.board.now, time.monotonic() + 1.0
        while time.monotonic() < until:
            page.say(do="renew", seen=page.tick + more)
            page.hear(0.02)
        assert page.mine == ""
        served.check_stop("ticks that are none", since, since)


def test_bytes_end_the_socket_and_no_more(served: PageBench) -> None:
    served.to_the_middle()
    with RawPage(served) as page:
        page.begin(served)
        with served.stops("bytes in place of text"):
            page.line.send(b"\x00")
    assert "Traceback" not in (served.folder / "page.err").read_text()


def test_a_press_that_was_held_up_begins_nothing(served: PageBench) -> None:
    served.settle()
    with RawPage(served) as page:
        since = served.board.now
        page.say(do="begin", axis=1, way=1, seen=(page.tick - 100) % 2**32)
        page.hold(0.5)
        assert not any(served.board.drives[since:])
        assert "too long ago" in page.said[-1]["refused"]


def test_bad_messages_do_nothing(served: PageBench) -> None:
    served.settle()
    with RawPage(served) as page:
        since = served.board.now
        for text in BAD:
            page.line.send(text.replace("TICK", str(page.tick)))
            page.hear(0.1)
        page.hear(0.3)
        assert not any(served.board.drives[since:])
        page.say(do="stop")
        page.hear(0.5)
        assert {"stop": "sent"} in page.said


def test_who_leaves_without_a_word_lets_go(served: PageBench) -> None:
    served.to_the_middle()
    with RawPage(served) as page:
        page.begin(served)
        with served.stops("socket closed"):
            page.line.socket.close()


def first_word(bench: PageBench, path: str) -> str:
    with line_to(bench, path, Origin=bench.url.rstrip("/")) as line:
        return str(line.recv(1.0))


def test_a_second_socket_of_a_page_without_the_key_takes_nothing(served: PageBench) -> None:
    """Who has learned a page's number cannot speak for it."""
    served.settle()
    with RawPage(served) as page:
        path = f"/hold?page={page.page_id}"
        with pytest.raises((ConnectionClosed, InvalidStatus)):
            first_word(served, path)
        page.begin(served)
