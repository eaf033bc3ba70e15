"""cuts.vtt: the story's words as WebVTT cues on the edit's running time (reference values VTT-01 to VTT-05)."""

from fractions import Fraction
from pathlib import Path

from reelnotes.media.writing import write_text
from reelnotes.records.cuts import EditList


def vtt_text(edit: EditList) -> str:
    """One cue a shot. Time 0 is the edit's first frame; cues meet without holes, to the millisecond."""
    parts = [f"WEBVTT - {_escaped(edit.title)}" if edit.title.strip() else "WEBVTT"]
    for cut in edit.cuts:
        start = timestamp(Fraction(cut.record_in_frame - edit.start_frame) / edit.rate)
        end = timestamp(Fraction(cut.record_out_frame - edit.start_frame) / edit.rate)
        parts.append(f"{cut.number}\n{start} --> {end}\n{_escaped(cut.why) or _escaped(cut.kind) or 'scene'}")
    return "\n\n".join(parts) + "\n"


def write_vtt(edit: EditList, target: Path) -> None:
    """Write :func:`vtt_text` safely."""
    write_text(target, vtt_text(edit))


def timestamp(seconds: Fraction) -> str:
    """``hh:mm:ss.ttt``, rounded to the millisecond; hours may have more than two digits."""
    total = round(seconds * 1000)
    rest, ms = divmod(total, 1000)
    return f"{rest // 3600:02d}:{rest // 60 % 60:02d}:{rest % 60:02d}.{ms:03d}"


def _escaped(text: str) -> str:
    """Cue text on one line: with & and < and > escaped no tag and no ``-->`` can arise."""
    return " ".join(text.split()).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
