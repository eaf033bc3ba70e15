"""Scenes of each kind: what lies on the board and about it, the light, how the camera moves, and what is to be expected."""
# ruff: noqa: RUF005 - "array + [x, y, z]" adds, it does not join.

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from made_clips.boards import SCALE, Board, draw_board, draw_design, mirrored, relative, worn
from made_clips.camera import Aim, Lens, Pose, handheld
from made_clips.decks import KINDS, SunMap, deck
from made_clips.fish_drawn import FishDesign, LaidFish, draw_fish, lay
from made_clips.render import Light, Sensor, Stage, Top
from made_clips.things import Mesh, box, clutter, hand

Array = NDArray[Any]
FLOOR = -15.0  # mm: the deck under the slab
RATE = 30.0
ORDINARY = ("good_plain", "good_marked", "oblique", "upside_down", "small_fish", "big_fish", "pale_on_pale", "dark_on_dark",
            "board_coloured", "partly_out")  # fmt: skip
HARD = ("hands", "glare", "slime", "low_light_noise", "motion_blur", "far")
GUARD = {"no_fish": "refused", "no_board": "refused", "other_board": "refused", "stop_out_of_sight": "refused",
         "tail_hidden": "refused", "nose_short": "check", "curled": "check", "two_fish": "check"}  # fmt: skip


@dataclass(frozen=True)
class Shot:
    """All a clip is filmed from, and its truth."""

    kind: str
    stage: Stage
    poses: list[Pose]
    sensor: Sensor
    fish: LaidFish | None
    expect: str
    detail: str


def a_set_of_boards(rng: np.random.Generator) -> list[Board]:
    """Five or six boards: two marked, one of them pale, one dark."""
    papers: list[str | None] = [None, "white", "dark", "cream", None, None][: int(rng.integers(5, 7))]
    marked = {0, int(rng.choice([1, 3]))}
    return [draw_board(draw_design(rng, f"board {'abcdef'[i]}", i in marked, p)) for i, p in enumerate(papers)]


def _pick_board(rng: np.random.Generator, kind: str, boards: list[Board]) -> Board:
    wanted = {
        "good_marked": lambda b: bool(b.markers), "good_plain": lambda b: not b.markers, "dark_on_dark": lambda b: b.design.dark,
        "pale_on_pale": lambda b: min(b.design.paper) > 180,
    }.get(kind, lambda b: True)  # fmt: skip
    fit = [b for b in boards if wanted(b)] or boards
    board = fit[rng.integers(len(fit))]
    if kind == "other_board":
        d = board.design
        how = rng.integers(3)
        other = (
            mirrored(d) if how == 0 and not d.markers else relative(d) if how <= 1 else draw_design(rng, "board unknown", False)
        )
        return draw_board(other)
    return board


def _dressed(rng: np.random.Generator, kind: str, board: Board) -> FishDesign:
    d = board.design
    share = {"small_fish": (0.15, 0.3), "big_fish": (0.84, 0.94), "hands": (0.42, 0.9), "two_fish": (0.3, 0.6)}.get(
        kind, (0.28, 0.85)
    )
    length = max(150.0, float(rng.uniform(*share)) * d.length)
    if kind in ("nose_short", "curled"):
        length = min(length, 0.8 * d.length)
    family = {"pale_on_pale": "pale", "dark_on_dark": "dark", "board_coloured": "flush"}.get(kind)
    f = draw_fish(rng, length, family, d.paper)
    f = replace(f, depth=min(f.depth, 1.0 * d.width / length))
    if kind == "curled":
        f = replace(f, bend_deg=float(rng.choice([-1, 1]) * rng.uniform(48, 85)))
    if kind == "nose_short":
        f = replace(f, nose_x=float(rng.uniform(10, 60)))
    return f


def _light(rng: np.random.Generator, kind: str) -> Light:
    up, a = np.radians(rng.uniform(28, 75)), rng.uniform(0, 2 * np.pi)
    toward = np.array([np.cos(up) * np.cos(a), np.cos(up) * np.sin(a), np.sin(up)])
    cloud = rng.uniform(0, 1) if kind != "glare" else 0.1
    warm = np.array([1 - rng.uniform(0, 0.25), 1.0, 1 + rng.uniform(0, 0.1)])
    return Light(
        toward,
        warm * (0.85 - 0.7 * cloud),
        np.array([1.06, 1.0, 0.95]) * (0.32 + 0.45 * cloud),
        0.0,
        float(rng.uniform(0.2, 1.0)),
    )


def _aimed(rng: np.random.Generator, lens: Lens, kind: str, board: tuple[float, float], must: list[Array]) -> Aim:
    """A view that holds the wanted points and the wanted share of the board."""
    L, W = board
    corners = np.array([[0, 0, 0], [L, 0, 0], [L, W, 0], [0, W, 0]], float)
    size = np.array([lens.width, lens.height])
    upright = 90.0 if lens.height > lens.width else 0.0
    best: tuple[float, Aim] | None = None
    for _ in range(60):
        tilt = float(rng.uniform(20, 33)) if kind == "oblique" else float(abs(rng.normal(0, 9)))
        roll = upright + float(rng.normal(0, 16) if rng.random() < 0.85 else rng.uniform(0, 360))
        roll += 180.0 if kind == "upside_down" or rng.random() < 0.35 else 0.0
        target = np.array([L / 2 + rng.normal(0, 0.04) * L, W / 2 + rng.normal(0, 0.15) * W, 0.0])
        fill = float(rng.uniform(0.6, 0.92)) if kind != "partly_out" else float(rng.uniform(0.95, 1.15))
        if kind == "stop_out_of_sight":
            target[0] = L * rng.uniform(0.72, 0.8)
            fill = float(rng.uniform(0.9, 1.2))
        span = float(rng.uniform(0.21, 0.34))
        low, high = 120.0, 4000.0
        toward = float(rng.uniform(0, 360))
        for _ in range(18):
            mid = float(np.sqrt(low * high))
            aim = Aim(target, mid, tilt, toward, roll)
            px, good = lens.project(aim.pose().to_camera(corners))
            if kind == "far":
                big = np.linalg.norm(px[1] - px[0]) / size.max() > span
            elif kind == "stop_out_of_sight":
                big = (np.abs((px[1:3] - size / 2) / (size / 2)).max() > 0.8) or not good.all()
            else:
                big = (np.abs((px - size / 2) / (size / 2)).max() > fill) or not good.all()
            low, high = (mid, high) if big else (low, mid)
        aim = Aim(target, high, tilt, toward, roll)
        height = aim.pose().centre[2]
        seen, good = lens.project(aim.pose().to_camera(np.array(must)))
        inside = bool(good.all()) and bool(((seen > 0.05 * size) & (seen < 0.95 * size)).all())
        cost = max(0.0, 200 - height, (height - 760) if kind != "far" else 0) + (0 if inside else 1e4)
        if best is None or cost < best[0]:
            best = (cost, aim)
        if cost == 0:
            break
    assert best is not None
    return best[1]


def _stained(
    rng: np.random.Generator, picture: NDArray[Any], fish: LaidFish | None, rect: tuple[float, float, float, float]
) -> NDArray[Any]:
    """Slime smears and blood on the board, some of it at the fish's edge."""
    h, w = picture.shape[:2]
    s = w / (rect[2] - rect[0])
    out = picture.astype(np.float32)
    for n in range(int(rng.integers(8, 18))):
        at = rng.uniform(0, 1, 2) * [w, h]
        if fish is not None and n % 2 == 0:
            at = np.array([(rng.uniform(0, fish.total * 1.08) - rect[0]) * s, (rect[3] - fish.axis_y + rng.normal(0, 30)) * s])
        mask = np.zeros((h, w), np.float32)
        for _ in range(int(rng.integers(2, 7))):
            p = at + rng.normal(0, 12, 2) * s
            cv2.ellipse(
                mask,
                (int(p[0]), int(p[1])),
                (int(rng.uniform(3, 22) * s), int(rng.uniform(2, 9) * s)),
                float(rng.uniform(0, 180)),
                0,
                360,
                1.0,
                -1,
                cv2.LINE_AA,
            )
        colour = np.array([(35, 30, 150), (25, 20, 110), (120, 170, 180), (150, 175, 170)][rng.integers(4)], np.float32)
        alpha = cv2.GaussianBlur(mask, (0, 0), 1.0 * s)[..., None] * float(rng.uniform(0.3, 0.85))
        out = out * (1 - alpha) + colour * alpha
    return np.clip(out, 0, 255).astype(np.uint8)


def _bloodied(rng: np.random.Generator, meshes: list[Mesh]) -> list[Mesh]:
    """Drops on the fish itself."""
    out = []
    spots = meshes[0].vertices[rng.integers(len(meshes[0].vertices), size=9)]
    radii = rng.uniform(2, 9, 9)
    for m in meshes:
        near = (np.linalg.norm(m.centres()[:, None, :2] - spots[None, :, :2], axis=-1) < radii).any(axis=1)
        out.append(replace(m, colours=np.where(near[:, None], m.colours * 0.4 + np.array([20.0, 15, 85]), m.colours)))
    return out


def _sensor(rng: np.random.Generator, kind: str) -> Sensor:
    gain = rng.uniform(0.85, 1.25) * np.array([rng.uniform(0.9, 1.1), 1.0, rng.uniform(0.9, 1.1)])
    s = Sensor(
        gain,
        float(rng.uniform(0.75, 1.1)),
        float(rng.uniform(0.03, 0.3)),
        float(rng.uniform(0.4, 0.8)),
        float(rng.uniform(1, 3.5)),
        float(rng.uniform(0.0005, 0.004)),
    )
    if kind == "low_light_noise":
        return replace(
            s,
            gain=gain * rng.uniform(0.28, 0.5),
            noise=float(rng.uniform(7, 13)),
            blur_px=float(rng.uniform(0.7, 1.0)),
            exposure_s=0.012,
        )
    if kind == "motion_blur":
        return replace(s, exposure_s=float(rng.uniform(0.012, 0.025)))
    return s


def shoot(rng: np.random.Generator, kind: str, boards: list[Board], lens: Lens) -> Shot:
    """Draw scenes of the kind until what must be seen is seen, and what must not is not."""
    for _ in range(25):
        shot = _try(rng, kind, boards, lens)
        if _as_wanted(shot):
            return shot
    return shot


def _as_wanted(shot: Shot) -> bool:
    """Whether nose, tip and notch are in sight (or hidden) as the kind asks, in the poses of the clip's later part."""
    later = slice(None, None, 6) if shot.kind == "tail_hidden" else slice(len(shot.poses) // 2, None, 9)
    poses, stage, fish = shot.poses[later], shot.stage, shot.fish
    if shot.kind in ("no_fish", "no_board", "other_board") or fish is None:
        return True
    flags = ["hand", "thing"]
    tip = np.array([any(stage.covered(p, fish.tip, by) for by in flags) for p in poses])
    nose = np.array([any(stage.covered(p, fish.nose, by) for by in flags) for p in poses])
    if shot.kind == "tail_hidden":
        return bool(tip.all()) or "end" in shot.detail
    if shot.kind == "stop_out_of_sight":
        stop = np.array([[0, y, 0] for y in np.linspace(0, 300, 7)], float)
        size = np.array([shot.stage.lens.width, shot.stage.lens.height])
        for p in shot.poses:
            px, good = stage.lens.project(p.to_camera(np.concatenate([stop, fish.nose[None]])))
            if (good & (px > -8).all(axis=1) & (px < size + 8).all(axis=1)).any():
                return False
        return not tip.any()
    notch = np.array([any(stage.covered(p, fish.notch, by) for by in flags) for p in poses])
    return not (tip.any() or nose.any() or notch.any())


def _try(rng: np.random.Generator, kind: str, boards: list[Board], lens: Lens) -> Shot:
    board = _pick_board(rng, kind, boards)
    d = board.design
    light = _light(rng, kind)
    detail = d.name
    plan = _dressed(rng, kind, board)
    hide = str(rng.choice(["hand", "frame", "end"])) if kind == "tail_hidden" else ""
    if hide == "end":
        plan = replace(plan, length=d.length + float(rng.uniform(10, 80)))
    y = d.width * 0.5 + float(rng.normal(0, 0.06)) * d.width
    must = [np.array([0, 0, 0.0]), np.array([0, d.width, 0.0]), np.array([plan.nose_x + plan.length, y, 0.0])]
    if kind == "stop_out_of_sight":
        must = must[2:]
        plan = replace(plan, length=max(plan.length, 0.62 * d.length))
    aim = _aimed(rng, lens, kind, (d.length, d.width), must)
    if hide == "frame":
        way = rng.uniform(0.05, 0.4)
        aim = replace(aim, target=np.array([plan.length * (0.25 - way * 0.5), y, 0.0]), distance=aim.distance * 0.55)
    centre = aim.pose().centre
    if kind == "glare":
        spot = np.array([rng.uniform(0.1, 0.9) * d.length, rng.uniform(0.2, 0.8) * d.width, 0.0])
        v = (centre - spot) / np.linalg.norm(centre - spot)
        light.toward, light.glare = np.array([-v[0], -v[1], max(v[2], 0.35)]), float(rng.uniform(0.8, 1.6))
        light.toward /= np.linalg.norm(light.toward)
        light.sheen = 1.4
    px, _ = lens.project(aim.pose().to_camera(np.array([aim.target, aim.target + [1.0, 0, 0]])))
    samples_per_mm = float(np.clip(2 * np.linalg.norm(px[1] - px[0]), 0.5, 6))
    step = max(5.0 / samples_per_mm, 0.0038 * plan.length)  # at most some 25 000 quads a fish
    fish = None if kind in ("no_fish",) else lay(plan, y, step)
    solids: list[Mesh] = clutter(rng, d.length, d.width, FLOOR, 9 / samples_per_mm) if rng.random() < 0.7 else []
    if fish is not None:
        lying = _bloodied(rng, fish.meshes) if kind == "slime" else fish.meshes
        if kind == "no_board":
            lying = [replace(m, vertices=m.vertices + [0, 0, FLOOR]) for m in lying]
        solids += lying
    if kind == "two_fish":
        mate = replace(
            draw_fish(rng, float(rng.uniform(0.6, 1.05)) * plan.length), nose_x=float(rng.uniform(0, 0.25) * plan.length)
        )
        solids += lay(mate, d.width * (0.12 if y > d.width / 2 else 0.88), step).meshes
    if fish is not None and (kind == "hands" or hide == "hand"):
        wide = float(rng.uniform(75, 95))
        room = fish.fork - 25 - wide * 0.55
        x = float(rng.choice([rng.uniform(0.35, 0.6) * fish.total, room])) if kind == "hands" else fish.tip[0] - 14
        side = 1 if rng.random() < 0.5 else -1
        thick = fish.top if x < 0.6 * fish.total or hide else 0.5 * fish.top
        solids += hand(
            rng,
            min(x, room) if kind == "hands" else x,
            y,
            thick,
            side,
            wide * (1.0 if kind == "hands" else 1.9),
            max(8 / samples_per_mm, 3.0),
        )
    top = None
    if kind != "no_board":
        m = d.margin_mm
        high, wide = (n / SCALE for n in board.picture.shape[:2])
        rect = (-m, -m, wide - m, high - m)  # to the last pixel: an inch board ends between two
        picture = worn(board.picture, rng, float(rng.uniform(0, 1.0)))
        top = Top(_stained(rng, picture, fish, rect) if kind == "slime" else picture, rect)
        shade = np.array(d.slab, float) * 0.8
        cell = 12 / samples_per_mm
        solids += box(
            np.array([-float(rng.uniform(8, 18)), -m, FLOOR]), np.array([0.0, d.width + m, d.stop_height]), shade, "stop", cell
        )
        solids += box(np.array([-m, -m, FLOOR]), np.array([d.length + m, d.width + m, 0.0]), shade, "slab", cell)[:4]
    sun = SunMap(
        rng,
        (d.length / 2, d.width / 2),
        dapple=float(rng.uniform(0.4, 0.9)) if rng.random() < 0.25 else 0.0,
        shadow=bool(rng.random() < 0.35 and kind != "glare"),
    )
    water = np.array([(95, 80, 50), (60, 70, 55), (110, 95, 80)][rng.integers(3)], float)
    ground = deck(rng, str(rng.choice(KINDS)))
    stage = Stage(lens, light, sun, ground, float(rng.uniform(420, 800)), FLOOR, top, solids, rng, samples_per_mm, water)
    seconds = float(rng.uniform(2.0, 2.9))
    lead = float(rng.uniform(0.5, 0.9)) if rng.random() < 0.4 and kind != "stop_out_of_sight" and hide != "frame" else 0.0
    poses = handheld(rng, aim, seconds + lead, RATE, lead, {"motion_blur": 2.6, "far": 0.8}.get(kind, 1.0))
    expect = GUARD.get(kind, "measured")
    sensor = _sensor(rng, kind)
    bright = np.mean(d.paper) * float((light.sky + light.sun * light.toward[2]).mean()) * float(sensor.gain.mean())
    sensor = replace(sensor, gain=sensor.gain * min(1.0, 225 / bright))  # exposed so that most of the board keeps its print
    return Shot(kind, stage, poses, sensor, fish, expect, f"{detail} {hide}".strip())
