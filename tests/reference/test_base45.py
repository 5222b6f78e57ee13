"""Base 45 against the examples of RFC 9285, section 4.3 and 4.4 (from memory)."""

from __future__ import annotations

import random

import pytest
from rodbench.settings import base45

EXAMPLES = [(b"AB", "BB8"), (b"Hello!!", "%69 VD92EX0"), (b"base-45", "UJCLQE7W581")]


@pytest.mark.parametrize(("data", "text"), [*EXAMPLES, (b"ietf!", "QED8WEX0"), (b"", "")])
def test_the_standards_examples(data: bytes, text: str) -> None:
    assert base45.encode(data) == text
    assert base45.decode(text) == data


@pytest.mark.parametrize(
    "text",
    [
        "GGW",  # the standard's own: 65536 in two bytes
        ":::",
        "::",  # 2024 in one byte
        "0",  # a character alone holds less than a byte
        "BB8A",
        "bb8",
        "BB\n",
        "Ü00",
    ],
)
def test_what_no_encoder_makes_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"base 45|too large"):
        base45.decode(text)


def test_all_bytes_come_back() -> None:
    rng = random.Random(9285)
    for size in range(300):
        data = rng.randbytes(size)
        text = base45.encode(data)
        assert base45.decode(text) == data
        assert len(text) == size // 2 * 3 + size % 2 * 2
