"""Single pictures without any measuring board, to try a board detector on: what an angler's camera sees the rest of the day.

python -m made_clips.no_board SEED COUNT OUTDIR     (from tests/bench)
"""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from made_clips.boards import FONTS, WORDS
from made_clips.camera import draw_lens, look
from made_clips.decks import KINDS, SunMap, deck, soft
from made_clips.fish_drawn import draw_fish, lay
from made_clips.render import Light, Sensor, Stage
from made_clips.things import Mesh, clutter, hand

Image = NDArray[Any]
Rng = np.random.Generator
SIZES = ((1280, 720), (960, 540), (1920, 1080), (720, 1280), (848, 480))


def _colour(rng: Rng) -> tuple[float, float, float]:
    b, g, r = (float(v) for v in rng.integers(20, 240, 3))
    return b, g, r


def water(rng: Rng, w: int, h: int) -> Image:
    """Waves to a horizon, sky with clouds, sometimes a shore."""
    line = int(h * rng.uniform(0.15, 0.6))
    rows = np.linspace(0, 1, h - line)[:, None]
    sea = np.array([rng.uniform(80, 150), rng.uniform(70, 120), rng.uniform(30, 90)])
    waves = soft(rng, 512, 7.0, 2.0)
    u, v = np.meshgrid(np.arange(w) / w - 0.5, rows[:, 0])
    depth = 1 / (v + 0.04)
    pattern = cv2.remap(
        waves, ((u * depth * 260) % 511).astype(np.float32), ((depth * 190) % 511).astype(np.float32), cv2.INTER_LINEAR
    )
    low = sea * (0.6 + 0.5 * (1 - rows))[..., None] + 28 * pattern[..., None] * np.clip(v * 3, 0.2, 1)[..., None]
    sky = np.linspace(0, 1, line)[:, None, None] * np.array([-10.0, 20, 35]) + np.array([215.0, 190, 165])
    clouds = cv2.resize(soft(rng, 256, 18, 7), (w, line))
    top = np.repeat(sky, w, axis=1) + 35 * np.clip(clouds, 0, 2)[..., None]
    out = np.concatenate([top, low]).astype(np.float32)
    if rng.random() < 0.6:
        x = np.arange(w)
        hills = line - h * 0.03 * (1.2 + np.sin(x / w * rng.uniform(5, 15) + rng.uniform(0, 6)) + 0.4 * np.sin(x / w * 60))
        shore = np.concatenate([np.stack([x, hills], -1), [[w, line + 4], [0, line + 4]]])
        cv2.fillPoly(out, [shore.astype(np.int32)], (60, 90, 70))
    return np.clip(out, 0, 255).astype(np.uint8)


def torso(rng: Rng, w: int, h: int) -> Image:
    """An angler's jacket with a zip, pockets, reflective bands and words, before the water."""
    out = water(rng, w, h)
    jacket = np.array(_colour(rng))
    a, b = rng.uniform(0.1, 0.35) * w, rng.uniform(0.65, 0.95) * w
    shape = np.array(
        [[a, h], [a + 0.02 * w, 0.35 * h], [0.4 * w, 0.2 * h], [0.6 * w, 0.2 * h], [b, 0.35 * h], [b + 10, h]], np.int32
    )
    mask = np.zeros((h, w), np.uint8)
    cv2.fillPoly(mask, [shape], 1)
    folds = 1 + 0.12 * cv2.resize(soft(rng, 256, 14, 30), (w, h))
    cloth = np.clip(jacket * folds[..., None], 0, 255).astype(np.uint8)
    cv2.line(cloth, (w // 2, 0), (w // 2 + 9, h), (25, 25, 25), max(3, w // 160))
    y = int(h * rng.uniform(0.55, 0.85))
    cv2.rectangle(cloth, (0, y), (w, y + h // 16), (205, 210, 205), -1)
    cv2.putText(
        cloth,
        str(rng.choice(WORDS)),
        (int(a + 0.07 * w), int(0.45 * h)),
        int(FONTS[rng.integers(4)]),
        h / 500,
        (240, 240, 240),
        max(2, h // 250),
        cv2.LINE_AA,
    )
    out[mask > 0] = cloth[mask > 0]
    cv2.circle(out, (w // 2, int(0.1 * h)), h // 8, (120, 150, 200), -1, cv2.LINE_AA)
    return out


def screen(rng: Rng, w: int, h: int) -> Image:
    """A sounder: depth figures, a bottom trace, a scale in even ticks at its edge."""
    out = np.full((h, w, 3), rng.uniform(30, 90), np.uint8)
    x0, y0, x1, y1 = int(w * 0.15), int(h * 0.12), int(w * 0.85), int(h * 0.85)
    face = np.full((y1 - y0, x1 - x0, 3), (90, 30, 10), np.uint8)
    x = np.arange(face.shape[1])
    bottom = face.shape[0] * (0.7 + 0.1 * np.sin(x / 90 + rng.uniform(0, 6)) + 0.01 * rng.normal(0, 1, len(x)))
    for k, colour in enumerate([(40, 220, 240), (30, 120, 240), (30, 40, 200)]):
        cv2.polylines(face, [np.stack([x, bottom + 8 * k], -1).astype(np.int32)], False, colour, 8)
    for k in range(0, face.shape[0], max(8, face.shape[0] // 25)):
        cv2.line(face, (face.shape[1] - (40 if k % 5 == 0 else 20), k), (face.shape[1], k), (255, 255, 255), 2)
    for _ in range(int(rng.integers(2, 9))):
        cv2.ellipse(
            face,
            (int(rng.uniform(0, face.shape[1])), int(rng.uniform(0.1, 0.6) * face.shape[0])),
            (34, 16),
            0,
            190,
            350,
            (60, 200, 240),
            4,
        )
    cv2.putText(face, f"{rng.uniform(2, 60):.1f}", (20, int(0.2 * h)), FONTS[0], h / 220, (255, 255, 255), h // 120, cv2.LINE_AA)
    out[y0:y1, x0:x1] = face
    return cv2.warpAffine(
        out,
        cv2.getRotationMatrix2D((w / 2, h / 2), float(rng.normal(0, 12)), float(rng.uniform(0.8, 1.3))),
        (w, h),
        borderMode=cv2.BORDER_REFLECT,
    )


def tackle_box(rng: Rng, w: int, h: int) -> Image:
    """Compartments in rows, lures in them, on a deck: straight lines and even spacings, but no rule."""
    out = cv2.resize(deck(rng, str(rng.choice(KINDS))), (w, h))
    rows, cols = int(rng.integers(2, 5)), int(rng.integers(4, 11))
    bw, bh = int(w * rng.uniform(0.5, 0.85)), int(h * rng.uniform(0.4, 0.75))
    tray = np.full((bh, bw, 3), rng.uniform(120, 220), np.uint8)
    for i in range(rows):
        for j in range(cols):
            a, b = (j * bw // cols + 5, i * bh // rows + 5), ((j + 1) * bw // cols - 5, (i + 1) * bh // rows - 5)
            cv2.rectangle(tray, a, b, (85, 88, 92), -1)
            for _ in range(int(rng.integers(0, 4))):
                at = (int(rng.uniform(a[0], b[0])), int(rng.uniform(a[1], b[1])))
                cv2.ellipse(
                    tray,
                    at,
                    (max(4, (b[0] - a[0]) // 3), max(3, (b[0] - a[0]) // 9)),
                    float(rng.uniform(0, 180)),
                    0,
                    360,
                    _colour(rng),
                    -1,
                    cv2.LINE_AA,
                )
    x, y = (w - bw) // 2, (h - bh) // 2
    out[y : y + bh, x : x + bw] = tray
    turn = cv2.getRotationMatrix2D((w / 2, h / 2), float(rng.uniform(-60, 60)), 1.0)
    return cv2.warpAffine(out, turn, (w, h), borderMode=cv2.BORDER_REFLECT)


def rod_and_net(rng: Rng, w: int, h: int) -> Image:
    """A rod with rings across the water, a landing net's mesh beside it."""
    out = water(rng, w, h)
    a, b = np.array([rng.uniform(0, 0.4) * w, h]), np.array([rng.uniform(0.5, 1) * w, rng.uniform(0, 0.5) * h])
    for t in np.linspace(0, 1, 60)[:-1]:
        p, q = a + (b - a) * t, a + (b - a) * (t + 0.02)
        cv2.line(out, tuple(int(v) for v in p), tuple(int(v) for v in q), (30, 30, 34), max(2, int(14 * (1 - t))), cv2.LINE_AA)
        if round(t * 60) % 9 == 0:
            cv2.circle(out, tuple(int(v) for v in p), int(16 * (1 - t)) + 3, (150, 150, 155), 2, cv2.LINE_AA)
    c, r = np.array([rng.uniform(0.2, 0.8) * w, rng.uniform(0.6, 0.9) * h]), rng.uniform(0.15, 0.35) * h
    for k in np.linspace(-1, 1, 14):
        s = np.sqrt(max(1 - k * k, 0))
        for d in (np.array([1, 1]), np.array([1, -1])):
            n = np.array([-d[1], d[0]]) / np.sqrt(2)
            p, q = c + n * k * r - d / np.sqrt(2) * s * r, c + n * k * r + d / np.sqrt(2) * s * r
            cv2.line(out, tuple(int(v) for v in p), tuple(int(v) for v in q), (50, 160, 60), 2, cv2.LINE_AA)
    cv2.circle(out, tuple(int(v) for v in c), int(r), (120, 60, 30), 10, cv2.LINE_AA)
    return out


def ground(rng: Rng, w: int, h: int) -> Image:
    """A deck or shore from close by with tackle on it, at times a fish or a hand, through a wide lens."""
    lens = draw_lens(rng, "any", (w, h), float(rng.uniform(95, 120)), bool(rng.random() < 0.5))
    solids: list[Mesh] = clutter(rng, 300.0, 60.0, 0.0, 5.0) + clutter(rng, 300.0, 60.0, 0.0, 5.0)
    if rng.random() < 0.5:
        solids += lay(draw_fish(rng, float(rng.uniform(180, 600))), float(rng.uniform(-60, 120)), 3.0).meshes
    if rng.random() < 0.3:
        solids += hand(rng, float(rng.uniform(0, 300)), 30.0, 40.0, 1, 85.0, 4.0)
    up, a = np.radians(rng.uniform(30, 75)), rng.uniform(0, 7)
    light = Light(np.array([np.cos(up) * np.cos(a), np.cos(up) * np.sin(a), np.sin(up)]), np.full(3, 0.6), np.full(3, 0.45))
    sun = SunMap(rng, (150.0, 30.0), dapple=float(rng.uniform(0, 0.8)), shadow=bool(rng.random() < 0.5))
    tone = np.array([95.0, 80, 50])
    stage = Stage(
        lens, light, sun, deck(rng, str(rng.choice(KINDS))), float(rng.uniform(400, 800)), 0.0, None, solids, rng, 2.0, tone
    )
    pose = look(
        np.array([150.0, 30.0, 0]),
        float(rng.uniform(300, 900)),
        float(rng.uniform(0, 45)),
        float(rng.uniform(0, 360)),
        float(rng.uniform(0, 360)),
    )
    return stage.expose(stage.frame(pose), Sensor(), np.zeros(2))


def code_strip(rng: Rng, w: int, h: int) -> Image:
    """Any of the other scenes with a strip or block of black and white cells in it: a code, but no board."""
    out = SCENES[rng.integers(len(SCENES) - 1)](rng, w, h)
    cell = int(rng.integers(6, 26))
    rows, cols = (int(rng.integers(1, 3)), w // cell) if rng.random() < 0.6 else (int(rng.integers(8, 25)),) * 2
    bits = np.kron(rng.integers(0, 2, (rows, cols)), np.ones((cell, cell))) * 235 + 10
    y, x = int(rng.uniform(0, max(1, h - bits.shape[0]))), int(rng.uniform(0, max(1, w - bits.shape[1])))
    part = out[y : y + bits.shape[0], x : x + bits.shape[1]]
    part[:] = bits[: part.shape[0], : part.shape[1], None].astype(np.uint8)
    return out


SCENES: tuple[Callable[[Rng, int, int], Image], ...] = (water, torso, screen, tackle_box, rod_and_net, ground, ground, code_strip)


def no_board(rng: Rng) -> tuple[str, Image]:
    """A picture without a board, and what it shows."""
    w, h = SIZES[rng.integers(len(SIZES))]
    scene = SCENES[rng.integers(len(SCENES))]
    image = cv2.GaussianBlur(scene(rng, w, h), (0, 0), float(rng.uniform(0.4, 1.4)))
    grain = np.asarray(rng.normal(0, rng.uniform(1, 6), image.shape), np.float32)
    return scene.__name__, cv2.add(image.astype(np.float32), grain, dtype=cv2.CV_8U)


if __name__ == "__main__":
    rng, folder = np.random.default_rng(int(sys.argv[1])), Path(sys.argv[3])
    folder.mkdir(parents=True, exist_ok=True)
    for n in range(int(sys.argv[2])):
        what, picture = no_board(rng)
        cv2.imwrite(str(folder / f"{n:04d}-{what}.jpg"), picture, [cv2.IMWRITE_JPEG_QUALITY, 90])
