"""Cuts: moments -> the edit list -> the files that editors and players read.

    shots      shots while the edit is made; no instant is shown twice
    choosing   which moments, and how long, for the wanted running time
    framing    shots in seconds -> exact frames and timecode
    csv_list   cuts.csv
    edl        cuts.edl (CMX 3600), and what such a list cannot carry
    otio       cuts.otio (OpenTimelineIO)
    vtt        cuts.vtt (WebVTT)
    chapters   chapter lines for a description

The verbs are :func:`choose_cuts` and :func:`write_cuts`. No writer changes what it is given.
"""

from collections.abc import Sequence
from pathlib import Path

from reelnotes.cuts.chapters import chapter_lines, write_chapters
from reelnotes.cuts.choosing import choose_shots, edit_rate
from reelnotes.cuts.csv_list import write_csv
from reelnotes.cuts.edl import write_edl
from reelnotes.cuts.framing import frame_list
from reelnotes.cuts.otio import write_otio
from reelnotes.cuts.vtt import write_vtt
from reelnotes.records.cuts import EditList, Moment
from reelnotes.records.settings import EditSettings
from reelnotes.records.trip import LineUp

__all__ = ["chapter_lines", "choose_cuts", "write_chapters", "write_cuts"]


def choose_cuts(moments: Sequence[Moment], lineup: LineUp, settings: EditSettings, *, title: str = "") -> EditList:
    """The edit list: shots around the moments in story order, at the wanted running time where footage allows.

    Every shot lies in one clip and is at least 1.5 s long; no instant is shown twice, whichever camera
    filmed it; the record has no hole. Without ``settings.length_s`` the edit takes what its moments need.
    An empty line-up makes an empty list.
    """
    rate = edit_rate(lineup, settings)
    shots = choose_shots(moments, lineup, settings, rate)
    return frame_list(shots, rate, title=title, wanted_s=settings.length_s)


def write_cuts(edit: EditList, lineup: LineUp, out: Path) -> list[Path]:
    """Write cuts.csv, cuts.edl (and further parts), cuts.otio and cuts.vtt into ``out``; they agree frame for frame."""
    write_csv(edit, out / "cuts.csv")
    lists = write_edl(edit, out / "cuts.edl")
    write_otio(edit, lineup, out / "cuts.otio")
    write_vtt(edit, out / "cuts.vtt")
    return [out / "cuts.csv", *lists, out / "cuts.otio", out / "cuts.vtt"]
