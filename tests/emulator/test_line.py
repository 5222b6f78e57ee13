"""The line: bytes take their time; faults spoil the share that was asked for."""

import pytest
from rodbench.emulator.line import Channel

FRAME = bytes(range(1, 20)) + b"\0"


def channel(baud: int = 250_000, **faults: float) -> Channel:
    return Channel(baud, faults, seed=4, late_ms=100.0)


def through(line: Channel, frames: int, every: int = 1) -> list[bytes]:
    """What arrives of `frames` frames, one pushed every few ticks."""
    arrived = b""
    for _ in range(frames):
        line.push(FRAME)
        for _ in range(every):
            arrived += line.pull()
    while line.waiting:
        arrived += line.pull()
    return arrived.split(b"\0")[:-1]


@pytest.mark.parametrize("baud", [250_000, 115_200, 9600])
def test_bytes_come_at_the_pace_of_the_baud_rate(baud: int) -> None:
    """8N1: ten bits a byte, so baud / 10 bytes a second, whatever waits."""
    line = channel(baud)
    line.push(bytes(200_000))
    arrived = sum(len(line.pull()) for _ in range(400))
    assert arrived == pytest.approx(baud / 10 * 2.0, abs=1)


def test_a_short_message_arrives_whole_in_the_next_tick() -> None:
    line = channel()
    line.push(FRAME)
    assert line.pull() == FRAME
    assert line.pull() == b""


def test_idle_time_is_not_saved_up() -> None:
    line = channel()
    for _ in range(100):
        line.pull()
    line.push(bytes(1000))
    assert len(line.pull()) == 125  # 250 000 / 10 / 200


def test_order_is_kept() -> None:
    line = channel(9600)
    data = bytes(range(256)) * 2
    for start in range(0, 512, 7):
        line.push(data[start : start + 7])
    assert b"".join(line.pull() for _ in range(200)) == data


@pytest.mark.parametrize(
    ("fault", "expected"),
    [
        ("frames_lost", lambda got: 2000 - len(got)),
        ("frames_doubled", lambda got: len(got) - 2000),
    ],
)
def test_frames_are_lost_and_doubled_whole(fault: str, expected: object) -> None:
    got = through(channel(**{fault: 0.05}), 2000)
    assert set(got) == {FRAME[:-1]}
    assert callable(expected)
    assert expected(got) == pytest.approx(100, abs=35)  # 3.5 sigma


def test_damaged_frames_have_one_bit_wrong() -> None:
    line = channel(frames_damaged=0.1)
    line_out = b""
    for _ in range(1000):
        line.push(FRAME)
        line_out += line.pull()
    assert len(line_out) == 1000 * len(FRAME)
    wrong = 0
    for start in range(0, len(line_out), len(FRAME)):
        frame = line_out[start : start + len(FRAME)]
        bits = sum((a ^ b).bit_count() for a, b in zip(frame, FRAME, strict=True))
        assert bits in (0, 1)
        wrong += bits
    assert wrong == pytest.approx(100, abs=35)


def test_bytes_are_lost_damaged_and_doubled() -> None:
    data = bytes([0x55]) * 20_000
    for fault, length in (("bytes_lost", 18_000), ("bytes_doubled", 22_000)):
        line = channel(2_000_000, **{fault: 0.1})
        line.push(data)
        got = b"".join(line.pull() for _ in range(40))
        assert len(got) == pytest.approx(length, abs=200)
    line = channel(2_000_000, bytes_damaged=0.1)
    line.push(data)
    got = b"".join(line.pull() for _ in range(40))
    assert sum(byte != 0x55 for byte in got) == pytest.approx(2000, abs=200)


def test_a_late_frame_comes_late_and_holds_up_what_follows() -> None:
    line = channel(frames_late=1.0)
    line.push(FRAME)
    line.faults = {}
    line.push(b"\1\2\0")
    story = [line.pull() for _ in range(30)]
    assert story.index(FRAME + b"\1\2\0") == 20  # 100 ms
    assert sum(map(len, story)) == len(FRAME) + 3


def test_a_frame_in_pieces_is_still_one_frame() -> None:
    line = channel(frames_lost=0.0001, frames_damaged=1.0)
    line.push(FRAME[:5])
    assert line.pull() == b""
    line.push(FRAME[5:])
    got = line.pull()
    assert sum((a ^ b).bit_count() for a, b in zip(got, FRAME, strict=True)) == 1


def test_the_same_seed_spoils_the_same_frames() -> None:
    assert through(channel(frames_lost=0.2), 300) == through(channel(frames_lost=0.2), 300)


def test_nothing_is_spoilt_unasked() -> None:
    assert through(channel(), 500) == [FRAME[:-1]] * 500
