"""A photo as a clip of one frame, so that one way through this room serves both."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import av
import cv2
import numpy as np

from reelnotes.records.problems import UnreadableError

_HEIF_BRANDS = frozenset([b"heic", b"heix", b"heim", b"heis", b"mif1", b"avif"])
PHOTO_SUFFIXES = frozenset([".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".bmp"])


def is_heic(path: Path, start: bytes) -> bool:
    """Whether a file is a still picture of the HEIF family, by its brand (ISO/IEC 23008-12, annex B) or name.

    Such a file is built like a video, and phones hand it on under a .jpg name too.
    """
    return (start[4:8] == b"ftyp" and start[8:12] in _HEIF_BRANDS) or path.suffix.lower() in (".heic", ".heif", ".avif")


@contextmanager
def as_clip(path: Path) -> Iterator[Path]:
    """A path that opens as a clip: the path itself, or for a photo a lossless clip of one frame in a temporary folder.

    The photo is turned upright by its own orientation tag. Raises UnreadableError when it cannot be read as a picture.
    """
    if path.suffix.lower() not in PHOTO_SUFFIXES:
        yield path
        return
    if not path.is_file():
        raise UnreadableError(str(path), "there is no such file")
    data = np.fromfile(path, np.uint8)
    pixels = cv2.imdecode(data, cv2.IMREAD_COLOR) if len(data) else None
    if pixels is None:
        raise UnreadableError(str(path), "it cannot be read as a picture")
    with tempfile.TemporaryDirectory(prefix="reelnotes-") as folder:
        clip = Path(folder) / "photo.mkv"
        with av.open(str(clip), "w") as container:
            stream = container.add_stream("ffv1", rate=25)
            stream.height, stream.width = pixels.shape[:2]
            stream.pix_fmt = "bgr0"
            frame = av.VideoFrame.from_ndarray(pixels.astype(np.uint8), format="bgr24")
            container.mux(stream.encode(frame.reformat(format="bgr0")))
            container.mux(stream.encode(None))
        yield clip
