"""Names for folders and links that every common file system takes."""

import hashlib
import re
import unicodedata
from pathlib import PurePosixPath

# Windows forbids these in names, and the device names below whatever follows the first dot
# (Microsoft, "Naming Files, Paths, and Namespaces"; common practice elsewhere).
_FORBIDDEN = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f]')
_DEVICES = frozenset(["CON", "PRN", "AUX", "NUL", *(f"{kind}{n}" for kind in ("COM", "LPT") for n in range(1, 10))])
# Most file systems allow 255 bytes a name; half of it leaves room in Windows' 260 characters a path.
MOST_BYTES = 120


def folder_name(text: str) -> str:
    """One safe folder name; '' becomes ``unnamed``."""
    return _cut(_safe(text), MOST_BYTES)


def file_name(prefix: str, original: str) -> str:
    """``prefix original``, the original name kept whole where it fits, always with its suffix."""
    name = PurePosixPath(_safe(original))
    stem, suffix = (name.stem, name.suffix) if name.suffix else (str(name), "")
    room = MOST_BYTES - len(suffix.encode()) - len(prefix.encode()) - (1 if prefix else 0)
    kept = _cut(stem, room)
    return _safe(f"{prefix} {kept}{suffix}" if prefix else f"{kept}{suffix}")


def numbered(name: str, number: int) -> str:
    """``name (2).mp4``: the name's next free form."""
    path = PurePosixPath(name)
    return f"{path.stem} ({number}){path.suffix}"


def _safe(text: str) -> str:
    name = _FORBIDDEN.sub("_", unicodedata.normalize("NFC", text)).strip().rstrip(". ")
    if name.startswith("."):
        name = "_" + name[1:]  # a leading dot would hide it
    if name.split(".")[0].rstrip().upper() in _DEVICES:
        name = "_" + name
    return name or "unnamed"


def _cut(text: str, most_bytes: int) -> str:
    """A name of at most so many bytes; a cut name ends in a short hash, so that two long names stay apart."""
    data = text.encode()
    if len(data) <= most_bytes:
        return text
    mark = "~" + hashlib.sha256(data).hexdigest()[:8]
    return data[: max(1, most_bytes - len(mark))].decode("utf-8", "ignore").rstrip(". ") + mark
