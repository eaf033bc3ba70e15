"""Random measuring boards: a print at 4 px/mm, the slab and the stop it sits on, its toml."""

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

SCALE = 4.0  # px per mm
Colour = tuple[int, int, int]  # blue, green, red
PAPERS: dict[str, Colour] = {
    "cream": (205, 230, 240), "white": (240, 242, 240), "yellow": (60, 205, 240), "grey": (168, 172, 170),
    "green": (130, 180, 140), "dark": (58, 54, 50), "blue": (170, 120, 60), "sand": (150, 190, 210),
}  # fmt: skip
INKS: tuple[Colour, ...] = ((40, 40, 200), (150, 70, 20), (30, 30, 30), (60, 120, 30), (20, 110, 220), (110, 40, 100))
WORDS = (
    "LAY FLAT",
    "NOSE HERE",
    "MOUTH SHUT",
    "READ AT THE TAIL",
    "TAIL NATURAL",
    "WET IT FIRST",
    "KEEP OUT OF SUN",
    "SAND SKERRY",
    "TEAM OTTER",
)
FONTS = (cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_DUPLEX, cv2.FONT_HERSHEY_TRIPLEX, cv2.FONT_HERSHEY_COMPLEX)


@dataclass(frozen=True)
class BoardDesign:
    """All that a board's print is drawn from; the same seed draws the same words and logo."""

    name: str
    length: float
    width: float
    paper: Colour
    ink: Colour
    layout: str  # bars | lines | grid | blank
    bar_mm: float
    unit_mm: float  # 10 or 25.4
    both_edges: bool
    markers: tuple[int, ...]
    margin_mm: float
    slab: Colour
    stop_height: float
    seed: int
    mirrored: bool = False

    @property
    def dark(self) -> bool:
        return sum(self.paper) < 330


@dataclass
class Board:
    """A drawn board: the picture square on, which pixel is x = 0, y = 0, and the markers' corners (mm)."""

    design: BoardDesign
    picture: NDArray[Any]
    zero_px: tuple[float, float]
    markers: list[tuple[int, list[list[float]]]] = field(default_factory=list)

    def write(self, folder: Path) -> None:
        d, stem = self.design, self.design.name.replace(" ", "-")
        cv2.imwrite(str(folder / f"{stem}.png"), self.picture)
        lines = [f'name = "{d.name}"', f"length_mm = {d.length:.1f}", f"width_mm = {d.width:.1f}", f'picture = "{stem}.png"', ""]
        lines += ["[picture_scale]", f"px_per_mm = {SCALE}", f"zero_px = [{self.zero_px[0]}, {self.zero_px[1]}]"]
        for number, corners in self.markers:
            lines += ["", "[[marker]]", 'dictionary = "4X4_50"', f"id = {number}", f"corners_mm = {corners}"]
        (folder / f"{stem}.toml").write_text("\n".join(lines) + "\n")


def draw_design(rng: np.random.Generator, name: str, marked: bool, paper: str | None = None) -> BoardDesign:
    paper = paper or str(rng.choice(list(PAPERS)))
    b, g, r = (int(np.clip(v + rng.integers(-12, 13), 20, 245)) for v in PAPERS[paper])
    colour: Colour = (b, g, r)
    markers = tuple(int(i) for i in rng.permutation(50)[:12]) if marked else ()
    unit = float(rng.choice([10.0, 10.0, 25.4]))
    length = round(float(rng.uniform(450, 1100)) / 10) * 10.0 if unit == 10.0 else round(float(rng.uniform(18, 42))) * 25.4
    ink = INKS[rng.integers(len(INKS))]
    if sum(colour) < 330:
        ink = (210, 215, 200) if rng.random() < 0.5 else (60, 200, 240)
    slab: Colour = [colour, (60, 60, 65), (200, 200, 195), (150, 90, 40), (45, 75, 200), (90, 130, 165)][rng.integers(6)]
    layouts = ["bars", "bars", "lines", "grid", "blank"]
    return BoardDesign(
        name, length, round(float(rng.uniform(130, 300))), colour, ink, str(rng.choice(layouts)),  # type: ignore[arg-type]
        float(rng.choice([5, 10]) if unit == 10 else rng.choice([2, 4])) * unit, unit, bool(rng.random() < 0.4),
        markers, float(rng.choice([0, 0, 10])), slab, float(rng.uniform(20, 35)), int(rng.integers(1 << 31)),
    )  # fmt: skip


def mirrored(design: BoardDesign) -> BoardDesign:
    return replace(design, name="mirror " + design.name, mirrored=True)


def relative(design: BoardDesign) -> BoardDesign:
    """The same maker's other board: same colours, words and layout, other graduations, other markers."""
    unit = 25.4 if design.unit_mm == 10 else 10.0
    stretch = 1.35 if design.length < 750 else 0.72
    length = round(design.length * stretch / unit) * unit
    markers = tuple((i + 17) % 50 for i in design.markers)
    bar = design.bar_mm / design.unit_mm * unit * (2 if unit == 10 else 0.5)
    return replace(design, name="other " + design.name, unit_mm=unit, bar_mm=bar, length=length, markers=markers)


def _px(mm: float) -> int:
    return round(mm * SCALE)


def _text(
    im: NDArray[Any], words: str, x: float, y: float, height: float, colour: Colour, font: int, *, middle: bool = False
) -> None:
    """Words whose foot stands at (x, y) mm of the canvas, ``height`` mm high."""
    size = height * SCALE / 22
    thick = max(1, round(size * 2.2))
    (w, _), _ = cv2.getTextSize(words, font, size, thick)
    cv2.putText(im, words, (_px(x) - (w // 2 if middle else 0), _px(y)), font, size, colour, thick, cv2.LINE_AA)


def _ruler(im: NDArray[Any], d: BoardDesign, far: bool, rng: np.random.Generator, ink: Colour, inset: float, font: int) -> None:
    """Ticks and figures along one edge. Canvas y runs down, so the near edge is the canvas's lower one."""
    step = d.unit_mm / (10 if d.unit_mm == 10 and rng.random() < 0.4 else 2 if d.unit_mm == 10 else 8)
    per = round(d.unit_mm / step)
    edge = inset if far else d.width - inset
    sign = 1 if far else -1
    every = int(rng.choice([1, 2, 5])) if d.unit_mm == 10 else 1
    height = float(rng.uniform(4, 6.5)) if every > 1 or d.unit_mm > 10 else 3.2
    for n in range(1, int(d.length / step + 0.5)):
        long = 8.5 if n % per == 0 else 5.5 if per % 2 == 0 and n % (per // 2) == 0 else 3.2
        x = _px(n * step)
        cv2.line(im, (x, _px(edge)), (x, _px(edge + sign * long)), ink, 2 if n % per else 3)
        if n % (per * every) == 0:
            _text(im, str(n // per), n * step, edge + 10 + height if far else edge - 10.5, height, ink, font, middle=True)


def _markers(im: NDArray[Any], d: BoardDesign) -> list[tuple[int, list[list[float]]]]:
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    side = 20.0 if d.width < 190 else 26.0
    count = len(d.markers) // 2
    out = []
    for k, number in enumerate(d.markers[: 2 * count]):
        far = k >= count
        left = 14 + (k % count) * (d.length - 28 - side) / max(count - 1, 1)
        top = 5.0 if far else d.width - 5 - side
        left, top = round(left * 2) / 2, round(top * 2) / 2
        quiet = 3.0
        cv2.rectangle(
            im,
            (_px(left - quiet), _px(top - quiet)),
            (_px(left + side + quiet) - 1, _px(top + side + quiet) - 1),
            (245, 245, 245),
            -1,
        )
        print_ = cv2.aruco.generateImageMarker(dictionary, number, _px(side))
        im[_px(top) : _px(top) + _px(side), _px(left) : _px(left) + _px(side)] = np.where(print_ > 127, 245, 18)[..., None]
        y1, y0 = d.width - top, d.width - top - side
        out.append((number, [[left, y1], [left + side, y1], [left + side, y0], [left, y0]]))
    return out


def _layout(
    im: NDArray[Any], d: BoardDesign, top: float, low: float, bar: Colour, shade: Colour, fine: Colour, font: int
) -> None:
    """What fills the board between its rulers."""
    if d.layout == "bars":
        for x in np.arange(d.bar_mm, d.length, 2 * d.bar_mm):
            cv2.rectangle(im, (_px(x), _px(top)), (_px(min(x + d.bar_mm, d.length)) - 1, _px(low)), bar, -1)
    elif d.layout == "lines":
        step = 100.0 if d.unit_mm == 10 else 6 * 25.4
        for n, x in enumerate(np.arange(step, d.length, step)):
            cv2.rectangle(im, (_px(x) - 3, 0), (_px(x) + 2, _px(low)), (40, 40, 210) if n % 2 == 0 else fine, -1)
            _text(im, f"{x / d.unit_mm:.0f}", x + 3, top + 9, 8, shade, font)
    elif d.layout == "grid":
        for x in np.arange(2 * d.unit_mm, d.length, 2 * d.unit_mm):
            cv2.line(im, (_px(x), _px(top)), (_px(x), _px(low)), shade, 2)
        for y in np.arange(low, top, -2 * d.unit_mm):
            cv2.line(im, (0, _px(y)), (im.shape[1], _px(y)), shade, 2)


def draw_board(design: BoardDesign) -> Board:
    """The empty board square on, as its picture shows it."""
    d = design
    rng = np.random.default_rng(d.seed)
    im = np.full((_px(d.width), _px(d.length), 3), d.paper, np.uint8)
    font = FONTS[rng.integers(len(FONTS))]
    fine: Colour = (225, 228, 225) if d.dark else (28, 28, 28)
    room = 38.0 if d.markers else 24.0
    top, low = room * (0.9 if d.both_edges or d.markers else 0.5), d.width - room
    shade: Colour = tuple(int(0.6 * p + 0.4 * i) for p, i in zip(d.paper, d.ink, strict=True))  # type: ignore[assignment]
    bar_ink = d.ink if rng.random() < 0.6 and not d.markers else shade
    _layout(im, d, top, low, bar_ink, shade, fine, font)
    ink2 = INKS[rng.integers(len(INKS))] if not d.dark else d.ink
    cv2.line(im, (0, _px(low + 1)), (im.shape[1], _px(low + 1)), fine, 4)
    inset = room - 14 if d.markers else 0.0
    _ruler(im, d, False, rng, fine, inset if d.markers else 0.0, font)
    if d.both_edges and not d.markers:
        _ruler(im, d, True, rng, fine, 0.0, font)
    elif not d.markers:
        words = str(rng.choice(WORDS))
        _text(im, words, float(rng.uniform(15, 60)), 9.0, 5.5, ink2, font)
        _text(im, str(rng.choice(WORDS)), d.length * float(rng.uniform(0.5, 0.62)), 9.0, 5.5, ink2, font)
    if rng.random() < 0.7:
        _text(
            im,
            str(rng.choice(WORDS)),
            d.length * float(rng.uniform(0.55, 0.7)),
            (top + low) / 2 + float(rng.uniform(-20, 20)),
            float(rng.uniform(8, 16)),
            ink2,
            font,
        )
    if rng.random() < 0.7:
        at = (_px(d.length * float(rng.uniform(0.3, 0.93))), _px((top + low) / 2 + float(rng.uniform(-15, 15))))
        r = _px(float(rng.uniform(10, 22)))
        cv2.circle(im, at, r, ink2, 8, cv2.LINE_AA)
        cv2.ellipse(im, at, (r * 6 // 10, r // 3), float(rng.uniform(0, 90)), 0, 360, d.ink, -1, cv2.LINE_AA)
    if rng.random() < 0.5:
        _text(im, "NOSE HERE", 6, (top + low) / 2, 4.5, ink2, font)
    markers = _markers(im, d) if d.markers else []
    m = _px(d.margin_mm)
    framed = cv2.copyMakeBorder(im, m, m, m, m, cv2.BORDER_CONSTANT, value=d.slab)
    im = np.ascontiguousarray(framed[:, ::-1] if d.mirrored else framed)
    return Board(d, im, (m - 0.5, im.shape[0] - 0.5 - m), markers)


def worn(picture: NDArray[Any], rng: np.random.Generator, amount: float) -> NDArray[Any]:
    """The print after some seasons: faded in patches, scratched, grimy."""
    h, w = picture.shape[:2]
    patches = cv2.resize(rng.normal(0, 1, (6, 20)).astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC)
    fade = np.clip(0.10 + 0.10 * patches, 0, 0.45)[..., None] * amount
    out = picture.astype(np.float32) * (1 - fade) + float(picture.mean()) * fade
    marks = np.zeros((h, w), np.uint8)
    for _ in range(int(25 * amount)):
        a = rng.uniform(0, 1, 2) * [w, h]
        b = a + rng.normal(0, 1, 2) * [120, 60]
        cv2.line(marks, tuple(int(v) for v in a), tuple(int(v) for v in b), int(rng.integers(60, 200)), 1, cv2.LINE_AA)
    tone = float(rng.choice([60, 235]))
    out += (tone - out) * (marks[..., None] / 255.0) * 0.5
    grime = cv2.resize(rng.normal(0, 1, (h // 60 + 2, w // 60 + 2)).astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC)
    out *= 1 - 0.05 * amount * np.clip(grime, 0, 2)[..., None]
    return np.clip(out, 0, 255).astype(np.uint8)
