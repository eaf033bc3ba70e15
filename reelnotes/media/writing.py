"""Safe writing: beside the target under a temporary name, flushed, then renamed.

A run killed at any point leaves either the old file or the new one, never half of one.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

TEMPORARY_MARK = ".part-"


@contextmanager
def replacing(target: Path) -> Iterator[Path]:
    """A path beside ``target`` to write to; renamed onto it when the block ends well, removed when it does not.

    The temporary name keeps the target's suffix, for writers that choose their format by it.
    """
    target.parent.mkdir(parents=True, exist_ok=True)
    temporary = target.with_name(f".{target.stem}{TEMPORARY_MARK}{os.getpid()}{target.suffix}")
    try:
        yield temporary
        with temporary.open("rb+") as handle:
            os.fsync(handle.fileno())
        temporary.replace(target)
    finally:
        temporary.unlink(missing_ok=True)


def write_text(target: Path, text: str) -> None:
    """Write UTF-8 text with LF line ends, safely."""
    with replacing(target) as temporary:
        temporary.write_text(text, encoding="utf-8", newline="\n")


def write_bytes(target: Path, data: bytes) -> None:
    """Write bytes, safely."""
    with replacing(target) as temporary:
        temporary.write_bytes(data)
