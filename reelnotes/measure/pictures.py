"""The evidence pictures of a run in ``frames/``: one name for each clip's path, and none of a fish that is gone.

A picture carries a seal in a text chunk of its PNG: its owner, and a hash of all the rest. So a run knows the pictures that
an earlier one made from files that a person put there, or drew on: those are never touched.
"""

import zlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

from reelnotes.measure.evidence import recaptioned
from reelnotes.measure.measure_clip import ClipMeasure
from reelnotes.media.writing import write_bytes
from reelnotes.records.lengths import FishLength

FOLDER = "frames"
_LONGEST_BYTES = 180  # file systems take 255 for a name
_HEADER_END = 33  # a PNG begins with 8 bytes of signature and a header chunk of 25 (ISO/IEC 15948, 5.2, 5.6 and 11.2.2)
_SEAL = b"reelnotes evidence\0"


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
    folder = out / FOLDER
    earlier = _made_earlier(folder)
    rows: list[FishLength] = []
    written: set[str] = set()
    for clip in measured:
        for row, png in zip(clip.lengths, clip.pictures, strict=True):
            if png is None:
                rows.append(row)
                continue
            owner = _owner(row.clip, only)
            name = _name(row.clip, owner, folder, earlier, written)
            write_bytes(folder / name, sealed(png, owner))
            written.add(name)
            rows.append(replace(row, evidence=Path(FOLDER) / name))
    ours = "trip " if only is None else _owner("", only)
    _remove(folder, [name for name, owner in earlier.items() if owner.startswith(ours) and name not in written])
    return tuple(rows)


def _made_earlier(folder: Path) -> dict[str, str]:
    """The pictures in the folder that a run made, by name: whose each is."""
    files = (path for path in sorted(folder.glob("*.png")) if path.is_file() and not path.is_symlink())
    owners = ((path.name, owner_of(path.read_bytes())) for path in files)
    return {name: owner for name, owner in owners if owner is not None}


def _owner(clip: str, only: Path | None) -> str:
    """Whose a picture is: a trip's clip by its path in the trip; a clip by itself by where it lies. Hashed: a picture may be
    shown to others, and a path tells names."""
    return f"trip {_hash(clip)}" if only is None else f"one {_hash(only.resolve().as_posix())}"


def _name(clip: str, owner: str, folder: Path, earlier: Mapping[str, str], written: Collection[str]) -> str:
    """A file name for a clip's picture: the clip's own, and a few letters that keep two of the same name apart; more of
    them where another clip's picture, or a person's file, has that name."""
    plain = "".join(c if c.isalnum() or c in "-_" else "-" for c in Path(clip).with_suffix("").as_posix())
    stem = plain.encode()[-_LONGEST_BYTES:].decode(errors="ignore")  # a letter that was cut in two goes
    mine = owner.split()[1]
    for letters in (_hash(clip)[:4], mine[:8], mine[:16]):
        name = f"{stem}-{letters}.png"
        if name not in written and (earlier.get(name) == owner or not (folder / name).exists()):
            return name
    return f"{stem}-{mine}.png"


def _hash(path: str) -> str:
    return sha256(path.encode("utf-8", "surrogateescape")).hexdigest()


def _remove(folder: Path, names: Sequence[str]) -> None:
    """Take pictures away, and the folder too when that leaves it empty."""
    for name in names:
        (folder / name).unlink(missing_ok=True)
    if names and not any(folder.iterdir()):
        folder.rmdir()


def sealed(png: bytes, owner: str) -> bytes:
    """A PNG with its seal as a text chunk behind the header (ISO/IEC 15948, 5.3 and 11.3.4.3)."""
    chunk = b"tEXt" + _SEAL + f"{owner} {sha256(png).hexdigest()}".encode()
    length, check = (len(chunk) - 4).to_bytes(4, "big"), zlib.crc32(chunk).to_bytes(4, "big")
    return png[:_HEADER_END] + length + chunk + check + png[_HEADER_END:]


def owner_of(data: bytes) -> str | None:
    """Whose picture this is; None for a file that is not, to the byte, as :func:`sealed` made it."""
    header, rest = data[:_HEADER_END], data[_HEADER_END:]
    text = rest[8 : 8 + int.from_bytes(rest[:4], "big")]
    owner = text.removeprefix(_SEAL).decode("latin-1").rpartition(" ")[0]
    return owner if sealed(header + rest[12 + len(text) :], owner) == data else None
