"""Codes in a picture: the text of a card's QR code, from a photo, a scan or a screenshot."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rodbench.errors import SettingsError
from rodbench.settings.card import KEPT, MAGIC

if TYPE_CHECKING:
    from PIL.Image import Image

_MOST_SIDE = 3000  # pixels; more tells no more of a code that fills a part of the picture
_SMALL_SIDE = 2500  # below, modules of a few pixels are read better when enlarged
_MOST_BYTES = 100_000_000
_LIGHT_SHARE = 16  # light changes over a sixteenth of the picture, modules over much less
NEARER = (
    "Photograph the card nearer, flatter and in even light, the whole code and its white edge in "
    "the picture and sharp."
)


def code_text(path: Path) -> str:
    """The text of the one card in a picture, or in a text file that a phone's reader has made.

    Raises SettingsError where there is none, or more than one.
    """
    data = _bytes(path)
    if data.startswith(MAGIC.encode()):
        return data.decode("ascii", errors="replace")
    image = _open(path)
    others = 0
    for view in _views(image):
        texts = _codes(view)
        cards = sorted({text for text in texts if text.startswith(f"{MAGIC}/")})
        others = max(others, len(texts) - len(cards))
        if len(cards) > 1:
            raise _refusal(f"{path} shows two cards", "A picture of one, please.")
        if cards:
            return cards[0]
    found = "a code, but none of a card" if others else "no code that can be read"
    raise _refusal(f"{path} shows {found}", NEARER)


def _bytes(path: Path) -> bytes:
    """How the file begins. Raises SettingsError."""
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise _refusal(f"{path} is larger than {_MOST_BYTES // 10**6} MB", NEARER)
        with path.open("rb") as file:
            begin = file.read(len(MAGIC))
        return path.read_bytes() if begin == MAGIC.encode() else begin
    except OSError as error:
        raise _refusal(f"{path}: {error.strerror or error}", "A picture of the card.") from None


def _open(path: Path) -> Image:
    """The picture in shades of grey."""
    from PIL import Image, UnidentifiedImageError

    try:
        with Image.open(path) as image:
            image.draft("L", (_MOST_SIDE, _MOST_SIDE))
            grey = _on_white(image).convert("L")
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, ValueError) as error:
        what = "is no picture that can be opened here" if isinstance(
            error, UnidentifiedImageError
        ) else f"cannot be opened: {error}"  # fmt: skip
        raise _refusal(f"{path} {what}", "Save it as JPEG or PNG.") from None
    grey.thumbnail((_MOST_SIDE, _MOST_SIDE))
    return grey


def _on_white(image: Image) -> Image:
    """What is transparent is paper."""
    from PIL import Image as Images

    if not image.has_transparency_data:
        return image
    clear = image.convert("RGBA")
    return Images.alpha_composite(Images.new("RGBA", clear.size, "white"), clear)


def _views(image: Image) -> Iterator[Image]:
    """The picture in ways that help a reader, the plainest first."""
    from PIL import ImageFilter

    yield image
    level = _evenly_lit(image)
    calm = level.filter(ImageFilter.GaussianBlur(0.8))
    yield from (level, calm)
    yield _scaled(level, 2.0 if max(image.size) < _SMALL_SIDE else 0.5)
    for strength in (250, 400):
        sharp = calm.filter(ImageFilter.UnsharpMask(radius=3, percent=strength, threshold=0))
        yield _scaled(sharp, 2.0)


def _evenly_lit(image: Image) -> Image:
    """Each pixel against the light around it: shadows go, modules stay."""
    import numpy as np
    from PIL import Image as Images
    from PIL import ImageFilter

    wide = image.filter(ImageFilter.BoxBlur(max(image.size) / _LIGHT_SHARE))
    light = np.maximum(np.asarray(wide, dtype=np.float32), 1.0)
    even = np.asarray(image, dtype=np.float32) / light * 128.0
    return Images.fromarray(np.clip(even, 0, 255).astype(np.uint8))


def _scaled(image: Image, factor: float) -> Image:
    return image.resize((round(image.width * factor), round(image.height * factor)))


def _codes(image: Image) -> list[str]:
    """Texts of all QR codes that the reader finds."""
    import zxingcpp

    read: Any = zxingcpp.read_barcodes  # its format argument changed its type once
    found = read(image, formats=zxingcpp.BarcodeFormat.QRCode)
    return [code.text for code in found]


def _refusal(text: str, hint: str) -> SettingsError:
    return SettingsError(text, kept=KEPT, hint=hint)
