"""Small drawn frames with and without a measuring board, to train the glance on (train_glance.py).

Frames are (135, 240, 4) uint8: blue, green, red, and where the board is (255). Boards, fish, hands, decks and light come
from made_clips; here they are varied far beyond what a measuring clip shows, and filmed small. Nothing here imports the product.
"""
# ruff: noqa: RUF005 - "array + [x, y, z]" adds, it does not join.

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from glance_boards import Blank, catalogue_board, odd_board
from glance_outdoors import outdoors
from made_clips import no_board
from made_clips.boards import FONTS, WORDS
from made_clips.camera import Lens, Pose, draw_lens, look
from made_clips.decks import KINDS, TILE, SunMap, deck, soft
from made_clips.fish_drawn import draw_fish, lay
from made_clips.render import Light, Stage, Top
from made_clips.things import Mesh, box, clutter, hand
from numpy.typing import NDArray

Array = NDArray[Any]
Image = NDArray[Any]
Rng = np.random.Generator
WIDTH, HEIGHT = 240, 135
FLOOR = -15.0


@dataclass(frozen=True)
class Frame:
    """A picture with the board's place as fourth channel, what it shows, and the board's span (share of the picture's width)."""

    pixels: Image
    kind: str
    span: float


# ---- what lies about, the light, the view


def any_ground(rng: Rng) -> Image:
    """A deck of made_clips, or a tile of clouds, stripes, bricks or plain colour."""
    how = rng.random()
    if how < 0.6:
        return deck(rng, str(rng.choice(KINDS)))
    tone = rng.uniform(15, 235, 3) * np.ones((TILE, TILE, 1))
    if how < 0.75:
        coarse = float(np.exp(rng.uniform(0, 4)))
        texture = rng.uniform(0.05, 0.35) * soft(rng, TILE, coarse, coarse * float(rng.uniform(0.2, 1)))
        texture += rng.uniform(0, 0.15) * soft(rng, TILE, 1.0)
        tone = tone * (1 + texture)[..., None]
    elif how < 0.9:
        n = int(rng.integers(2, 40))
        wave = (np.arange(TILE) * n / TILE) % 1 < rng.uniform(0.05, 0.95)
        other = rng.uniform(15, 235, 3) if rng.random() < 0.5 else tone[0, 0] * rng.uniform(0.6, 1.4)
        tone = np.where((wave[:, None] if rng.random() < 0.5 else wave[None])[..., None], tone, other)
        tone = tone * (1 + 0.06 * soft(rng, TILE, 3))[..., None]
    return np.clip(tone, 0, 255).astype(np.uint8)


def any_light(rng: Rng) -> Light:
    up, a = np.radians(rng.uniform(20, 80)), rng.uniform(0, 2 * np.pi)
    toward = np.array([np.cos(up) * np.cos(a), np.cos(up) * np.sin(a), np.sin(up)])
    cloud, warm = rng.uniform(0, 1), np.array([1 - rng.uniform(0, 0.3), 1.0, 1 + rng.uniform(0, 0.15)])
    glare = float(rng.uniform(0.5, 1.6)) if rng.random() < 0.25 else 0.0
    sky = np.array([1.06, 1.0, 0.95]) * (0.32 + 0.45 * cloud)
    return Light(toward, warm * (0.85 - 0.7 * cloud), sky, glare, float(rng.uniform(0.2, 1.2)))


def any_lens(rng: Rng) -> Lens:
    size = [(320, 180), (320, 180), (320, 240), (300, 150)][rng.integers(4)]
    fisheye = bool(rng.random() < 0.5)
    return draw_lens(rng, "any", size, float(rng.uniform(80, 128) if fisheye else rng.uniform(35, 104)), fisheye)


def any_pose(rng: Rng, lens: Lens, length: float, width: float) -> Pose:
    """A view in which the board spans 15..115 % of the picture's longer side, whole or cut by its edge."""
    span = float(np.exp(rng.uniform(np.log(0.17), np.log(1.15))))
    tilt = float(min(abs(rng.normal(0, 14)), 58) if rng.random() < 0.8 else rng.uniform(0, 58))
    toward = float(rng.uniform(0, 360))
    roll = float(rng.choice([0, 180]) + rng.normal(0, 18) if rng.random() < 0.5 else rng.uniform(0, 360))
    off = 0.12 if rng.random() < 0.5 else 0.45
    target = np.array([length * (0.5 + rng.normal(0, off)), width * (0.5 + rng.normal(0, 2 * off)), 0.0])
    ends = np.array([[0, width / 2, 0], [length, width / 2, 0]])
    low, high = 90.0, 6000.0
    for _ in range(14):
        mid = float(np.sqrt(low * high))
        px, good = lens.project(look(target, mid, tilt, toward, roll).to_camera(ends))
        big = not good.all() or np.linalg.norm(px[1] - px[0]) / lens.width > span
        low, high = (mid, high) if big else (low, mid)
    return look(target, high, tilt, toward, roll)


def seen_share(lens: Lens, pose: Pose, length: float, width: float) -> tuple[Image, float, float]:
    """The board's mask in the frame, the share of it in sight, and its span as a share of the picture's width."""
    x, y = np.meshgrid(np.linspace(0, length, 33), np.linspace(0, width, 9))
    px, good = lens.project(pose.to_camera(np.stack([x.ravel(), y.ravel(), 0 * x.ravel()], -1)))
    inside = good & (px > 0).all(axis=1) & (px < [lens.width, lens.height]).all(axis=1)
    mask = np.zeros((lens.height, lens.width), np.uint8)
    grid, fine = px.reshape(9, 33, 2), good.reshape(9, 33)
    for i in range(8):
        for j in range(32):
            if fine[i : i + 2, j : j + 2].all():
                cell = np.array([grid[i, j], grid[i, j + 1], grid[i + 1, j + 1], grid[i + 1, j]])
                cv2.fillConvexPoly(mask, np.round(cell).astype(np.int32), 255)
    ends = px.reshape(9, 33, 2)[4, [0, -1]]
    return mask, float(inside.mean()), float(np.linalg.norm(ends[1] - ends[0]) / lens.width)


def deck_frames(rng: Rng, blank: Blank | None, lenses: list[Lens], count: int) -> list[Frame]:
    """One scene on a deck, lit once, filmed through several lenses from several sides."""
    length, width = (blank.length, blank.width) if blank else (float(rng.uniform(400, 1100)), float(rng.uniform(100, 300)))
    step = 9.0
    solids: list[Mesh] = clutter(rng, length, width, FLOOR, 14) if rng.random() < 0.7 else []
    for _ in range(int(rng.choice([0, 1, 1, 1, 2, 3]))):
        plan = draw_fish(rng, max(130.0, float(rng.uniform(0.15, 1.05)) * length), None, None)
        plan = replace(plan, nose_x=float(rng.choice([0, rng.uniform(0, 0.3) * length])), bend_deg=float(rng.normal(0, 12)))
        plan = replace(plan, depth=min(plan.depth, 1.2 * width / plan.length))
        lying = lay(plan, width * float(rng.normal(0.5, 0.2)), step).meshes
        solids += lying if blank else [replace(m, vertices=m.vertices + [0, 0, FLOOR]) for m in lying]
    for _ in range(int(rng.choice([0, 0, 0, 1, 1, 2]))):
        at = (float(rng.uniform(0, 1)) * length, width * float(rng.normal(0.5, 0.25)))
        solids += hand(rng, *at, float(rng.uniform(5, 60)), int(rng.choice([-1, 1])), float(rng.uniform(70, 120)), 10.0)
    top = None
    if blank:
        top = Top(blank.picture, (0.0, 0.0, length, width))
        shade = np.array(blank.slab) * 0.8
        solids += box(np.array([0.0, 0.0, FLOOR]), np.array([length, width, 0.0]), shade, "slab", 60.0)[:4]
        if rng.random() < 0.75:
            stop = np.array([0.0, width, float(rng.uniform(8, 50))])
            solids += box(np.array([-float(rng.uniform(4, 25)), 0.0, FLOOR]), stop, shade, "stop", 30.0)
    dapple = float(rng.uniform(0.4, 0.95)) if rng.random() < 0.3 else 0.0
    sun = SunMap(rng, (length / 2, width / 2), dapple=dapple, shadow=bool(rng.random() < 0.35))
    water = np.array([(95, 80, 50), (60, 70, 55), (110, 95, 80)][rng.integers(3)], float)
    light, mm = any_light(rng), float(rng.uniform(420, 1500))
    stage = Stage(lenses[0], light, sun, any_ground(rng), mm, FLOOR, top, solids, rng, 0.8, water)
    out = []
    for _ in range(count * 3):
        stage.lens = lenses[rng.integers(len(lenses))]
        pose = any_pose(rng, stage.lens, length, width)
        mask, share, span = seen_share(stage.lens, pose, length, width)
        if pose.centre[2] < 60 or (blank and (share < 0.5 or span < 0.18)):
            continue
        image = cv2.resize(stage.frame(pose), (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA)
        where = cv2.resize(mask, (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA) if blank else np.zeros((HEIGHT, WIDTH), np.uint8)
        out.append(Frame(np.dstack([image, where]), blank.look if blank else "bare deck", span if blank else 0.0))
        if len(out) == count:
            break
    return out


# ---- frames that are no decks


def textures(rng: Rng, w: int, h: int) -> Image:
    """Layers of clouds, stripes, blinds, fences, house fronts, words: anything but a board."""
    tone = rng.uniform(10, 245, 3)
    coarse = float(np.exp(rng.uniform(0, 4)))
    clouds = cv2.resize(soft(rng, 256, coarse, coarse * float(rng.uniform(0.15, 1))), (w, h))
    out = tone * (1 + rng.uniform(0, 0.4) * clouds)[..., None]
    for _ in range(int(rng.integers(0, 4))):
        n, duty, phase = float(np.exp(rng.uniform(0.7, 4))), rng.uniform(0.05, 0.95), rng.uniform()
        a = rng.uniform(0, np.pi) if rng.random() < 0.5 else rng.choice([0, np.pi / 2]) + rng.normal(0, 0.05)
        x, y = np.meshgrid(np.arange(w) / w, np.arange(h) / w)
        u = (x * np.cos(a) + y * np.sin(a)) * n * (1 + rng.uniform(0, 0.8) * y) + phase
        on = (u % 1 < duty) & (y > rng.uniform(-0.5, 0.5)) & (x > rng.uniform(-1, 0.6))
        if rng.random() < 0.4:  # windows, bricks, tiles
            v = (-x * np.sin(a) + y * np.cos(a)) * n * rng.uniform(0.3, 3) + rng.uniform()
            on &= v % 1 < rng.uniform(0.2, 0.9)
        out = np.where(on[..., None], out * rng.uniform(0, 0.6) + rng.uniform(0, 1) * rng.uniform(10, 245, 3), out)
    out = np.clip(out, 0, 255).astype(np.uint8)
    for _ in range(int(rng.integers(0, 4)) if rng.random() < 0.5 else 0):
        time = ":".join(f"{n:02d}" for n in rng.integers(0, [24, 60, 60]))
        words = str(rng.choice(WORDS)) if rng.random() < 0.5 else time
        place, size = (int(rng.uniform(-0.1, 0.7) * w), int(rng.uniform(0.1, 1) * h)), float(rng.uniform(0.4, 4))
        font, colour = int(FONTS[rng.integers(4)]), tuple(rng.uniform(0, 255, 3))
        cv2.putText(out, words, place, font, size, colour, max(1, int(size * 2)), cv2.LINE_AA)
    return out


def bow(rng: Rng, w: int, h: int) -> Image:
    """A hull, a rail or a cockpit's edge before the water; a window, a seat, a bag as blocks."""
    out = np.ascontiguousarray(no_board.water(rng, w, h))
    for _ in range(int(rng.integers(1, 5))):
        colour = tuple(float(v) for v in rng.uniform(15, 240, 3))
        middle, n = rng.uniform(0, 1, 2) * [w, h] + [0, 0.35 * h], int(rng.integers(3, 8))
        a = np.sort(rng.uniform(0, 2 * np.pi, n))
        reach = rng.uniform(0.1, 0.6, n) * w
        shape = middle + np.stack([np.cos(a) * reach, np.sin(a) * reach * rng.uniform(0.3, 1)], -1)
        cv2.fillPoly(out, [shape.astype(np.int32)], colour, cv2.LINE_AA)
        if rng.random() < 0.5:
            rim = tuple(float(v) for v in rng.uniform(15, 240, 3))
            cv2.polylines(out, [shape.astype(np.int32)], True, rim, int(rng.integers(1, 9)), cv2.LINE_AA)
    for _ in range(int(rng.integers(0, 6))):
        p, q = (tuple(int(v) for v in rng.uniform(-0.1, 1.1, 2) * [w, h]) for _ in range(2))
        cv2.line(out, p, q, tuple(float(v) for v in rng.uniform(15, 240, 3)), int(rng.integers(1, 14)), cv2.LINE_AA)
    return out


SCENES = (no_board.water, no_board.water, no_board.torso, no_board.screen, no_board.tackle_box, no_board.rod_and_net,
          textures, textures, bow, bow)  # fmt: skip


def other_frame(rng: Rng) -> Frame:
    """A frame of anything but a deck or a board."""
    scene = SCENES[rng.integers(len(SCENES))]
    w, h = [(480, 270), (480, 270), (360, 202), (480, 360), (270, 480)][rng.integers(5)]
    image = np.asarray(scene(rng, w, h))
    if h > w:
        image = np.rot90(image)
    image = cv2.resize(image, (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA)
    return Frame(np.dstack([image, np.zeros((HEIGHT, WIDTH), np.uint8)]), scene.__name__, 0.0)


def outdoor_frame(rng: Rng) -> Frame:
    """A frame of the day's other hours."""
    w, h = [(360, 202), (360, 202), (320, 240)][rng.integers(3)]
    image = cv2.resize(outdoors(rng, w, h), (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA)
    return Frame(np.dstack([image, np.zeros((HEIGHT, WIDTH), np.uint8)]), "outdoors", 0.0)


def some_frames(seed: int, scenes: int) -> list[Frame]:
    """Frames of ``scenes`` boards (5 of each), and more without: bare decks, anything indoors and out."""
    cv2.setNumThreads(1)
    rng = np.random.default_rng([seed, 90])
    out: list[Frame] = []
    lenses = [any_lens(rng) for _ in range(6)]
    for n in range(scenes):
        if n % 10 == 9:
            lenses = [any_lens(rng) for _ in range(6)]
        blank = catalogue_board(rng) if rng.random() < 0.5 else odd_board(rng)
        out += deck_frames(rng, blank, lenses, 5)
        if n % 3 == 0:
            out += deck_frames(rng, None, lenses, 5)
        out += [other_frame(rng) for _ in range(4)]
    return out + outdoor_frames(seed, 4 * scenes)


def outdoor_frames(seed: int, count: int) -> list[Frame]:
    rng = np.random.default_rng([seed, 94])
    return [outdoor_frame(rng) for _ in range(count)]
