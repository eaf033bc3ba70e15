"""The journal of a sorted tree: what was made, so that it can be resumed and undone.

It is written before the first link is made. A killed run therefore leaves a journal that lists more
than was made, never less; whether a listed path is really ours is told by the file itself: a link
by its device and inode, a copy by its size and SHA-256.
"""

import hashlib
import json
from dataclasses import asdict, dataclass
from pathlib import Path

from reelnotes.media.writing import write_text
from reelnotes.records.problems import UnreadableError

JOURNAL = ".reelnotes-sorted.json"
VERSION = 1


@dataclass(frozen=True, slots=True)
class Entry:
    """One link or copy: its path in the tree, the clip, the original, and how to know it again.

    device, inode   of the original when it was sorted: a hard link has the same
    sha256          of the original; filled only for copies
    """

    path: str
    clip: str
    source: str
    size: int
    device: int
    inode: int
    sha256: str = ""


@dataclass(frozen=True, slots=True)
class Journal:
    """All entries, and the folders that were made for them (paths in the tree, with forward slashes)."""

    entries: tuple[Entry, ...] = ()
    folders: tuple[str, ...] = ()
    made_tree: bool = True


def read_journal(tree: Path) -> Journal | None:
    """The journal of a tree, None when there is none. Raises UnreadableError when it is damaged."""
    path = tree / JOURNAL
    if not path.is_file():
        return None
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        if data["version"] != VERSION:
            raise ValueError(f"version {data['version']}")
        entries = tuple(Entry(**entry) for entry in data["entries"])
        return Journal(entries, tuple(data["folders"]), bool(data["made_tree"]))
    except (ValueError, KeyError, TypeError) as fault:
        advice = "remove the tree by hand: its files are links or copies, the originals lie elsewhere"
        raise UnreadableError(str(path), "the journal of the sorted tree cannot be read", advice) from fault


def write_journal(tree: Path, journal: Journal) -> None:
    """Write the journal safely: the old one or the new one, never half of one."""
    data = {
        "what": "links and copies made by reelnotes; 'reelnotes sort --undo' removes them, the originals stay",
        "version": VERSION,
        "made_tree": journal.made_tree,
        "folders": list(journal.folders),
        "entries": [asdict(entry) for entry in journal.entries],
    }
    # Plain ASCII: an original's path may hold bytes that are no UTF-8, and must come back exactly.
    write_text(tree / JOURNAL, json.dumps(data, indent=1) + "\n")


def is_ours(path: Path, entry: Entry) -> bool:
    """True when the file at ``path`` is the link or the untouched copy that the entry tells of."""
    if path.is_symlink() or not path.is_file():
        return False
    stat = path.stat()
    if (stat.st_dev, stat.st_ino) == (entry.device, entry.inode):
        return True
    return bool(entry.sha256) and stat.st_size == entry.size and sha256(path) == entry.sha256


def sha256(path: Path) -> str:
    """SHA-256 of a file, read in blocks."""
    digest = hashlib.sha256()
    with path.open("rb") as handle:
        while block := handle.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()
