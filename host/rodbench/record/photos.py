"""Photos of a logbook: copied into its folder before the entry that names them.

A kill leaves either no photo or a whole one, and an entry names only photos that are in place.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from rodbench import durable
from rodbench.errors import UsageError

FOLDER = "photos"
MOST_BYTES = 50_000_000
KEPT = "Nothing was written into the logbook."
# First bytes of picture files; None stands for any byte (lengths).
_SIGNATURES: dict[str, tuple[int, bytes]] = {
    ".jpg": (0, b"\xff\xd8\xff"),
    ".png": (0, b"\x89PNG\r\n\x1a\n"),
    ".gif": (0, b"GIF8"),
    ".webp": (8, b"WEBP"),
    ".heic": (4, b"ftyp"),
}


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo in the logbook: its name in `photos`, the file it came from, bytes, SHA-256."""

    name: str
    source: str
    size: int
    sha256: str


def keep(logbook: Path, sources: list[Path]) -> list[Photo]:
    """Copy photos into a logbook's folder, all on the disk when this returns.

    Raises UsageError, before the first is copied, when one is missing or no picture.
    """
    contents = [(source, _read(source)) for source in sources]
    folder = logbook / FOLDER
    if contents:
        folder.mkdir(parents=True, exist_ok=True)
    photos = [_put(folder, source, data) for source, data in contents]
    if photos:
        durable.sync_folder(folder)
    return photos


def _read(source: Path) -> bytes:
    try:
        if source.stat().st_size > MOST_BYTES:
            raise UsageError(f"{source} is larger than {MOST_BYTES // 10**6} MB", kept=KEPT)
        data = source.read_bytes()
    except OSError as error:
        raise UsageError(f"{source}: {error.strerror or error}", kept=KEPT) from None
    if _kind(data) is None:
        kinds = ", ".join(kind.removeprefix(".").upper() for kind in _SIGNATURES)
        raise UsageError(f"{source} is no picture ({kinds})", kept=KEPT)
    return data


def _kind(data: bytes) -> str | None:
    for kind, (at, begin) in _SIGNATURES.items():
        if data[at : at + len(begin)] == begin:
            return kind
    return None


def _put(folder: Path, source: Path, data: bytes) -> Photo:
    """The name comes from the content: the same photo twice is kept once."""
    digest = hashlib.sha256(data).hexdigest()
    stem = "".join(c if c.isalnum() or c in "-_" else "-" for c in source.stem)[:40]
    name = f"{digest[:12]}-{stem}{_kind(data)}"
    if not (folder / name).exists():
        durable.replace(folder / name, data)
    return Photo(name, source.name, len(data), digest)
