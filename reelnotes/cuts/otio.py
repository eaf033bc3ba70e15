"""cuts.otio: the edit list for editors that read OpenTimelineIO.

One video track; every shot names its file, its range in that file's own frames, and the whole file's
range, so that a shot can be lengthened in the editor. What the pipeline knows besides (why, kind,
catch, the exact rational rate) stands in each shot's metadata under ``reelnotes``.
"""

from pathlib import Path
from urllib.parse import quote

import opentimelineio as otio

from reelnotes.cuts.framing import last_frame
from reelnotes.media.writing import write_text
from reelnotes.records.clips import Clip
from reelnotes.records.cuts import Cut, EditList
from reelnotes.records.trip import LineUp


def timeline(edit: EditList, lineup: LineUp) -> otio.schema.Timeline:
    """The edit list as an OpenTimelineIO timeline, built anew."""
    track = otio.schema.Track(name="V1", kind=otio.schema.TrackKind.Video)
    clips = {placed.clip.name: placed.clip for placed in lineup.clips}
    for cut in edit.cuts:
        track.append(_shot(cut, clips.get(cut.clip)))
    made = otio.schema.Timeline(name=edit.title)
    made.global_start_time = otio.opentime.RationalTime(edit.start_frame, float(edit.rate))
    made.metadata["reelnotes"] = {"edit_rate": _ratio(edit), "wanted_s": edit.wanted_s}
    made.tracks.append(track)
    return made


def write_otio(edit: EditList, lineup: LineUp, target: Path) -> None:
    """Write the timeline as OTIO JSON, safely."""
    write_text(target, timeline(edit, lineup).to_json_string(indent=2) + "\n")


def file_url(path: Path) -> str:
    """An absolute ``file://`` URL, percent-encoded (RFC 8089)."""
    return path.resolve().as_uri()


def _shot(cut: Cut, clip: Clip | None) -> otio.schema.Clip:
    rate = float(cut.rate)
    reference = otio.schema.ExternalReference(target_url=file_url(clip.path) if clip else quote(cut.clip))
    if clip:
        reference.available_range = _range(0, last_frame(clip), rate)
    shot = otio.schema.Clip(
        name=cut.clip, media_reference=reference, source_range=_range(cut.in_frame, cut.out_frame - cut.in_frame, rate)
    )
    shot.metadata["reelnotes"] = {
        "cut": cut.number,
        "why": cut.why,
        "kind": cut.kind,
        "catch": cut.catch,
        "rate": f"{cut.rate.numerator}/{cut.rate.denominator}",
        "in_tc": cut.in_tc,
        "out_tc": cut.out_tc,
        "record_in_tc": cut.record_in_tc,
        "record_out_tc": cut.record_out_tc,
    }
    return shot


def _range(start: int, frames: int, rate: float) -> otio.opentime.TimeRange:
    return otio.opentime.TimeRange(otio.opentime.RationalTime(start, rate), otio.opentime.RationalTime(frames, rate))


def _ratio(edit: EditList) -> str:
    return f"{edit.rate.numerator}/{edit.rate.denominator}"
