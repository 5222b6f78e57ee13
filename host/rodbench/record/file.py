"""The file of a recording that is written: whole blocks, on the disk when `add` returns."""

from __future__ import annotations

import contextlib
import errno
import os
from pathlib import Path

from rodbench import durable
from rodbench.record.layout import RecordingError

STAYS = "the recording stays as it is"


class OpenFile:
    """Append-only. A block that does not fit is taken back, so that the file ends whole."""

    def __init__(self, path: Path, handle: int, size: int) -> None:
        self.path = path
        self._handle = handle
        self.size = size  # bytes that are whole

    @classmethod
    def create(cls, path: Path, header: bytes) -> OpenFile:
        """A new file, which is there with its whole header or not at all. Raises RecordingError
        where it cannot be made, FileExistsError where the name is taken."""
        part = path.with_name(f".{path.name}.{os.getpid()}.tmp")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:  # also a file, or a link to nothing, in the folder's place
            raise not_written(path.parent, error, "nothing is recorded") from None
        try:
            try:
                durable.replace(part, header)
                _name(part, path)
            finally:
                part.unlink(missing_ok=True)
            durable.sync_folder(path.parent)
        except FileExistsError:
            raise
        except OSError as error:
            raise not_written(path, error, "nothing is recorded") from None
        made = cls.hold(path)
        made.cut(len(header))
        return made

    @classmethod
    def hold(cls, path: Path) -> OpenFile:
        """One that is there, for this program alone; `cut` comes before the first `add`. Raises
        RecordingError, also where another program writes into it."""
        try:
            handle = os.open(path, os.O_WRONLY | _binary())
        except OSError as error:
            raise not_written(path, error, STAYS) from None
        made = cls(path, handle, 0)
        if not durable.alone(handle):
            made.close()
            raise RecordingError(
                f"another program is recording into {path} just now",
                kept="it goes on undisturbed",
                hint="begin a new one, or end that one first",
            )
        return made

    def cut(self, size: int) -> None:
        """Cut off what stands behind the last whole block, which ends at `size`."""
        try:
            os.ftruncate(self._handle, size)
            os.lseek(self._handle, size, os.SEEK_SET)
            os.fsync(self._handle)
        except OSError as error:
            raise not_written(self.path, error, STAYS) from None
        self.size = size

    def add(self, data: bytes) -> None:
        """Write a whole block and wait for the disk. Raises RecordingError."""
        rest = memoryview(data)
        try:
            while rest:
                rest = rest[os.write(self._handle, rest) :]
            os.fsync(self._handle)
        except OSError as error:
            self._take_back()
            kept = "what was recorded before is whole and can be read"
            raise not_written(self.path, error, kept) from None
        except BaseException:  # a signal: half a block would spoil what comes behind it
            self._take_back()
            raise
        self.size += len(data)

    def close(self) -> None:
        """Safe to repeat."""
        if self._handle >= 0:
            os.close(self._handle)
            self._handle = -1

    def _take_back(self) -> None:
        with contextlib.suppress(OSError):
            os.ftruncate(self._handle, self.size)
            os.lseek(self._handle, self.size, os.SEEK_SET)
            os.fsync(self._handle)


def _name(part: Path, path: Path) -> None:
    """Give a file its name, unless another has it. Raises FileExistsError."""
    try:
        os.link(part, path)
    except FileExistsError:
        raise
    except OSError:  # a file system without such links
        if path.exists():
            raise FileExistsError(path) from None
        part.rename(path)


def not_written(path: Path, error: OSError, kept: str) -> RecordingError:
    """What the system says, with a way out."""
    hints = {
        "ENOSPC": "make room on the disk; an hour of two axes takes about 5 MB",
        "EFBIG": "the system limits the size of a file (ulimit -f)",
        "EACCES": "may this user write into that folder?",
        "EROFS": "that disk is read-only",
    }
    name = errno.errorcode.get(error.errno or 0, "")
    return RecordingError(f"{path}: {error.strerror or error}", kept=kept, hint=hints.get(name))


def _binary() -> int:
    return getattr(os, "O_BINARY", 0)
