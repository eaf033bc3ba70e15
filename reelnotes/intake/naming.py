"""A file's name as text: its path in the trip folder, fit for every output."""

import os
from pathlib import Path


def name_in_trip(root: Path, path: Path) -> str:
    """The path in the trip folder, with forward slashes: a file's identity in every output."""
    return as_text(path.relative_to(root))


def as_text(path: Path | str) -> str:
    """A path as text that can be written as UTF-8.

    A file system's names are bytes. Old cameras and archives leave names in other encodings; Python then carries
    their bytes as lone surrogates, which no output may hold, so they are shown as the replacement character U+FFFD.
    In the C locale every accent comes that way and is UTF-8 after all.
    """
    posix = path.as_posix() if isinstance(path, Path) else path
    return os.fsencode(posix).decode("utf-8", "replace")
