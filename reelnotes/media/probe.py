"""What a clip is: container, codec, size, rotation, rate, frames, sound, stamp, place, maker.

One picture is decoded (it proves that the pictures can be had, and carries the rotation); the frame times
come from the container's index where that is whole, else from its packets without decoding them.
A file that cannot be used still yields a Clip, with one sentence in ``set_aside``.
"""

import logging
from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

from reelnotes.media import tags, timing
from reelnotes.media.opening import opened
from reelnotes.records.clips import AudioLayout, Clip
from reelnotes.records.problems import UnreadableError

log = logging.getLogger(__name__)

CUT_OFF = "the recording was cut off before the camera finished the file: its index (moov) is missing"
NO_VIDEO = "it is no video file, or too damaged to be read as one"
NO_PICTURES = "it holds no pictures"
CUT_SHORT = "the file ends early: its data stops before its header says (copy it again from the card)"


@dataclass(frozen=True, slots=True, eq=False)
class _FrameTimes:
    """Frame starts in ticks, in presentation order, the last frame's own length in ticks (0: not told),
    and whether they are decoding times (good for telling a constant rate, not for a variable one's times)."""

    ticks: NDArray[np.int64]
    last_ticks: int
    decoding_order: bool = False


def probe(path: Path, name: str, camera: str) -> Clip:
    """Look at one file and tell what clip it is; a pure function of the file.

    name, camera   the clip's path in the trip folder and its camera's name, copied into the record

    Never raises for what the file holds: an empty, truncated or foreign file gives a Clip with ``set_aside``.
    """
    blank = Clip(name=name, path=path, camera=camera)
    try:
        status = path.stat()
    except OSError as fault:
        return replace(blank, set_aside=f"it cannot be read ({fault.strerror})")
    blank = replace(blank, size_bytes=status.st_size, file_time_s=status.st_mtime)
    try:
        return _probed(blank)
    except UnreadableError as fault:
        reason = fault.problem.what
        if isinstance(fault.__cause__, av.InvalidDataError | av.ArgumentError):
            reason = CUT_OFF if _lacks_index(path) else NO_VIDEO
        log.debug("%s set aside: %s", name, reason)
        return replace(blank, set_aside=reason)


def _probed(blank: Clip) -> Clip:
    path = blank.path
    with opened(path) as container:
        picture = _picture_stream(container)
        if picture is None:
            raise UnreadableError(str(path), NO_PICTURES)
        first = _first_frame(container, picture, path)
        times = _from_index(picture, path)
        time_base = picture.time_base or Fraction(1, 90000)
        told = (picture.average_rate, picture.base_rate, picture.guessed_rate)
        pace = timing.pace(times.ticks, time_base, told) if times else None
        if times is None or pace is None or (pace.variable and times.decoding_order):
            times = _from_packets(path, picture.index)
            pace = timing.pace(times.ticks, time_base, told)
        tables = [dict(container.metadata), *(dict(stream.metadata) for stream in container.streams)]
        make, model = tags.make_and_model(tables)
        stamp = tags.creation_stamp(tables, path.name)
        return replace(
            blank,
            container=container.format.name.split(",")[0],
            codec=picture.codec_context.name,
            width_px=picture.codec_context.width,
            height_px=picture.codec_context.height,
            rotation_deg=round(-(first.rotation or 0) / 90) * 90 % 360,  # PyAV counts counter-clockwise
            rate=pace.rate,
            variable_rate=pace.variable,
            frames=len(times.ticks),
            duration_s=_duration_s(times, time_base, pace),
            audio=_audio(container, picture),
            timecode=_timecode(tables),
            stamp_s=stamp.seconds if stamp else None,
            stamp_step_s=stamp.step_s if stamp else 1.0,
            stamp_is_utc=bool(stamp and stamp.is_utc),
            stamp_from=stamp.source if stamp else "",
            location=tags.location(tables),
            make=make,
            model=model,
            device_hint=tags.device_hint(tables),
        )


def _picture_stream(container: av.container.InputContainer) -> av.VideoStream | None:
    """The first video stream that moves; a cover picture is none."""
    for stream in container.streams.video:
        if not stream.disposition & stream.disposition.attached_pic:
            return stream
    return None


def _first_frame(container: av.container.InputContainer, picture: av.VideoStream, path: Path) -> av.VideoFrame:
    if picture.codec_context is None:
        raise UnreadableError(str(path), "its pictures are in a format that cannot be decoded")
    try:
        for frame in container.decode(picture):
            return frame
    except av.FFmpegError as fault:
        raise UnreadableError(str(path), "its pictures cannot be decoded; the data are damaged") from fault
    raise UnreadableError(str(path), "it holds no single whole picture")


def _from_index(picture: av.VideoStream, path: Path) -> _FrameTimes | None:
    """Frame times from the container's own index, None when it has no whole one. Costs no reading of the data.

    Raises UnreadableError when the index speaks of data past the end of the file.
    """
    entries = getattr(picture, "index_entries", None)  # PyAV before 15 does not show the index
    if not entries or not picture.frames or len(entries) < picture.frames:
        return None
    rows = np.array([(e.timestamp, e.pos + e.size, e.size > 0 and not e.is_discard) for e in entries], dtype=np.int64)
    _check_whole(path, int(rows[:, 1].max()))
    kept = rows[rows[:, 2] == 1, 0]
    last = int(picture.duration - (kept[-1] - kept[0])) if picture.duration and len(kept) > 1 else 0
    return _FrameTimes(kept, max(0, last), decoding_order=True)


def _check_whole(path: Path, wanted_bytes: int) -> None:
    there = path.stat().st_size
    if wanted_bytes > there:
        missing = f"{100.0 * (wanted_bytes - there) / wanted_bytes:.0f} % of its data is missing"
        raise UnreadableError(str(path), f"the file ends early: {missing} (copy it again from the card)")


def _from_packets(path: Path, index: int) -> _FrameTimes:
    """Frame times from the packets of a fresh opening, undecoded. Raises UnreadableError when the data ends early."""
    shown: list[int] = []
    last, latest_end_s, damaged = (0, 0), 0.0, False
    with opened(path) as container:
        picture = container.streams[index]
        try:
            for packet in container.demux():
                if packet.size == 0 or packet.pts is None or packet.time_base is None or packet.is_corrupt:
                    continue  # a fragmented recording that lost its power ends with part of a packet; what came before is whole
                latest_end_s = max(latest_end_s, float((packet.pts + (packet.duration or 0)) * packet.time_base))
                if packet.stream.index == index and not packet.is_discard:
                    shown.append(packet.pts)
                    last = max(last, (packet.pts, packet.duration or 0))
        except av.FFmpegError:
            damaged = True
        header_s = (container.duration or 0) / av.time_base
        start_s = (container.start_time or 0) / av.time_base
        # Matroska and AVI tell their length up front; a transport stream has no such promise to break.
        promises = container.format.name.split(",")[0] in ("matroska", "avi") and header_s > 0
        promised_frames = picture.frames if container.format.name == "avi" else 0
    short_s = header_s - (latest_end_s - start_s) if promises else 0.0
    if not shown:
        raise UnreadableError(str(path), NO_PICTURES)
    if short_s > max(1.0, 0.02 * header_s) or promised_frames > len(shown) + 1:
        raise UnreadableError(str(path), CUT_SHORT)
    if damaged:
        raise UnreadableError(str(path), "its data are damaged part of the way through")
    return _FrameTimes(np.array(sorted(shown), dtype=np.int64), last[1])


def _duration_s(times: _FrameTimes, time_base: Fraction, pace: timing.Pace) -> float:
    if not pace.variable:
        return float(len(times.ticks) / pace.rate)
    span = float(int(times.ticks[-1] - times.ticks[0]) * time_base)
    return span + (float(times.last_ticks * time_base) or float(1 / pace.rate))


def _audio(container: av.container.InputContainer, picture: av.VideoStream) -> AudioLayout | None:
    if not container.streams.audio:
        return None
    sound = container.streams.audio[0]
    if sound.codec_context is None or not sound.codec_context.sample_rate:
        return None
    starts_s = [float(s.start_time * s.time_base) if s.start_time is not None and s.time_base else 0.0 for s in (sound, picture)]
    context = sound.codec_context
    return AudioLayout(context.sample_rate, context.layout.nb_channels, context.name, starts_s[0] - starts_s[1])


def _timecode(tables: list[Mapping[str, str]] | list[dict[str, str]]) -> str | None:
    return next((table["timecode"] for table in tables if table.get("timecode")), None)


def _lacks_index(path: Path) -> bool:
    """True for an ISO base media file whose top-level boxes hold no moov (ISO/IEC 14496-12, 4.2: size, type)."""
    types: set[bytes] = set()
    try:
        with path.open("rb") as handle:
            end = path.stat().st_size
            at = 0
            while at + 8 <= end and len(types) < 64:
                handle.seek(at)
                header = handle.read(16)
                size, kind = int.from_bytes(header[:4], "big"), header[4:8]
                types.add(kind)
                if size == 1:
                    size = int.from_bytes(header[8:16], "big")
                if size < 8:
                    break  # 0: to the end of the file; less is no box
                at += size
    except OSError:
        return False
    return bool(types & {b"ftyp", b"mdat", b"wide"}) and b"moov" not in types
