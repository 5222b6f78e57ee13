"""Photos of a lid card as a hurried person takes them: tilted, blurred, noisy, unevenly lit."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw, ImageFilter
from rodbench.show.card_code import QUIET, SIDE_MM, Code

SIZE = (2000, 1500)  # pixels of the photo
CARD_MM = (105.0, 148.0)
PX_MM = 14.0  # of the flat card, before it is photographed
Grid = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Shot:
    """How a photo is taken. Blur is a share of a module, noise of full white."""

    tilt: float  # how far a corner strays, as a share of the card's height
    turn_deg: float
    fill: float  # share of the photo's height that the card takes
    blur: float
    noise: float
    shade: float  # how much darker the darkest corner is
    quality: int  # of the JPEG
    scratches: int  # across the code, down to bare paper
    stain_mm: float  # radius of a dark spot on the code


def shot(rng: np.random.Generator) -> Shot:
    """From an easy one to a hopeless one."""
    return Shot(
        tilt=rng.uniform(0, 0.14),
        turn_deg=rng.uniform(-180, 180),
        fill=rng.uniform(0.55, 0.80),
        blur=rng.uniform(0.05, 0.6),
        noise=rng.uniform(0.005, 0.10),
        shade=rng.uniform(0, 0.8),
        quality=int(rng.integers(35, 95)),
        scratches=int(rng.integers(0, 4)),
        stain_mm=rng.uniform(0, 3),
    )


def flat(code: Code) -> Image.Image:
    """The card lying flat: the code at its size, lines of grey for its words."""
    width, height = (round(side * PX_MM) for side in CARD_MM)
    image = Image.new("L", (width, height), 255)
    draw = ImageDraw.Draw(image)
    for row in range(20):
        y = round((6 + 3.9 * row) * PX_MM)
        draw.rectangle((4 * PX_MM, y, (40 + 37 * (row % 3)) * PX_MM, y + 12), fill=90)
    side = round(SIDE_MM * PX_MM)
    image.paste(Image.new("L", (side, side), 255), (0, height - side))
    matrix = np.array([[not dark for dark in row] for row in code.qr.matrix], dtype=np.uint8) * 255
    inside = round(code.module_mm * PX_MM * len(matrix))
    edge = round(code.module_mm * PX_MM * QUIET)
    drawn = Image.fromarray(matrix).resize((inside, inside), Image.Resampling.NEAREST)
    image.paste(drawn, (edge, height - side + edge))
    return image


def worn(card: Image.Image, how: Shot, rng: np.random.Generator) -> Image.Image:
    """The card after years on a lid: scratches of 0.2 to 0.6 mm across the code, and a stain."""
    draw, side = ImageDraw.Draw(card), SIDE_MM * PX_MM
    top = card.height - side
    for _ in range(how.scratches):
        ends = [(rng.uniform(0, side), top + rng.uniform(0, side)) for _ in range(2)]
        draw.line(ends, fill=235, width=round(rng.uniform(0.2, 0.6) * PX_MM))
    x, y = rng.uniform(0.1, 0.9) * side, top + rng.uniform(0.1, 0.9) * side
    radius = how.stain_mm * PX_MM
    draw.ellipse((x - radius, y - radius, x + radius, y + radius), fill=60)
    return card


def photo(code: Code, how: Shot, rng: np.random.Generator, path: Path) -> Path:
    """The JPEG of a shot."""
    scale = SIZE[1] * how.fill / (CARD_MM[1] * PX_MM)  # photo pixels of a card pixel
    card = worn(flat(code), how, rng)
    corners = _corners(how, rng)
    seen = card.transform(SIZE, Image.Transform.PERSPECTIVE, _coefficients(corners, card.size),
                          Image.Resampling.BICUBIC, fillcolor=110)  # fmt: skip
    seen = seen.filter(ImageFilter.GaussianBlur(how.blur * code.module_mm * PX_MM * scale))
    light = _light(how, rng)
    grain = rng.normal(0.0, how.noise * 255, (SIZE[1], SIZE[0]))
    pixels = np.asarray(seen, dtype=np.float64) * light * 0.9 + grain
    out = io.BytesIO()
    Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8)).save(out, "JPEG", quality=how.quality)
    path.write_bytes(out.getvalue())
    return path


def _corners(how: Shot, rng: np.random.Generator) -> Grid:
    """Where the card's corners come to lie in the photo, clockwise from the top left."""
    height = SIZE[1] * how.fill
    half = np.array([height * CARD_MM[0] / CARD_MM[1], height]) / 2
    box = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
    box = box + rng.uniform(-1, 1, (4, 2)) * how.tilt * height
    angle = np.radians(how.turn_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return box @ turn.T + np.array(SIZE) / 2


def _coefficients(corners: Grid, size: tuple[int, int]) -> list[float]:
    """Of the projection from the photo's pixels to the card's (eight equations, plain algebra)."""
    width, height = size
    source = [(0, 0), (width, 0), (width, height), (0, height)]
    rows, wanted = [], []
    for (x, y), (u, v) in zip(corners, source, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        wanted += [u, v]
    found: list[float] = np.linalg.solve(np.array(rows), np.array(wanted)).tolist()
    return found


def _light(how: Shot, rng: np.random.Generator) -> Grid:
    """Brightness over the photo: from 1 down to 1 - shade, along a random direction."""
    y, x = np.mgrid[0 : SIZE[1], 0 : SIZE[0]] / max(SIZE)
    angle = rng.uniform(0, 2 * np.pi)
    along = x * np.cos(angle) + y * np.sin(angle)
    along = (along - along.min()) / (along.max() - along.min())
    return np.asarray(1.0 - how.shade * along**1.5, dtype=np.float64)
