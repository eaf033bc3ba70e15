"""Opening a media file: plain files of known container formats only, read-only, never a playlist or a URL."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import av
import av.container

from reelnotes.records.problems import UnreadableError

# Demuxers by ffmpeg's names. Formats that can point elsewhere (hls, concat, dash, image sequences) are left out on purpose.
CONTAINER_FORMATS = ("mov", "mp4", "m4a", "3gp", "3g2", "mj2", "matroska", "webm", "avi", "mpegts", "mpeg", "mxf")
VIDEO_SUFFIXES = frozenset(
    [
        *(".mp4", ".mov", ".m4v", ".mkv", ".webm", ".avi", ".mts", ".m2ts", ".ts", ".mpg", ".mpeg", ".mxf"),
        *(".3gp", ".3g2", ".lrv", ".insv", ".360", ".qt", ".mod", ".tod"),
    ]
)

# libav stays silent, and never calls into Python: a damaged clip is told by us, in one sentence, and a decoding
# thread that waits for the interpreter's lock while it is being freed would hang the run for good.
av.logging.set_level(None)


@contextmanager
def opened(path: Path) -> Iterator[av.container.InputContainer]:
    """Open a clip for reading.

    Raises UnreadableError when it is missing, empty, or no container of CONTAINER_FORMATS.
    """
    if not path.is_file():
        raise UnreadableError(str(path), "there is no such file")
    if path.stat().st_size == 0:
        raise UnreadableError(str(path), "the file is empty (zero bytes)")
    options = {"protocol_whitelist": "file", "format_whitelist": ",".join(CONTAINER_FORMATS)}
    try:
        container = av.open(f"file:{path.resolve()}", mode="r", options=options, metadata_errors="replace")
    except (av.FFmpegError, OSError) as fault:
        raise UnreadableError(str(path), f"it cannot be opened as video: {_reason(fault)}") from fault
    try:
        yield container
    finally:
        container.close()


def _reason(fault: Exception) -> str:
    text = getattr(fault, "strerror", None) or type(fault).__name__
    return str(text).strip().lower()
