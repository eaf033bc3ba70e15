"""The picture that shows a length: the frame, the board's grid through the lens, nose, fork and tail, the interval."""

import io
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from reelnotes.measure.fish import Fish
from reelnotes.measure.limits import CAUTION
from reelnotes.measure.posed import PosedClip, PosedFrame
from reelnotes.records.lengths import FishLength
from reelnotes.records.units import INCH_MM

WIDE_PX = 1280  # the longer side of the frame as it is shown


@dataclass(frozen=True, slots=True)
class Unit:
    """What lengths are shown in, and how many of it lie between two lines of the grid."""

    name: str
    mm: float
    line: int


UNITS = {"metric": Unit("cm", 10.0, 5), "imperial": Unit("in", INCH_MM, 2)}
_BAND_PX = 150  # of words below the picture
_GRID, _MARK, _FORK, _INK = (255, 255, 255), (255, 64, 48), (64, 200, 255), (16, 16, 16)


def evidence_png(clip: PosedClip, fish: Fish | None, row: FishLength, units: str = "metric") -> bytes:
    """PNG bytes: the sharpest frame, WIDE_PX along its longer side, with the grid and the marks; below it the words of ``row``.

    units: "metric" or "imperial", for the grid and the words.
    """
    frame = max(clip.frames if fish is None else fish.frames, key=lambda f: f.sharpness)
    height, width = frame.image.shape[:2]
    scale = WIDE_PX / max(width, height)
    method = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    base = cv2.resize(frame.image, (round(width * scale), round(height * scale)), interpolation=method)
    picture = Image.fromarray(cv2.cvtColor(base, cv2.COLOR_BGR2RGB))
    draw = ImageDraw.Draw(picture, "RGBA")  # lines that let some of the picture through
    _grid(draw, clip, frame, scale, UNITS[units])
    if fish is not None:
        _marks(draw, fish, frame, scale)
    return _encoded(np.asarray(_captioned(picture, row, UNITS[units])))


def recaptioned(png: bytes, row: FishLength, units: str = "metric") -> bytes:
    """A picture of :func:`evidence_png` under the words of ``row`` as it now stands."""
    whole = Image.open(io.BytesIO(png)).convert("RGB")
    picture = whole.crop((0, 0, whole.width, whole.height - _BAND_PX))
    return _encoded(np.asarray(_captioned(picture, row, UNITS[units])))


def _grid(draw: ImageDraw.ImageDraw, clip: PosedClip, frame: PosedFrame, scale: float, unit: Unit) -> None:
    """Lines across the board, every other one strong and numbered: each 5 cm or 2 in."""
    length, width = clip.board.length_mm, clip.board.width_mm
    along, across = np.linspace(0, length, 60), np.linspace(0, width, 20)
    for n in range(int((length + 1e-6) / (unit.line * unit.mm)) + 1):
        x, strong = n * unit.line * unit.mm, n % 2 == 0
        _line(draw, frame, scale, np.stack([np.full_like(across, x), across], axis=-1), 2 if strong else 1, 170 if strong else 80)
        if strong:
            at = _to_px(frame, scale, np.array([[x, width, 0.0]]))[0]
            if np.all(np.isfinite(at)):
                _label(draw, at[0], at[1], f"{n * unit.line}", _GRID, 20)
    for y in (0.0, width):
        _line(draw, frame, scale, np.stack([along, np.full_like(along, y)], axis=-1), 2, 170)


def _line(draw: ImageDraw.ImageDraw, frame: PosedFrame, scale: float, mm: NDArray[np.float64], wide: int, alpha: int) -> None:
    px = _to_px(frame, scale, mm)
    px = px[np.isfinite(px).all(axis=1)]
    if len(px) > 1:
        draw.line([tuple(p) for p in px], fill=(*_GRID, alpha), width=wide)


def _marks(draw: ImageDraw.ImageDraw, fish: Fish, frame: PosedFrame, scale: float) -> None:
    middle_y = fish.fork[1] if fish.fork is not None else fish.nose[1]
    line = np.linspace((fish.nose[0], middle_y, 0.0), (fish.tail[0], middle_y, 0.0), 40)
    px = _to_px(frame, scale, line)
    px = px[np.isfinite(px).all(axis=1)]
    if len(px) > 1:
        draw.line([tuple(p) for p in px], fill=(*_MARK, 230), width=3)
    for name, point, colour in (("nose", fish.nose, _MARK), ("fork", fish.fork, _FORK), ("tail", fish.tail, _MARK)):
        if point is None:
            continue
        at = _to_px(frame, scale, np.array([point]))[0]
        if not np.all(np.isfinite(at)):
            continue
        x, y = at
        draw.ellipse((x - 9, y - 9, x + 9, y + 9), outline=(*colour, 255), width=3)
        draw.line((x - 16, y, x + 16, y), fill=(*colour, 255), width=1)
        draw.line((x, y - 16, x, y + 16), fill=(*colour, 255), width=1)
        _label(draw, x, y + (28 if name == "fork" else -28), name, colour, 22)


def _label(draw: ImageDraw.ImageDraw, x: float, y: float, text: str, colour: tuple[int, int, int], size: int) -> None:
    draw.text((x, y), text, fill=(*colour, 255), font=_font(size), anchor="mm", stroke_width=3, stroke_fill=(*_INK, 255))


def _captioned(picture: Image.Image, row: FishLength, unit: Unit) -> Image.Image:
    """A band below the picture: the interval in big type, what it is, and the caution."""
    out = Image.new("RGB", (picture.width, picture.height + _BAND_PX), _INK)
    out.paste(picture, (0, 0))
    draw, top = ImageDraw.Draw(out), picture.height
    size = 52 if picture.width > 900 else 34
    draw.text((16, top + 8), _headline(row, unit), fill="white", font=_font(size))
    draw.text((16, top + 72), _fitted(_subline(row, unit), picture.width, 24), fill=(200, 200, 200), font=_font(24))
    caution = CAUTION[0].upper() + CAUTION[1:] + "."
    draw.text((16, top + 110), caution, fill=(255, 210, 120), font=_font(20 if picture.width > 760 else 15))
    return out


def _headline(row: FishLength, unit: Unit) -> str:
    if row.total_length_mm is None or row.low_mm is None or row.high_mm is None:
        return "no length"
    spread = f"({row.low_mm / unit.mm:.1f} to {row.high_mm / unit.mm:.1f})"
    text = f"{row.total_length_mm / unit.mm:.1f} {unit.name}  {spread}"
    return text if row.verdict == "measured" else text + "  check"


def _subline(row: FishLength, unit: Unit) -> str:
    if row.verdict != "measured":
        return row.reason
    fork = f", fork {row.fork_length_mm / unit.mm:.1f} {unit.name}" if row.fork_length_mm is not None else "; no fork length"
    return f"{row.measure}{fork}; 95 % interval; {row.board}"


def _fitted(text: str, width: int, size: int) -> str:
    room = width - 32
    while text and _font(size).getlength(text) > room:
        text = text.removesuffix("...")[:-1].rstrip() + "..."
    return text


def _font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size)


def _to_px(frame: PosedFrame, scale: float, mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Board millimetres to pixels of the scaled picture (centres of pixels stay centres)."""
    return (frame.board_to_px(mm) + 0.5) * scale - 0.5


def _encoded(rgb: NDArray[np.uint8]) -> bytes:
    # One filter for all rows, and of compression what costs least: 0.6 times the time of the least with matches looked for in the
    # rows before, and a fifth larger.
    how = [cv2.IMWRITE_PNG_COMPRESSION, 1, cv2.IMWRITE_PNG_FILTER, cv2.IMWRITE_PNG_FILTER_UP]
    how += [cv2.IMWRITE_PNG_STRATEGY, cv2.IMWRITE_PNG_STRATEGY_RLE]
    return cv2.imencode(".png", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), how)[1].tobytes()
