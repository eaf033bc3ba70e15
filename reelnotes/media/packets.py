"""How many bytes each picture of a clip takes: where the picture changes much, without decoding any of it."""

from dataclasses import dataclass
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

from reelnotes.media.opening import opened
from reelnotes.records.problems import UnreadableError


@dataclass(frozen=True, slots=True, eq=False)
class PacketSizes:
    """One row a stored picture, in time order: seconds from the first, bytes, and whether it can be decoded alone."""

    time_s: NDArray[np.float64]
    size: NDArray[np.float64]
    key: NDArray[np.bool_]


def packet_sizes(path: Path) -> PacketSizes:
    """Sizes of a clip's pictures, from the container's index where it has one, else by reading through the file.

    Times from an index are in decoding order: off by a frame or two where pictures are reordered.
    Raises UnreadableError when the clip cannot be opened or has no picture.
    """
    with opened(path) as container:
        if not container.streams.video:
            raise UnreadableError(str(path), "it holds no picture")
        stream = container.streams.video[0]
        base = float(stream.time_base or 0) or 1.0 / 90000
        index = getattr(stream, "index_entries", None)  # PyAV 16.1 and later
        if index is not None and len(index) > 1:
            rows = [(float(e.timestamp), float(e.size), bool(e.is_keyframe)) for e in index]
        else:
            rows = []
            try:
                for packet in container.demux(stream):
                    stamp = packet.pts if packet.pts is not None else packet.dts
                    if stamp is not None and packet.size:
                        rows.append((float(stamp), float(packet.size), bool(packet.is_keyframe)))
            except av.FFmpegError:
                pass  # what came before the damage is still good
    rows.sort()
    time = np.array([r[0] for r in rows]) * base
    return PacketSizes(
        time - (time[0] if len(time) else 0.0), np.array([r[1] for r in rows]), np.array([r[2] for r in rows], dtype=bool)
    )
