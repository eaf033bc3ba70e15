"""What an angler's camera sees most of the day, drawn loosely and in endless kinds: sky, shore, water, boat, people, fish.

Everything is made of gradients, noise, polygons and lines of any colour, for a net to learn that none of it is a board.
"""

from typing import Any

import cv2
import numpy as np
from made_clips.decks import soft
from numpy.typing import NDArray

Image = NDArray[Any]
Rng = np.random.Generator
Colour = tuple[float, float, float]


def outdoors(rng: Rng, w: int, h: int) -> Image:
    """Sky over water or land, and some of: shore, sun, boat, people, fish, rods, gear, drops on the lens."""
    line = h * float(rng.uniform(-0.2, 0.9))
    out = _sky_and_water(rng, w, h, line)
    for _ in range(int(rng.choice([0, 1, 1, 2, 3]))):
        _shore(rng, out, line)
    if rng.random() < 0.25:
        _sun(rng, out, line)
    parts = (_hull, _hull, _rails, _person, _person, _rods, _gear, _held_fish, _arm)
    for n in rng.permutation(len(parts))[: int(rng.choice([0, 1, 1, 2, 3, 4]))]:
        parts[n](rng, out)
    if rng.random() < 0.15:
        for _ in range(int(rng.integers(1, 8))):
            _drop(rng, out)
    roll = float(rng.normal(0, 6) if rng.random() < 0.8 else rng.uniform(-40, 40))
    turn = cv2.getRotationMatrix2D((w / 2, h / 2), roll, 1 + abs(roll) / 60)
    return cv2.warpAffine(out, turn, (w, h), borderMode=cv2.BORDER_REPLICATE)


def _colour(rng: Rng) -> Colour:
    """Any colour, half of the time close to grey."""
    base = rng.uniform(8, 245, 3) if rng.random() < 0.5 else rng.uniform(8, 245) + rng.normal(0, 14, 3)
    b, g, r = (float(v) for v in np.clip(base, 3, 252))
    return b, g, r


def _ramp(rng: Rng, w: int, h: int, a: Colour, b: Colour) -> Image:
    """From one colour to another down the picture, a little across too."""
    t = np.clip(np.linspace(0, 1, h)[:, None] ** rng.uniform(0.5, 2) + rng.normal(0, 0.1) * np.linspace(-1, 1, w)[None], 0, 1)
    return (np.array(a) * (1 - t[..., None]) + np.array(b) * t[..., None]).astype(np.float32)


def _sky_and_water(rng: Rng, w: int, h: int, line: float) -> Image:
    sky = _ramp(rng, w, h, _colour(rng), _colour(rng))
    if rng.random() < 0.6:
        coarse = float(rng.uniform(6, 40))
        sky += rng.uniform(5, 40) * cv2.resize(soft(rng, 128, coarse, coarse * rng.uniform(0.2, 0.6)), (w, h))[..., None]
    water = _ramp(rng, w, h, _colour(rng), _colour(rng))
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    down = np.maximum(y - line, 0) / h
    depth = 1 / (down + float(rng.uniform(0.03, 0.2)))
    kind = rng.integers(5)
    if kind == 0:  # swell in perspective
        tile = soft(rng, 256, float(rng.uniform(2, 9)), float(rng.uniform(1, 4)))
        u, v = ((x / w - 0.5) * depth * rng.uniform(60, 300)) % 255, (depth * rng.uniform(40, 200)) % 255
        waves = cv2.remap(tile, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR)
    elif kind == 1:  # even ripples
        waves = np.sin(depth * rng.uniform(10, 120) + rng.uniform(0, 3) * np.sin(x / w * rng.uniform(3, 40)))
    elif kind == 2:  # streaks across
        waves = cv2.resize(soft(rng, 128, float(rng.uniform(5, 40)), float(rng.uniform(0.6, 3))), (w, h))
    elif kind == 3:  # sparkle
        waves = 4.0 * (soft(rng, 512, 0.8)[:h, :w] if max(h, w) <= 512 else 0 * x) * (down > 0.02) * rng.uniform(0.1, 0.5)
    else:
        waves = np.zeros_like(x)
    water += (rng.uniform(3, 35) * waves)[..., None]
    blend = np.clip((y - line) / float(rng.choice([1.0, 1.0, 4.0, 30.0])), 0, 1)[..., None]
    return np.clip(sky * (1 - blend) + water * blend, 0, 255).astype(np.uint8)


def _shore(rng: Rng, out: Image, line: float) -> None:
    """Hills, trees or houses along the horizon."""
    h, w = out.shape[:2]
    n = int(rng.integers(6, 120))
    x = np.linspace(-5, w + 5, n)
    up = np.abs(cv2.GaussianBlur(rng.normal(0, 1, (1, n)).astype(np.float32), (0, 0), float(rng.uniform(0.3, 6)))[0])
    tall = h * float(rng.uniform(0.01, 0.25)) * up / max(float(up.max()), 1e-3)
    foot = line + float(rng.uniform(-0.01, 0.03)) * h
    if rng.random() < 0.3:  # steps: houses, piers, a wall
        x, tall = np.repeat(x, 2)[1:], np.repeat(tall, 2)[:-1]
    a, b = (0, len(x)) if rng.random() < 0.6 else sorted(int(v) for v in rng.integers(0, len(x), 2))
    edge = np.stack([x[a:b], foot - tall[a:b]], -1)
    if len(edge) < 2:
        return
    shape = np.concatenate([edge, [[edge[-1, 0], foot], [edge[0, 0], foot]]])
    cv2.fillPoly(out, [shape.astype(np.int32)], _colour(rng), cv2.LINE_AA)


def _sun(rng: Rng, out: Image, line: float) -> None:
    h, w = out.shape[:2]
    at = (int(rng.uniform(0, w)), int(line - abs(rng.normal(0, 0.2)) * h))
    glow = np.zeros((h, w), np.float32)
    cv2.circle(glow, at, int(rng.uniform(0.01, 0.08) * h) + 1, 1.0, -1)
    for _ in range(int(rng.integers(0, 40))):  # its path on the water
        y = int(rng.uniform(max(line, 0), h))
        wide = int(rng.uniform(2, 14))
        middle = at[0] + int(rng.normal(0, 0.04) * w)
        cv2.line(glow, (middle - wide, y), (middle + wide, y), 1.0, int(rng.integers(1, 4)))
    glow = np.maximum(glow, cv2.GaussianBlur(glow, (0, 0), float(rng.uniform(2, 25))) * float(rng.uniform(1, 4)))
    out[:] = np.clip(out + 230 * glow[..., None], 0, 255).astype(np.uint8)


def _filled(rng: Rng, out: Image, shape: Image, shade: float = 0.25) -> None:
    """A polygon in one colour, shaded across it, with a rim at times."""
    mask = np.zeros(out.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.asarray(shape).astype(np.int32)], 255, cv2.LINE_AA)
    h, w = mask.shape
    colour = np.array(_colour(rng))
    light = cv2.resize(rng.uniform(1 - shade, 1 + shade, (3, 3)).astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC)
    if rng.random() < 0.4:
        coarse = float(rng.uniform(1, 25))
        light = light * (1 + rng.uniform(0.02, 0.15) * cv2.resize(soft(rng, 128, coarse, coarse * rng.uniform(0.3, 2)), (w, h)))
    alpha = mask[..., None] / np.float32(255)
    out[:] = np.clip(out * (1 - alpha) + colour * light[..., None] * alpha, 0, 255).astype(np.uint8)
    if rng.random() < 0.35:
        cv2.polylines(out, [np.asarray(shape).astype(np.int32)], True, _colour(rng), int(rng.integers(1, 7)), cv2.LINE_AA)


def _hull(rng: Rng, out: Image) -> None:
    """A bow that tapers away, or a deck's edge, with hatches, a centre line, bungees, a cross seat."""
    h, w = out.shape[:2]
    tip = np.array([rng.normal(0.5, 0.15) * w, rng.uniform(0.25, 0.85) * h])
    blunt, wide, bend = rng.uniform(0, 0.25) * w, rng.uniform(0.15, 0.8) * w, rng.uniform(0.5, 1.8)
    t = np.linspace(0, 1, 16)
    half, y = blunt + (wide - blunt) * t**bend, tip[1] + (h * 1.05 - tip[1]) * t
    middle = tip[0] + (rng.normal(0.5, 0.1) * w - tip[0]) * t
    _filled(rng, out, np.concatenate([np.stack([middle - half, y], -1), np.stack([middle + half, y], -1)[::-1]]))
    if rng.random() < 0.5:
        k = rng.uniform(0.5, 0.92)
        left, right = (np.stack([middle + side * half * k, y + 0.06 * h], -1) for side in (-1, 1))
        _filled(rng, out, np.concatenate([left, right[::-1]]))
    if rng.random() < 0.4:
        line = np.stack([middle, y], -1).astype(np.int32)
        cv2.polylines(out, [line], False, _colour(rng), int(rng.integers(1, 8)), cv2.LINE_AA)
    for _ in range(int(rng.integers(0, 4))):
        k = int(rng.integers(2, 15))
        at = (int(middle[k] + rng.normal(0, 0.3) * half[k]), int(y[k]))
        axes = (int(half[k] * rng.uniform(0.05, 0.5)) + 2, int(h * rng.uniform(0.01, 0.12)) + 2)
        cv2.ellipse(out, at, axes, float(rng.normal(0, 10)), 0, 360, _colour(rng), -1 if rng.random() < 0.7 else 3, cv2.LINE_AA)
    for _ in range(int(rng.integers(0, 4))):
        k, m = (int(v) for v in rng.integers(1, 16, 2))
        p, q = (int(middle[k] - half[k]), int(y[k])), (int(middle[m] + half[m]), int(y[m]))
        cv2.line(out, p, q, _colour(rng), int(rng.integers(1, 6)), cv2.LINE_AA)


def _rails(rng: Rng, out: Image) -> None:
    """Gunwales, rails, a windscreen's frame, a console: long lines and blocks that run out of the picture."""
    h, w = out.shape[:2]
    for _ in range(int(rng.integers(1, 5))):
        p, q = (rng.uniform(-0.2, 1.2, 2) * [w, h] for _ in range(2))
        side = rng.uniform(0.005, 0.12) * h
        n = np.array([-(q - p)[1], (q - p)[0]]) / max(float(np.linalg.norm(q - p)), 1.0)
        far = p + (q - p) * rng.uniform(2, 4)
        start = p - (q - p) * rng.uniform(2, 4)
        _filled(rng, out, np.array([start - n * side, start + n * side, far + n * side, far - n * side]), 0.1)


def _person(rng: Rng, out: Image) -> None:
    """Someone from behind or in front: trunk, head, hat, arms, a vest with straps."""
    h, w = out.shape[:2]
    x, top, size = rng.uniform(0, 1) * w, rng.uniform(-0.1, 0.7) * h, rng.uniform(0.08, 0.6) * h
    wide, low = size * rng.uniform(0.5, 1.1), top + size * rng.uniform(1.5, 3)
    trunk = np.array([[x - wide * 0.3, top], [x + wide * 0.3, top], [x + wide, top + 0.3 * size], [x + wide * 0.9, low],
                      [x - wide * 0.9, low], [x - wide, top + 0.3 * size]])  # fmt: skip
    _filled(rng, out, trunk + rng.normal(0, 0.04 * size, trunk.shape))
    for side in (-1, 1):
        if rng.random() < 0.7:
            elbow = np.array([x + side * wide * rng.uniform(0.9, 1.6), top + size * rng.uniform(0.6, 1.4)])
            wrist = np.array([x + side * wide * rng.uniform(-0.3, 1.9), top + size * rng.uniform(0.3, 1.6)])
            line = np.array([[x + side * wide * 0.9, top + 0.3 * size], elbow, wrist]).astype(np.int32)
            cv2.polylines(out, [line], False, _colour(rng), max(2, int(size * rng.uniform(0.15, 0.35))), cv2.LINE_AA)
            cv2.circle(out, tuple(int(v) for v in line[-1]), max(2, int(size * 0.13)), _colour(rng), -1, cv2.LINE_AA)
    for _ in range(int(rng.integers(0, 4))):
        p, q = ((int(x + rng.uniform(-0.8, 0.8) * wide), int(top + rng.uniform(0.1, 1.5) * size)) for _ in range(2))
        cv2.line(out, p, q, _colour(rng), max(1, int(size * rng.uniform(0.02, 0.15))), cv2.LINE_AA)
    head = (int(x), int(top - 0.25 * size))
    cv2.circle(out, head, max(2, int(0.3 * size)), _colour(rng), -1, cv2.LINE_AA)
    if rng.random() < 0.5:
        brim, axes = (head[0], head[1] - int(0.15 * size)), (int(0.4 * size) + 1, int(0.2 * size) + 1)
        cv2.ellipse(out, brim, axes, 0, 180, 360, _colour(rng), -1)


def _rods(rng: Rng, out: Image) -> None:
    h, w = out.shape[:2]
    for _ in range(int(rng.integers(1, 5))):
        a, b = rng.uniform(-0.1, 1.1, 2) * [w, h * 1.1], rng.uniform(-0.1, 1.1, 2) * [w, 0.8 * h]
        sag = rng.normal(0, 0.06, 2) * h
        t = np.linspace(0, 1, 24)[:, None]
        line = (a + (b - a) * t + sag * np.sin(np.pi * t)).astype(np.int32)
        colour, thick = _colour(rng), float(rng.uniform(1, 8))
        for k in range(23):
            p, q = (tuple(int(v) for v in line[m]) for m in (k, k + 1))
            cv2.line(out, p, q, colour, max(1, int(thick * (1 - k / 24))), cv2.LINE_AA)


def _gear(rng: Rng, out: Image) -> None:
    """Engine, cool box, bucket, buoy, telephone, sounder: compact lumps, some with a lit face or figures."""
    h, w = out.shape[:2]
    for _ in range(int(rng.integers(1, 4))):
        x, y, size = rng.uniform(0, 1) * w, rng.uniform(0.2, 1.1) * h, rng.uniform(0.04, 0.3) * h
        n = int(rng.integers(4, 12))
        a = np.sort(rng.uniform(0, 2 * np.pi, n))
        r = size * rng.uniform(0.7, 1.2, n)
        _filled(rng, out, np.stack([x + r * np.cos(a), y + r * np.sin(a) * rng.uniform(0.6, 1.3)], -1))
        if rng.random() < 0.3:
            figures = ":".join(f"{v:02d}" for v in rng.integers(0, 60, 2))
            foot, thick = (int(x - size * 0.6), int(y)), max(1, int(size / 20))
            cv2.putText(out, figures, foot, cv2.FONT_HERSHEY_SIMPLEX, float(size / 45), _colour(rng), thick, cv2.LINE_AA)


def _held_fish(rng: Rng, out: Image) -> None:
    """A fish in the air or on a line."""
    h, w = out.shape[:2]
    x, y, size = rng.uniform(0.1, 0.9) * w, rng.uniform(0.2, 0.9) * h, rng.uniform(0.08, 0.6) * h
    a = float(rng.uniform(0, 2 * np.pi))
    slim = rng.uniform(0.15, 0.35)
    t = np.linspace(0, 2 * np.pi, 24)
    body = np.stack([np.cos(t), slim * np.sin(t)], -1)
    tail = np.array([[0.85, 0.0], [1.35, slim], [1.25, 0.0], [1.35, -slim]])
    R = size / 1.5 * np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    _filled(rng, out, tail @ R + [x, y])
    _filled(rng, out, body @ R + [x, y], 0.4)


def _arm(rng: Rng, out: Image) -> None:
    """The filming angler's own arm and hand, from below or a side."""
    h, w = out.shape[:2]
    a, b = np.array([rng.uniform(-0.2, 1.2) * w, 1.15 * h]), rng.uniform(0.2, 0.9, 2) * [w, h]
    n = np.array([-(b - a)[1], (b - a)[0]]) / max(float(np.linalg.norm(b - a)), 1.0)
    thick = rng.uniform(0.03, 0.14) * h
    _filled(rng, out, np.array([a - n * thick * 1.3, a + n * thick * 1.3, b + n * thick, b - n * thick]))
    fist, axes = (int(b[0]), int(b[1])), (int(thick * 1.5) + 1, int(thick) + 1)
    cv2.ellipse(out, fist, axes, float(rng.uniform(0, 180)), 0, 360, _colour(rng), -1, cv2.LINE_AA)


def _drop(rng: Rng, out: Image) -> None:
    h, w = out.shape[:2]
    x, y, r = int(rng.uniform(0, w)), int(rng.uniform(0, h)), int(rng.uniform(3, 30))
    mask = np.zeros((h, w), np.float32)
    cv2.circle(mask, (x, y), r, 0.7, -1)
    mask = cv2.GaussianBlur(mask, (0, 0), 2.0)[..., None]
    out[:] = (out * (1 - mask) + np.roll(cv2.GaussianBlur(out, (0, 0), 5.0), r, axis=0) * mask).astype(np.uint8)
