"""Pictures and sound of a clip, streamed: memory does not grow with the clip's length.

Picture times count from the first frame of the clip, sound times too, so both are on one clock.
Pictures come turned upright (rotation metadata applied).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
from av.container import InputContainer
from av.video.reformatter import ColorRange
from numpy.typing import NDArray

from reelnotes.media.opening import opened
from reelnotes.records.problems import UnreadableError

# Y, Cb, Cr, 1 -> B, G, R in levels: ITU-R BT.601-7, studio range (16 to 235, 16 to 240) and full range (as in JFIF).
_BT601 = np.array([[1.164, 2.017, 0.0, -276.8], [1.164, -0.392, -0.813, 135.6], [1.164, 0.0, 1.596, -222.9]])
_BT601_FULL = np.array([[1.0, 1.772, 0.0, -226.8], [1.0, -0.344, -0.714, 135.5], [1.0, 0.0, 1.402, -179.5]])


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """One decoded frame: its number (None when it was reached by seeking in a clip of unknown rate), the
    seconds from the clip's first frame, and the pixels: (h, w, 3) BGR or (h, w) grey, uint8, upright."""

    frame: int | None
    time_s: float
    pixels: NDArray[np.uint8]


@dataclass(frozen=True, slots=True, eq=False)
class Undrawn:
    """A decoded frame as the decoder left it, not yet turned into colours: half the bytes, and the conversion is paid for
    only where the picture is wanted. ``frame`` and ``time_s`` as in Picture."""

    frame: int | None
    time_s: float
    decoded: av.VideoFrame

    def picture(self, *, grey: bool = False, max_side_px: int | None = None) -> Picture:
        """The frame in colours or in grey; ``max_side_px`` as in :func:`pictures`."""
        return Picture(self.frame, self.time_s, _pixels(self.decoded, grey, max_side_px))

    def brightness(self) -> NDArray[np.uint8]:
        """(h, w) the frame's luma, upright, in whatever range it is coded in: free where it is a plane of bytes."""
        if not self.decoded.format.name.startswith(("yuv4", "yuvj4", "nv12")) or self.decoded.format.components[0].bits != 8:
            return _pixels(self.decoded, True, None)
        return _upright(self.decoded, _plane(self.decoded, 0))

    def thumbnail(self, long_px: int, short_px: int) -> NDArray[np.uint8]:
        """The frame in colours, upright, squeezed to ``long_px`` by ``short_px`` whatever its shape.

        The coded planes are shrunk before they are turned into colours (BT.601), which costs next to nothing beside a
        frame's decoding. For looks, not for measuring: within a few levels of the true colours.
        """
        frame = self.decoded
        size = (long_px, short_px) if frame.width >= frame.height else (short_px, long_px)
        if not frame.format.name.startswith(("yuv4", "yuvj4")) or frame.format.components[0].bits != 8:
            return _upright(frame, squeezed(frame.to_ndarray(format="bgr24").astype(np.uint8, copy=False), size))
        coded = cv2.merge([squeezed(_plane(frame, i), size) for i in range(3)])
        full = frame.format.name.startswith("yuvj") or frame.color_range == ColorRange.JPEG
        return _upright(frame, cv2.transform(coded, _BT601_FULL if full else _BT601).astype(np.uint8, copy=False))


def pictures(
    path: Path,
    *,
    start_s: float = 0.0,
    end_s: float | None = None,
    grey: bool = False,
    keyframes_only: bool = False,
    every: int = 1,
    max_side_px: int | None = None,
) -> Iterator[Picture]:
    """Decode a clip's pictures from ``start_s`` to ``end_s`` (seconds from the first frame).

    keyframes_only   let the decoder skip everything else: costs a small part of a full decode
    every            convert and yield only every n-th decoded frame
    max_side_px      scale down, keeping the shape, so that the longer side is at most this

    Raises UnreadableError when the clip cannot be opened or has no picture; damage met on the way
    ends the stream early, for one bad packet must not lose the frames before it.
    """
    for shot in undrawn(path, start_s=start_s, end_s=end_s, keyframes_only=keyframes_only, every=every):
        yield shot.picture(grey=grey, max_side_px=max_side_px)


def undrawn(
    path: Path, *, start_s: float = 0.0, end_s: float | None = None, keyframes_only: bool = False, every: int = 1
) -> Iterator[Undrawn]:
    """The same frames as :func:`pictures`, not yet converted."""
    with opened(path) as container:
        if not container.streams.video:
            raise UnreadableError(str(path), "it holds no picture")
        stream = container.streams.video[0]
        # Key frames lie far apart: threads that pass frames on to each other cost more there than they save.
        stream.thread_type = "NONE" if keyframes_only else "AUTO"
        if keyframes_only:
            stream.codec_context.skip_frame = "NONKEY"
        rate = stream.average_rate or stream.guessed_rate or Fraction(30)
        time_base = stream.time_base or Fraction(1, 90000)
        first_pts = stream.start_time or 0
        sought = start_s > 1.0
        if sought:
            container.seek(int(first_pts + start_s / time_base), stream=stream, backward=True)
        count = -1
        try:
            for frame in container.decode(stream):
                count += 1
                if frame.pts is None:
                    time_s = float(count / rate)
                else:
                    time_s = float((frame.pts - first_pts) * time_base)
                if end_s is not None and time_s >= end_s:
                    return
                if time_s < start_s - 0.5 / float(rate) or count % every:
                    continue
                number = round(time_s * rate) if sought or keyframes_only else count
                yield Undrawn(number, time_s, frame)
        except av.FFmpegError:
            return


def _plane(frame: av.VideoFrame, number: int) -> NDArray[np.uint8]:
    """(h, w) a plane of bytes as it lies in the decoder's memory, not copied."""
    plane = frame.planes[number]
    rows = np.frombuffer(plane, np.uint8).reshape(plane.height, plane.line_size)  # type: ignore[call-overload]
    return np.asarray(rows[:, : plane.width])


def squeezed(image: NDArray[np.uint8], size: tuple[int, int]) -> NDArray[np.uint8]:
    """A picture or plane shrunk to (width, height), its shape not kept: by halves, by far the quickest way to average pixels."""
    while image.shape[1] >= 2 * size[0] and image.shape[0] >= 2 * size[1]:
        half = (image.shape[1] // 2, image.shape[0] // 2)
        image = cv2.resize(image, half, interpolation=cv2.INTER_AREA).astype(np.uint8, copy=False)
    return cv2.resize(image, size, interpolation=cv2.INTER_LINEAR).astype(np.uint8, copy=False)


def _pixels(frame: av.VideoFrame, grey: bool, max_side_px: int | None) -> NDArray[np.uint8]:
    width, height = frame.width, frame.height
    if max_side_px is not None and max(width, height) > max_side_px:
        scale = max_side_px / max(width, height)
        width, height = max(2, round(width * scale)), max(2, round(height * scale))
    array = frame.to_ndarray(width=width, height=height, format="gray" if grey else "bgr24").astype(np.uint8, copy=False)
    return _upright(frame, array)


def _upright(frame: av.VideoFrame, array: NDArray[np.uint8]) -> NDArray[np.uint8]:
    turns = round((frame.rotation or 0) / 90) % 4  # PyAV: degrees counter-clockwise
    return np.ascontiguousarray(np.rot90(array, turns)) if turns else array


@dataclass(frozen=True, slots=True, eq=False)
class SoundBlock:
    """A stretch of mono sound: seconds from the clip's first *picture* to its first sample, and the samples, -1..1."""

    time_s: float
    samples: NDArray[np.float32]


def sound(
    path: Path, *, rate_hz: int, block_s: float = 10.0, start_s: float = 0.0, end_s: float | None = None
) -> Iterator[SoundBlock]:
    """Decode a clip's first audio stream to mono float32 at ``rate_hz``, in blocks of about ``block_s`` seconds.

    ``start_s`` and ``end_s`` count from the first picture; only what lies between is yielded, and a late
    start is sought, not decoded up to. Sound before the first picture comes with the default start too.
    Nothing is yielded for a clip without sound. Holes in the stream are filled with silence, so that a
    sample's number tells its time. Raises UnreadableError when the clip cannot be opened.
    """
    with opened(path) as container:
        if not container.streams.audio:
            return
        stream = container.streams.audio[0]
        picture = container.streams.video[0] if container.streams.video else None
        zero_s = float((picture.start_time or 0) * picture.time_base) if picture and picture.time_base else 0.0
        if start_s > 1.0 and stream.time_base:
            # A codec with overlapping windows needs a few frames before it is right again.
            container.seek(int((zero_s + start_s - 0.25) / stream.time_base), stream=stream, backward=True)
        first = round((zero_s + start_s) * rate_hz) if start_s > 0 else None
        last = round((zero_s + end_s) * rate_hz) if end_s is not None else None
        held: list[NDArray[np.float32]] = []
        n_held, start = 0, 0
        for position, samples in _numbered(container, stream, rate_hz):
            skipped = max(0, first - position) if first is not None else 0
            kept = samples[skipped : max(0, last - position) if last is not None else None]
            if len(kept):
                if not held:
                    start = position + skipped
                held.append(kept)
                n_held += len(kept)
            if n_held >= block_s * rate_hz:
                yield SoundBlock(start / rate_hz - zero_s, np.concatenate(held))
                held, n_held = [], 0
            if last is not None and position + len(samples) >= last:
                break
        if held:
            yield SoundBlock(start / rate_hz - zero_s, np.concatenate(held))


def _numbered(
    container: InputContainer, stream: av.AudioStream, rate_hz: int
) -> Iterator[tuple[int, NDArray[np.float32]]]:
    """Mono pieces with the number of their first sample, counted from the stream's time zero; no holes between them."""
    resampler = av.AudioResampler(format="fltp", layout="mono", rate=rate_hz)
    samples_a_tick = float(stream.time_base or 0) * rate_hz  # once: fractions are slow beside a frame's decoding
    position: int | None = None
    try:
        for frame in container.decode(stream):
            begin = round(frame.pts * samples_a_tick) if frame.pts is not None and samples_a_tick else None
            if position is None:
                position = begin or 0
            elif begin is not None and begin - position > rate_hz // 10:  # smaller steps: resampler delay, rounding
                yield position, np.zeros(begin - position, np.float32)
                position = begin
            for out in resampler.resample(frame):
                samples = out.to_ndarray().reshape(-1).astype(np.float32, copy=False)
                yield position, samples
                position += len(samples)
        for out in resampler.resample(None):
            yield position or 0, out.to_ndarray().reshape(-1).astype(np.float32, copy=False)
    except av.FFmpegError:
        return  # what came before the damage is still good
