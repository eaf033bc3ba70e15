"""Boards of every look to train the glance on: made_clips' own, and odd ones that no rule was kept for."""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from made_clips.boards import FONTS, WORDS, draw_board, draw_design, worn
from made_clips.decks import soft
from numpy.typing import NDArray

Image = NDArray[Any]
Rng = np.random.Generator
Ink = tuple[float, ...]
PX_PER_MM = 1.6  # of the boards' pictures: finer than any frame here shows


@dataclass(frozen=True)
class Blank:
    """A board to lay down: its picture, size (mm) and the colour of its sides."""

    picture: Image
    length: float
    width: float
    slab: tuple[float, float, float]
    look: str


def catalogue_board(rng: Rng) -> Blank:
    """One of made_clips' boards, worn."""
    d = draw_design(rng, "any", bool(rng.random() < 0.25))
    picture = draw_board(d).picture
    size = (round(picture.shape[1] * PX_PER_MM / 4), round(picture.shape[0] * PX_PER_MM / 4))
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    return Blank(worn(small, rng, float(rng.uniform(0, 1.5))), d.length, d.width, d.slab, "marked" if d.markers else d.layout)


def _tone(rng: Rng) -> tuple[float, float, float]:
    """A board's colour: pale ones are the most common, but any will do."""
    how = rng.random()
    if how < 0.45:
        base = rng.uniform(150, 245) + rng.normal(0, 10, 3)
    elif how < 0.6:
        base = rng.uniform(15, 80) + rng.normal(0, 6, 3)
    else:
        base = rng.uniform(20, 240, 3)
    b, g, r = (float(v) for v in np.clip(base, 8, 248))
    return b, g, r


def odd_board(rng: Rng) -> Blank:
    """A board by nobody in particular: any colour, any ruler, bars, blocks, words, pictures, or next to nothing."""
    length, width = float(rng.uniform(350, 1300)), float(rng.uniform(70, 330))
    w, h = int(length * PX_PER_MM), int(width * PX_PER_MM)
    paper = np.array(_tone(rng))
    ink = tuple(float(v) for v in (255 - paper if rng.random() < 0.5 else rng.uniform(0, 255, 3)))
    if abs(np.mean(ink) - paper.mean()) < 50:
        ink = (20.0, 20.0, 20.0) if paper.mean() > 120 else (235.0, 235.0, 235.0)
    second = _tone(rng)
    im = np.full((h, w, 3), paper, np.float32)
    if rng.random() < 0.3:  # wood, brushed metal, moulded plastic
        grain = cv2.resize(soft(rng, 256, float(rng.uniform(2, 30)), 1.2), (w, h))
        im *= (1 + rng.uniform(0.03, 0.15) * grain)[..., None]
    im = np.clip(im, 0, 255).astype(np.uint8)
    for _ in range(int(rng.integers(0, 3))):  # zones across or along
        a, b = sorted(rng.uniform(0, 1, 2))
        zone = (int(a * w), 0, int(b * w), h) if rng.random() < 0.5 else (0, int(a * h), w, int(b * h))
        cv2.rectangle(im, zone[:2], zone[2:], _tone(rng), -1)
    layout = _layout(rng, im, ink, second)
    for at in rng.permutation(["near", "far", "middle"])[: int(rng.integers(1, 3))]:
        _ticks(rng, im, str(at), ink)
    for _ in range(int(rng.integers(0, 5))):
        place = (int(rng.uniform(0, 0.8) * w), int(rng.uniform(0.15, 0.95) * h))
        size = float(rng.uniform(0.3, 2.5))
        words, font, colour = str(rng.choice(WORDS)), int(FONTS[rng.integers(4)]), _tone(rng)
        cv2.putText(im, words, place, font, size, colour, max(1, int(size * 2)), cv2.LINE_AA)
    for _ in range(int(rng.integers(0, 3))):
        place, radius = (int(rng.uniform(0, w)), int(rng.uniform(0.2, 0.8) * h)), int(rng.uniform(5, 40))
        cv2.circle(im, place, radius, _tone(rng), -1 if rng.random() < 0.5 else 3, cv2.LINE_AA)
    if rng.random() < 0.3:
        cv2.rectangle(im, (0, 0), (w - 1, h - 1), _tone(rng), int(rng.integers(4, 20)))
    slab = _tone(rng) if rng.random() < 0.5 else tuple(float(v) for v in paper)
    return Blank(worn(im, rng, float(rng.uniform(0, 1.8))), length, width, slab, "odd " + layout)  # type: ignore[arg-type]


def _layout(rng: Rng, im: Image, ink: Ink, second: Ink) -> str:
    """Bars, steps, checks, lines or nothing between the rulers; its name."""
    h, w = im.shape[:2]
    layout = str(rng.choice(["ticks", "ticks", "bars", "steps", "lines", "grid", "checks"]))
    step = float(rng.choice([10, 12.7, 20, 25.4, 50, 100])) * PX_PER_MM
    y0, y1 = sorted(rng.uniform(0.05, 0.95, 2) * h)
    if layout == "bars":
        for x in np.arange(step, w, 2 * step):
            cv2.rectangle(im, (int(x), int(y0)), (int(x + step), int(y1)), second, -1)
    elif layout == "steps":
        for n, x in enumerate(np.arange(0, w, step)):
            part = (int(x), int(y0 if n % 2 else (y0 + y1) / 2)), (int(x + step), int((y0 + y1) / 2 if n % 2 else y1))
            cv2.rectangle(im, *part, second, -1)
    elif layout == "checks":
        for x in np.arange(0, w, step):
            for n, y in enumerate(np.arange(0, h, step)):
                if (int(x / step) + n) % 2:
                    cv2.rectangle(im, (int(x), int(y)), (int(x + step), int(y + step)), second, -1)
    elif layout in ("lines", "grid"):
        for x in np.arange(step, w, step):
            cv2.line(im, (int(x), 0), (int(x), h), ink, int(rng.integers(1, 4)))
        for y in np.arange(step, h if layout == "grid" else 0, step):
            cv2.line(im, (0, int(y)), (w, int(y)), ink, 1)
    return layout


def _ticks(rng: Rng, im: Image, at: str, ink: Ink) -> None:
    h, w = im.shape[:2]
    step = float(rng.choice([2, 5, 6.35, 10, 12.7, 25.4])) * PX_PER_MM
    every, high = int(rng.choice([2, 4, 5, 10])), float(rng.uniform(3, 25)) * PX_PER_MM
    edge = {"near": h, "far": 0, "middle": int(h * rng.uniform(0.3, 0.7))}[at]
    sign, thick = (1 if at == "far" else -1), int(rng.integers(1, 4))
    for n in range(1, int(w / step)):
        x = int(n * step)
        cv2.line(im, (x, edge), (x, int(edge + sign * high * (1 if n % every == 0 else 0.6))), ink, thick)
        if n % every == 0 and every * step > 12:
            size = float(rng.uniform(0.3, 0.5)) * min(2.0, every * step / 20)
            y = int(edge + sign * high * 1.2 + (size * 22 if sign > 0 else 0))
            cv2.putText(im, str(n // every), (x - 4, y), FONTS[0], size, ink, 1 + int(size > 0.8), cv2.LINE_AA)
