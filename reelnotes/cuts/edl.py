"""cuts.edl: a CMX 3600 edit decision list (SMPTE 258M; reference values EDL-01 to EDL-14).

What such a list cannot carry: its own frame rate (the reader must be told; we say it in a comment),
clips of different rates side by side (each source code counts its own clip's frames, and the record
counts the edit's), more than 999 shots (further lists follow), reel names longer than eight
characters (the file stands in the FROM CLIP NAME comment), folders, and any word about why. The
OpenTimelineIO file carries all of these.
"""

import re
import unicodedata
from collections.abc import Sequence
from pathlib import Path, PurePosixPath

from reelnotes.media.writing import write_text
from reelnotes.records.cuts import Cut, EditList
from reelnotes.records.rates import is_drop_frame

MOST_EVENTS = 999
REEL_LENGTH = 8
RESERVED_REELS = ("AX", "BL", "BLACK")


def edl_texts(edit: EditList) -> list[str]:
    """One list per 999 shots, at least one, together the whole edit. Line ends are LF."""
    reels = reel_names([cut.clip for cut in edit.cuts])
    chunks = [edit.cuts[i : i + MOST_EVENTS] for i in range(0, len(edit.cuts), MOST_EVENTS)] or [()]
    return [_one_list(edit, chunk, reels, part, len(chunks)) for part, chunk in enumerate(chunks, start=1)]


def write_edl(edit: EditList, target: Path) -> list[Path]:
    """Write ``cuts.edl``, and ``cuts-2.edl`` ... when one list does not hold all shots; returns what was written.

    Further lists that an earlier, longer edit left behind are removed.
    """
    written = []
    for part, text in enumerate(edl_texts(edit), start=1):
        path = target if part == 1 else target.with_name(f"{target.stem}-{part}{target.suffix}")
        write_text(path, text)
        written.append(path)
    for old in target.parent.glob(f"{target.stem}-*{target.suffix}"):
        if old not in written and re.fullmatch(rf"{re.escape(target.stem)}-\d+", old.stem):
            old.unlink()
    return written


def reel_names(clips: Sequence[str]) -> dict[str, str]:
    """A reel name of at most eight characters A-Z 0-9 for each clip, no two alike.

    The file's own name where it fits and is unique, else its end (where cameras count) with a number.
    """
    names: dict[str, str] = {}
    taken = set(RESERVED_REELS)
    for clip in dict.fromkeys(clips):
        stem = unicodedata.normalize("NFKD", PurePosixPath(clip).stem)
        plain = re.sub(r"[^A-Z0-9]", "", stem.encode("ascii", "ignore").decode().upper()) or "CLIP"
        name, number = plain[-REEL_LENGTH:], 1
        while name in taken:
            number += 1
            tail = f"X{number}"
            name = plain[-(REEL_LENGTH - len(tail)) :] + tail
        taken.add(name)
        names[clip] = name
    return names


def _one_list(edit: EditList, cuts: Sequence[Cut], reels: dict[str, str], part: int, parts: int) -> str:
    title = _one_line(edit.title) or "UNTITLED"
    lines = [f"TITLE: {title}{f' ({part} of {parts})' if parts > 1 else ''}"[:70]]
    lines.append("FCM: DROP FRAME" if is_drop_frame(edit.rate) else "FCM: NON-DROP FRAME")
    lines.append("")
    # Readers take a comment as belonging to the event above it, so what concerns the whole list follows the first one.
    notes = [f"* RECORD RATE: {edit.rate.numerator}/{edit.rate.denominator}"]
    if any(cut.rate != edit.rate for cut in edit.cuts):
        notes.append("* MIXED RATES: EACH SOURCE CODE COUNTS THE FRAMES OF ITS OWN CLIP")
    for number, cut in enumerate(cuts, start=1):
        codes = f"{cut.in_tc} {cut.out_tc} {cut.record_in_tc} {cut.record_out_tc}"
        lines.append(f"{number:03d}  {reels[cut.clip]:<8} {'V':<5} C        {codes}")
        lines.append(f"* FROM CLIP NAME: {_one_line(cut.clip)}")
        if cut.rate != edit.rate:
            lines.append(f"* SOURCE RATE: {cut.rate.numerator}/{cut.rate.denominator}")
        lines.append(f"* WHY: {_one_line(cut.why)}")
        lines += notes if number == 1 else []
    return "\n".join(lines) + "\n"


def _one_line(text: str) -> str:
    return " ".join(text.split())
