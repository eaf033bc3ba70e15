"""What lies where in a trip folder: every file put into one heap, by place, name and (for tables) content.

Real folders hold hidden files, resource forks, thumbnails, low-resolution doubles, results of an earlier run, and
links that lead in circles. All of that is passed over quietly; what should have been readable is told.
"""

import logging
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from reelnotes.intake.naming import name_in_trip
from reelnotes.media.opening import VIDEO_SUFFIXES
from reelnotes.records.problems import Problem

log = logging.getLogger(__name__)

_NOT_THE_TRIPS = frozenset(["__macosx", "system volume information", "$recycle.bin", "lost+found", "@eadir", "outputs"])
_RECORD = "trip.json"  # a folder that holds one is an output folder, whatever its name
_DOUBLES = frozenset([".lrv", ".thm"])  # a camera's own small copies of its clips
_TABLES = frozenset([".csv", ".tsv", ".tab"])
_TRACK_SUFFIXES = frozenset([".gpx", ".fit", ".nmea", ".nma"])
_NEVER_A_TRACK = frozenset([".jpg", ".jpeg", ".png", ".pdf", ".md", ".html", ".zip", ".heic", ".ini", ".db"])


@dataclass
class Heaps:
    """The files of a trip folder by kind, each list in order of path."""

    clips: list[Path] = field(default_factory=list)
    tracks: list[Path] = field(default_factory=list)
    logs: list[Path] = field(default_factory=list)
    tables: list[Path] = field(default_factory=list)  # outside track/ and log/: their content must tell
    boards: list[Path] = field(default_factory=list)
    lenses: list[Path] = field(default_factory=list)
    tide: list[Path] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def find_files(root: Path) -> Heaps:
    """Walk a trip folder and sort its files into heaps. Never raises for a file or folder that cannot be read."""
    heaps = Heaps()
    videos: list[Path] = []
    for path in _walk(root, heaps.problems):
        parts = [part.casefold() for part in path.relative_to(root).parts]
        top, suffix = (parts[0] if len(parts) > 1 else ""), path.suffix.casefold()
        if suffix in VIDEO_SUFFIXES or suffix in _DOUBLES:
            videos.append(path)
        elif suffix == ".toml":
            if top in ("boards", "lenses"):
                (heaps.boards if top == "boards" else heaps.lenses).append(path)
            elif parts[-1] not in ("trip.toml", "limits.toml") or top:
                where, advice = (
                    name_in_trip(root, path),
                    "boards lie in boards/, lenses in lenses/, settings in trip.toml",
                )
                heaps.problems.append(
                    Problem(where, "no TOML file is expected here", "it was passed over", advice, serious=False)
                )
        elif parts[-1] == "tide.csv":
            heaps.tide.append(path)
        elif suffix in _TRACK_SUFFIXES or (top == "track" and suffix not in _NEVER_A_TRACK):
            heaps.tracks.append(path)
        elif top == "log" and suffix in {*_TABLES, ".txt"}:
            heaps.logs.append(path)
        elif suffix in _TABLES:
            heaps.tables.append(path)
    heaps.clips = _without_doubles(videos)
    return heaps


def _walk(root: Path, problems: list[Problem]) -> Iterator[Path]:
    """Every file of the trip's own, in order of path; each folder once, however many links lead to it."""
    seen: set[tuple[int, int]] = set()

    def visit(folder: Path) -> Iterator[Path]:
        try:
            status = folder.stat()
            if (status.st_dev, status.st_ino) in seen:
                return
            seen.add((status.st_dev, status.st_ino))
            names = sorted(path.name for path in folder.iterdir())
        except OSError as fault:
            where = name_in_trip(root, folder)
            problems.append(Problem(where, f"the folder cannot be read ({(fault.strerror or '').lower()})", "it was passed over"))
            return
        if folder != root and _RECORD in names:
            log.debug("%s holds a %s: results of an earlier run", folder, _RECORD)
            return
        folders = []
        for name in names:
            path = folder / name
            if name.startswith("."):
                continue
            if path.is_dir():
                if name.casefold() not in _NOT_THE_TRIPS:
                    folders.append(path)
            elif path.is_file() or (path.is_symlink() and path.suffix.casefold() in VIDEO_SUFFIXES):
                yield path  # a link to a clip that is gone looks like a clip, and is listed as one that cannot be read
            elif path.is_symlink():
                what = "this link leads nowhere"
                problems.append(Problem(name_in_trip(root, path), what, "it was passed over", serious=False))
        for inner in folders:
            yield from visit(inner)

    yield from visit(root)


def _without_doubles(videos: list[Path]) -> list[Path]:
    """The videos without a camera's own small copies. A low-resolution clip whose main clip is gone is kept: better than none."""
    mains = {_double_key(path) for path in videos if path.suffix.casefold() not in _DOUBLES}
    kept = []
    for path in videos:
        suffix = path.suffix.casefold()
        if suffix == ".thm" or (suffix == ".lrv" and _double_key(path) in mains):
            log.debug("%s is a camera's own small copy", path)
        else:
            kept.append(path)
    return sorted(kept)


def _double_key(path: Path) -> tuple[Path, str]:
    """A double has its clip's name, but cameras may change the letters in front of the number."""
    digits = re.sub(r"^[A-Za-z]+", "", path.stem)
    return path.parent, digits or path.stem.casefold()
