"""What everything stored has in common: the one error a player sees, the wall clock, and writing a file whole."""

from __future__ import annotations

import errno
import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import BinaryIO, Final

LARGEST_TEXT_BYTES: Final = 4_000_000
"""Of a text file; a drill set, a chart or the settings have some kilobytes."""

_LONGEST_NAME: Final = 300

UtcNow = Callable[[], str]
"""Gives the wall clock as ISO 8601 text in UTC with milliseconds, as in 2026-03-01T18:30:00.000Z."""


def utc_now() -> str:
    """The wall clock, as ISO 8601 text in UTC with milliseconds."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


class StorageError(Exception):
    """Something stored cannot be read or written: where, what was found there, and what to do about it.

    >>> str(StorageError(Path("a.sqlite"), "is damaged", "put a copy in its place"))
    'a.sqlite is damaged; put a copy in its place.'
    """

    passing = False
    """Whether waiting a moment may be all that is needed."""

    needs_password = False
    """Whether a password may be all that is needed."""

    def __init__(self, path: Path | str, found: str, remedy: str) -> None:
        self.path = Path(path)
        self.found = found
        self.remedy = remedy
        super().__init__(f"{_on_one_line(str(path))} {found}; {remedy}.")


def _on_one_line(name: str) -> str:
    """A name as it can be shown: what is not printable as an escape, and of a very long one its two ends."""
    if len(name) > _LONGEST_NAME:
        half = _LONGEST_NAME // 2
        name = f"{name[:half]}...{name[-half:]}"
    return "".join(sign if sign.isprintable() else sign.encode("unicode_escape", "replace").decode() for sign in name)


_FINDINGS: Final[dict[int, tuple[str, str]]] = {
    errno.ENOSPC: ("cannot be written, the disk is full", "free some space and try again"),
    errno.EDQUOT: ("cannot be written, your share of the disk is used up", "free some space and try again"),
    errno.EACCES: ("may not be opened", "allow yourself to read and write it, or choose another folder"),
    errno.EPERM: ("may not be changed", "allow yourself to read and write it, or choose another folder"),
    errno.EROFS: ("lies on a disk that cannot be written", "choose another folder"),
    errno.ENOENT: ("is not there", "check the name"),
    errno.ENOTDIR: ("lies below a file, where a folder is needed", "move that file away, or choose another folder"),
    errno.EEXIST: ("is a file, where a folder is needed", "move that file away, or choose another folder"),
    errno.EISDIR: ("is a folder, where a file is needed", "move that folder away, or choose another name"),
}


def trouble(path: Path | str, error: OSError) -> StorageError:
    """An error of the operating system as a `StorageError`."""
    found, remedy = _FINDINGS.get(
        error.errno or 0, (f"cannot be used ({error.strerror or error})", "check the disk, or choose another folder")
    )
    return StorageError(path, found, remedy)


def make_folder(path: Path) -> None:
    """Create a folder and those above it where they are missing. Raises `StorageError`."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise trouble(path, error) from error


def read_bytes(path: Path, most: int = LARGEST_TEXT_BYTES) -> bytes:
    """The bytes of a file.

    Raises `StorageError`, also where it has more than `most`, or is a pipe or device, which might never end.
    """
    try:
        if path.exists() and not path.is_file() and not path.is_dir():
            raise StorageError(path, "is no file but a pipe or a device", "save what it gives in a file and name that")
        with path.open("rb") as file:
            data = file.read(most + 1)
    except OSError as error:
        raise trouble(path, error) from error
    if len(data) > most:
        raise StorageError(path, f"has more than {most // 1_000_000} MB", "name a smaller file")
    return data


def read_text(path: Path) -> str:
    """The text of a UTF-8 file, line ends as they are. Raises `StorageError` as `read_bytes`, and where it is none."""
    return decoded(read_bytes(path), path)


def decoded(data: bytes, path: Path) -> str:
    """The bytes of a file as the UTF-8 text that they are. Raises `StorageError`."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise StorageError(
            path, f"is no UTF-8 text (byte {error.start + 1})", "save it as UTF-8 from a text editor"
        ) from error


def write_text_atomically(path: Path, text: str) -> None:
    """Write a UTF-8 file whole: whoever reads it, and whenever the power goes, finds the old text or the new one.

    The folder is created where it is missing; a link is followed, and a file keeps its permissions.
    Raises `StorageError`; the old file then stands unchanged.
    """
    write_bytes_atomically(path, text.encode("utf-8"))


def write_bytes_atomically(path: Path, data: bytes) -> None:
    """Write a file whole, as `write_text_atomically` does. Raises `StorageError`."""
    with written_whole(path) as new:
        new.write(data)


@contextmanager
def written_whole(path: Path) -> Iterator[BinaryIO]:
    """A file to write to, which takes its place under `path` when all of it was written; as `write_text_atomically`.

    Raises `StorageError` for every fault of the operating system within; nothing is left of what was begun.
    """
    try:
        target = Path(os.path.realpath(path))
        target.parent.mkdir(parents=True, exist_ok=True)
        descriptor, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".new", dir=target.parent)
    except OSError as error:
        raise trouble(path, error) from error
    try:
        with os.fdopen(descriptor, "wb") as new:
            yield new
            new.flush()
            os.fsync(new.fileno())
        os.chmod(name, _permissions(target))
        os.replace(name, target)
        _sync_folder(target.parent)
    except OSError as error:
        raise trouble(path, error) from error
    finally:
        Path(name).unlink(missing_ok=True)


def _permissions(path: Path) -> int:
    """Those of the file that is there; for a new one, what the player's mask leaves of read and write for all."""
    try:
        return path.stat().st_mode & 0o777
    except OSError:
        mask = os.umask(0)
        os.umask(mask)
        return 0o666 & ~mask


def _sync_folder(folder: Path) -> None:
    """Make the new name last through a power cut, where folders can be synced at all (not on Windows)."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
