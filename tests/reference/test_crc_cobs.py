"""CRC and COBS against published values and other people's implementations."""

import binascii
import random

import crccheck.crc
import pytest
from cobs import cobs
from rodbench_protocol import framing

CHECK_INPUT = b"123456789"


def cobs_by_hand(data: bytes) -> bytes:
    """COBS written out from the description in Cheshire & Baker (1999), for comparison."""
    out = bytearray()
    for number, run in enumerate(data.split(b"\0")):
        pieces = [run[i : i + 254] for i in range(0, len(run), 254)] or [b""]
        # A full run of 254 stands for no zero, so a zero after it needs a piece of its own.
        last_run = number == data.count(0)
        if len(pieces[-1]) == 254 and not last_run:
            pieces.append(b"")
        for piece in pieces:
            out.append(len(piece) + 1)
            out += piece
    return bytes(out)


# Catalogue of parametrised CRC algorithms (CRC RevEng), check values of "123456789".
@pytest.mark.parametrize(
    ("start", "check", "library"),
    [
        (0xFFFF, 0x29B1, crccheck.crc.Crc16Ibm3740),
        (0x0000, 0x31C3, crccheck.crc.Crc16Xmodem),
        (0x1D0F, 0xE5CC, crccheck.crc.Crc16SpiFujitsu),
    ],
)
def test_crc_catalogue(start, check, library):
    assert binascii.crc_hqx(CHECK_INPUT, start) == check
    assert library.calc(CHECK_INPUT) == check


def test_frame_crc_is_ibm_3740():
    """Catalogue: CRC-16/IBM-3740, check 0x29B1; reference library: crccheck 1.3."""
    assert framing.crc16(CHECK_INPUT) == 0x29B1
    rng = random.Random(1)
    for size in range(65):
        data = rng.randbytes(size)
        assert framing.crc16(data) == crccheck.crc.Crc16Ibm3740.calc(data)


def test_digest_crc_is_iso_hdlc():
    """Catalogue: CRC-32/ISO-HDLC, check 0xCBF43926; reference library: crccheck 1.3."""
    assert binascii.crc32(CHECK_INPUT) == 0xCBF43926
    assert crccheck.crc.Crc32IsoHdlc.calc(CHECK_INPUT) == 0xCBF43926


def test_residue_is_zero_only_high_byte_first():
    """Own example, by the theory of CRCs: appended high byte first, the CRC over all is 0."""
    rng = random.Random(2)
    for _ in range(50):
        data = rng.randbytes(rng.randint(1, 62))
        crc = framing.crc16(data)
        assert framing.crc16(data + crc.to_bytes(2, "big")) == 0
        if crc >> 8 != crc & 0xFF:
            assert framing.crc16(data + crc.to_bytes(2, "little")) != 0


def test_every_error_of_up_to_three_bits_is_seen():
    """0x11021 has Hamming distance 4 up to 32767 bits (any CRC text); tried on a short frame."""
    frame = bytearray(b"\x12\x5a\x05\x01\x01\xb8\x0b\x00\x00")
    frame += framing.crc16(bytes(frame)).to_bytes(2, "big")
    bits = len(frame) * 8
    value = int.from_bytes(frame, "big")
    flips = [1 << i for i in range(bits)]
    for i in range(bits):
        for j in range(i, bits):
            damaged = value ^ flips[i] ^ (flips[j] if j > i else 0)
            assert framing.crc16(damaged.to_bytes(len(frame), "big")) != 0
    rng = random.Random(3)
    for _ in range(3000):
        three = rng.sample(flips, 3)
        damaged = value ^ three[0] ^ three[1] ^ three[2]
        assert framing.crc16(damaged.to_bytes(len(frame), "big")) != 0


ONE_TO_FE = bytes(range(1, 255))

# S. Cheshire, M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Trans. Networking 7(2),
# 1999. [tests]: unit tests of the PyPI package cobs 1.2; [figure]: the paper's figure and the
# widely printed table, from memory.
COBS_PAIRS = [
    (b"", "01"),  # [tests]
    (b"\0", "0101"),  # [tests]
    (b"\0\0", "010101"),  # [tests]
    (b"\0\0\0", "01010101"),  # [tests]
    (b"12345", "063132333435"),  # [tests]
    (b"12345\x006789", "0631323334350536373839"),  # [tests]
    (b"\x0012345\x006789", "010631323334350536373839"),  # [tests]
    (b"12345\x006789\0", "063132333435053637383901"),  # [tests]
    (ONE_TO_FE[:-1], "fe" + ONE_TO_FE[:-1].hex()),  # [tests]
    (ONE_TO_FE, "ff" + ONE_TO_FE.hex()),  # [tests]
    (ONE_TO_FE + b"\xff", "ff" + ONE_TO_FE.hex() + "02ff"),  # [tests]
    (b"\0" + ONE_TO_FE + b"\xff", "01ff" + ONE_TO_FE.hex() + "02ff"),  # [tests]
    (b"\0\x11\0", "01021101"),  # [figure]
    (b"\x11\x22\0\x33", "0311220233"),  # [figure]
    (b"\x11\0\0\0", "0211010101"),  # [figure]
    (bytes.fromhex("4500002c4c79000040064f37"), "024501042c4c79010540064f37"),  # [figure]
]


@pytest.mark.parametrize(("plain", "encoded"), COBS_PAIRS)
def test_cobs_examples(plain, encoded):
    assert cobs.encode(plain).hex() == encoded
    assert cobs_by_hand(plain).hex() == encoded
    assert cobs.decode(bytes.fromhex(encoded)) == plain


# Inputs that the tests of the PyPI package cobs 1.2 refuse.
@pytest.mark.parametrize("data", ["00", "05313233", "0531323334" + "00", "0531320034"])
def test_cobs_refused(data):
    with pytest.raises(cobs.DecodeError):
        cobs.decode(bytes.fromhex(data))
    with pytest.raises(framing.FrameError):
        framing.decode(bytes.fromhex(data))


def test_whole_frame_by_hand():
    """Own example: 31..39, its CRC 29B1 high byte first, one code byte before, one zero after."""
    assert framing.encode(CHECK_INPUT).hex() == "0c" + CHECK_INPUT.hex() + "29b100"


def test_cobs_package_equals_the_paper():
    rng = random.Random(4)
    for size in [*range(70), 253, 254, 255, 508, 509]:
        data = bytes(rng.choice((0, 1, 2, 255)) for _ in range(size))
        full = bytes(rng.randint(1, 255) for _ in range(size))
        assert cobs.encode(data) == cobs_by_hand(data)
        if size % 254 or size == 0:
            assert cobs.encode(full) == cobs_by_hand(full)


def test_cobs_costs_exactly_one_byte_in_a_frame():
    rng = random.Random(5)
    for size in range(1, framing.FRAME_MAX + 1):
        assert len(cobs.encode(rng.randbytes(size))) == size + 1
