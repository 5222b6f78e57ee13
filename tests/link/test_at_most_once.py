"""Ten thousand requests over a bad line: none carried out twice, none lost in silence."""

from __future__ import annotations

import pytest
from rodbench.clock import VirtualClock
from rodbench.errors import OutcomeUnknown
from rodbench.link.client import Client
from rodbench.link.transport import EmulatorTransport

from tests.link.rig import emulated

REQUESTS = 10_000
SHARE = 0.05  # of frames, each way
OTHERS = ("digests", "outcome", "settings_get")


def ask(client: Client, number: int) -> int | None:
    """One request; the board's own count of what it has carried out where the reply tells it."""
    if number % 2 == 0:
        return int(client.request("counters")["requests_done"])
    name = OTHERS[number % len(OTHERS)]
    fields = {"outcome": {"axis": 1}, "settings_get": {"which": 0, "scope": 1, "first_key": 1}}
    client.request(name, **fields.get(name, {}))
    return None


@pytest.mark.parametrize(
    "faults",
    [
        {"frames_lost": SHARE},
        {"frames_damaged": SHARE},
        {"frames_lost": SHARE / 2, "frames_damaged": SHARE / 2},
        {"frames_lost": SHARE, "frames_doubled": SHARE, "frames_late": SHARE},
    ],
    ids="+".join,
)
def test_ten_thousand_requests(faults):
    board, clock = emulated(), VirtualClock()
    clock.attach(board.step)
    client = Client(EmulatorTransport(board, clock), clock)
    done = int(client.request("counters")["requests_done"])
    board.rig.line_faults.update(faults)
    answered, unknown = 1, 0  # since the count was last seen
    unknown_in_all = 0
    for number in range(REQUESTS):
        try:
            count = ask(client, number)
        except OutcomeUnknown:
            unknown += 1
            unknown_in_all += 1
            continue
        if count is None:
            answered += 1
            continue
        least = done + answered
        assert least <= count <= least + unknown, f"request {number}"
        done = count
        answered, unknown = 1, 0
    seen = client.statistics()
    assert seen.retries > 0.05 * REQUESTS
    assert seen.unanswered == unknown_in_all
    assert client.request("counters")["repeats"] > 0
    print(f"{faults}: {seen}")
