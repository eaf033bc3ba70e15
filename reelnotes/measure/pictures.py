"""The evidence pictures of a run in ``frames/``: one name for each clip's path, and none of a fish that is gone.

A picture carries a seal in a text chunk of its PNG: whose it is, and a hash of the rest of the file. So a run knows the
pictures that an earlier one made from files that a person put there, or drew on: those are never touched.
"""

import hashlib
import struct
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from reelnotes.measure.evidence import recaptioned
from reelnotes.measure.measure_clip import ClipMeasure
from reelnotes.media.writing import write_bytes
from reelnotes.records.lengths import FishLength

FOLDER = "frames"
_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_HEADER_END = len(_SIGNATURE) + 25  # the header chunk comes first and is 25 bytes long (ISO/IEC 15948, 5.6 and 11.2.2)
_SEAL = b"reelnotes evidence\0"
_TRIP = "trip"
_LONGEST_BYTES = 180  # file systems take 255 for a name


def with_rows(measured: Sequence[ClipMeasure], rows: Sequence[FishLength], units: str) -> tuple[ClipMeasure, ...]:
    """The clips with the rows that later steps made of theirs, in order, and those rows' words under the pictures."""
    left = iter(rows)
    made = []
    for clip in measured:
        now = tuple(next(left) for _ in clip.lengths)
        pictures = tuple(
            png if png is None or (new.verdict, new.reason) == (old.verdict, old.reason) else recaptioned(png, new, units)
            for new, old, png in zip(now, clip.lengths, clip.pictures, strict=True)
        )
        made.append(replace(clip, lengths=now, pictures=pictures))
    return tuple(made)


def write_evidence(measured: Iterable[ClipMeasure], out: Path, *, only: Path | None = None) -> tuple[FishLength, ...]:
    """Write the evidence pictures into ``out/frames`` and return all rows with the pictures' places in them.

    Pictures that an earlier run made and this one does not are removed. only: the one clip or photo that was measured
    by itself, outside any trip; then other clips' pictures stay.
    """
    rows: list[FishLength] = []
    taken: dict[str, str] = {}  # picture's name -> its owner
    folder = out / FOLDER
    before = _sealed(folder)
    for clip in measured:
        for row, png in zip(clip.lengths, clip.pictures, strict=True):
            owner = _owner(row.clip, only)
            if png is None:
                rows.append(row)
                continue
            name = _name(row.clip, owner, folder, before, taken)
            taken[name] = owner
            write_bytes(folder / name, sealed(png, owner))
            rows.append(replace(row, evidence=Path(FOLDER) / name))
    mine = f"{_TRIP} " if only is None else _owner("", only)
    gone = [name for name, owner in before.items() if name not in taken and owner.startswith(mine)]
    for name in gone:
        (folder / name).unlink(missing_ok=True)
    if gone and not any(folder.iterdir()):
        folder.rmdir()
    return tuple(rows)


def _owner(clip: str, only: Path | None) -> str:
    """Whose a picture is: a trip's clip by its path in the trip; a clip by itself by where it lies. Hashed: a name is
    anybody's, and a picture may be shown."""
    kind, path = (_TRIP, clip) if only is None else ("one", only.resolve().as_posix())
    return f"{kind} {hashlib.sha256(path.encode('utf-8', 'surrogateescape')).hexdigest()}"


def _name(clip: str, owner: str, folder: Path, before: dict[str, str], taken: dict[str, str]) -> str:
    """A file name for a clip's picture: its own, and a few letters that keep two of the same name apart; more of them
    where another clip's picture, or a person's file, has that name."""
    stem = "".join(c if c.isalnum() or c in "-_" else "-" for c in Path(clip).with_suffix("").as_posix())
    while len(stem.encode("utf-8", "surrogateescape")) > _LONGEST_BYTES:
        stem = stem[1:]
    names = [f"{stem}-{hashlib.sha256(clip.encode('utf-8', 'surrogateescape')).hexdigest()[:4]}.png"]
    names += [f"{stem}-{owner.split()[1][:letters]}.png" for letters in (8, 16, 64)]
    for name in names[:-1]:
        theirs = taken.get(name, before.get(name, "" if (folder / name).exists() else owner))
        if theirs == owner and name not in taken:
            return name
    return names[-1]


def sealed(png: bytes, owner: str) -> bytes:
    """The picture with its seal behind the header."""
    text = _SEAL + f"{owner} {hashlib.sha256(png).hexdigest()}".encode()
    chunk = struct.pack(">I", len(text)) + b"tEXt" + text + struct.pack(">I", zlib.crc32(b"tEXt" + text))
    return png[:_HEADER_END] + chunk + png[_HEADER_END:]


def owner_of(data: bytes) -> str | None:
    """Whose picture this is; None for a file that is not as we wrote it."""
    at = _HEADER_END
    if not data.startswith(_SIGNATURE) or data[at + 4 : at + 8 + len(_SEAL)] != b"tEXt" + _SEAL:
        return None
    (length,) = struct.unpack(">I", data[at : at + 4])
    words = data[at + 8 + len(_SEAL) : at + 8 + length].decode("latin-1").split(" ")
    rest = data[:at] + data[at + 12 + length :]
    if len(words) != 3 or words[2] != hashlib.sha256(rest).hexdigest():
        return None
    return f"{words[0]} {words[1]}"


def _sealed(folder: Path) -> dict[str, str]:
    """The pictures in the folder that a run made, by name: whose each is."""
    if not folder.is_dir():
        return {}
    found = {}
    for path in sorted(folder.glob("*.png")):
        owner = owner_of(path.read_bytes()) if path.is_file() and not path.is_symlink() else None
        if owner is not None:
            found[path.name] = owner
    return found
