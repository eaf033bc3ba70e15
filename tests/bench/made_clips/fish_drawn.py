"""Fish as solids that lie on their side: stacked elliptical sections, fins and a tail of thin sheets, and their lengths.

The fish is drawn in its own axes (X from the nose along the axis, Y toward the back, z up from the board), its axis is
bent and turned, and it is then moved so that its foremost point has the wanted x. The lengths are read off the vertices.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from made_clips.things import Mesh, grid_mesh

Array = NDArray[Any]
TAILS = ("forked", "emarginate", "truncate", "rounded")
FAMILIES = ("silver", "bars", "spots", "pale", "dark", "flush", "striped")


@dataclass(frozen=True)
class FishDesign:
    """Shape (ratios to the length along its axis) and dress."""

    length: float
    depth: float
    thickness: float
    deepest: float
    tail: str
    fork: float
    lobe_ratio: float
    family: str
    back: tuple[float, float, float]
    belly: tuple[float, float, float]
    seed: int
    bend_deg: float = 2.0
    yaw_deg: float = 0.0
    back_up: bool = True
    nose_x: float = 0.0


@dataclass(frozen=True)
class LaidFish:
    """A fish on the board: its meshes, and what is true of it (mm, board axes)."""

    meshes: list[Mesh]
    total: float
    fork: float
    nose: Array
    tip: Array
    notch: Array
    top: float
    axis_y: float


def draw_fish(
    rng: np.random.Generator, length: float, family: str | None = None, board_colour: tuple[float, ...] | None = None
) -> FishDesign:
    family = family or str(rng.choice(FAMILIES[:5]))
    backs = {
        "silver": [(95, 85, 60), (120, 105, 80)], "bars": [(50, 90, 80), (45, 75, 95)], "spots": [(50, 85, 110), (60, 100, 100)],
        "pale": [(190, 200, 205), (165, 190, 200)], "dark": [(40, 42, 45), (35, 45, 52)], "striped": [(110, 100, 70)],
        "flush": [(0, 0, 0)],
    }  # fmt: skip
    back = np.array(backs[family][rng.integers(len(backs[family]))], float) + rng.normal(0, 8, 3)
    belly = {"dark": back * 1.25 + 8, "pale": back * 1.1}.get(family, np.array([205.0, 212, 215]) + rng.normal(0, 12, 3))
    if family == "flush" and board_colour is not None:
        back = np.array(board_colour) * rng.uniform(0.82, 0.95) + rng.normal(0, 5, 3)
        belly = np.array(board_colour) * rng.uniform(0.97, 1.06)
    tail = str(rng.choice(TAILS, p=[0.5, 0.2, 0.15, 0.15]))
    fork = {
        "forked": rng.uniform(0.05, 0.11),
        "emarginate": rng.uniform(0.012, 0.03),
        "truncate": 0.004,
        "rounded": -rng.uniform(0.02, 0.04),
    }[tail]
    return FishDesign(
        length, float(rng.uniform(0.17, 0.33)), float(rng.uniform(0.10, 0.155)), float(rng.uniform(0.33, 0.45)), tail,
        float(fork), float(rng.uniform(0.9, 1.1)), family, tuple(np.clip(back, 8, 240)), tuple(np.clip(belly, 8, 245)),
        int(rng.integers(1 << 31)),
        float(rng.normal(0, 3)), float(rng.normal(0, 1.2)), bool(rng.random() < 0.5),
    )  # fmt: skip


def _place(d: FishDesign, points: Array) -> Array:
    """Bend the axis along an arc behind the head, turn it; points (..., 3) of X, Y, z."""
    X, Y, z = points[..., 0], points[..., 1] * (1 if d.back_up else -1), points[..., 2]
    grid = np.linspace(0, 1.2 * d.length, 600)
    share = np.clip((grid / d.length - 0.28) / 0.72, 0, None)
    angle = np.radians(d.bend_deg) * share + np.radians(d.yaw_deg)
    step = grid[1]
    cx = np.concatenate([[0], np.cumsum(step * np.cos(0.5 * (angle[1:] + angle[:-1])))])
    cy = np.concatenate([[0], np.cumsum(step * np.sin(0.5 * (angle[1:] + angle[:-1])))])
    a = np.interp(X, grid, angle)
    before = np.minimum(X, 0.0)
    x = np.interp(X, grid, cx) + before * np.cos(a) - Y * np.sin(a)
    y = np.interp(X, grid, cy) + before * np.sin(a) + Y * np.cos(a)
    return np.stack([x, y, z], -1)


def _chaikin(points: Array, rounds: int) -> Array:
    """Corner cutting of an open polygon."""
    for _ in range(rounds):
        a, b = points[:-1], points[1:]
        cut = np.stack([0.75 * a + 0.25 * b, 0.25 * a + 0.75 * b], 1).reshape(-1, 2)
        points = np.concatenate([points[:1], cut, points[-1:]])
    return points


def _resample(line: Array, step: float) -> Array:
    reach = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    t = np.linspace(0, reach[-1], max(40, int(reach[-1] / step)))
    return np.stack([np.interp(t, reach, line[:, k]) for k in range(2)], -1)


def tail_outline(d: FishDesign, base_x: float, half_base: float, step: float) -> Array:
    """The tail's edge from its upper root round both lobes to its lower root; lobes end round, no needle (X, Y)."""
    L = d.length
    high = L * min(0.15, 0.55 * d.depth + 0.02)
    low = high * d.lobe_ratio
    blunt = max(2.5, 0.011 * L)
    ends = {"forked": (L, L - (1 - min(d.lobe_ratio, 1 / d.lobe_ratio)) * 0.12 * L)}.get(d.tail, (L, L))
    up, down = ends if d.lobe_ratio < 1 else ends[::-1]
    notch = L - d.fork * L
    if d.tail == "rounded":
        up = down = L + d.fork * L
        notch = L
    control = [
        (base_x, half_base), (0.55 * base_x + 0.45 * up, half_base + 0.42 * (high - half_base)), (up - blunt, high),
        (up, high - blunt * 0.6), (up, high - blunt * 1.8), (0.45 * up + 0.55 * notch, 0.42 * high), (notch, 0.12 * high),
        (notch, 0.0), (notch, -0.12 * low),
        (0.45 * down + 0.55 * notch, -0.42 * low), (down, -low + blunt * 1.8), (down, -low + blunt * 0.6),
        (down - blunt, -low), (0.55 * base_x + 0.45 * down, -half_base - 0.42 * (low - half_base)), (base_x, -half_base),
    ]  # fmt: skip
    line = _chaikin(np.array(control, float), 5)
    line[:, 0] = base_x + (line[:, 0] - base_x) * (L - base_x) / (line[:, 0].max() - base_x)
    return _resample(line, step)


def _dress(d: FishDesign, s: Array, up: Array, rng: np.random.Generator) -> Array:
    """Colours (n, m, 3): s along the body 0..1, up -1 (belly) .. 1 (back)."""
    ramp = np.clip(0.5 + up * 1.1 + 0.08 * np.sin(9 * s + 1), 0, 1)[..., None]
    colour = np.array(d.belly) * (1 - ramp) + np.array(d.back) * ramp
    dark = np.array(d.back) * 0.45
    amount = np.zeros_like(s)
    if d.family == "bars":
        wave = np.sin(2 * np.pi * (s * rng.uniform(6, 9) + 0.06 * np.sin(6 * up)))
        amount = np.clip(wave * 1.8 - 0.4, 0, 1) * np.clip(up + 0.55, 0, 1)
    elif d.family == "spots":
        for _ in range(90):
            cs, cu, r = rng.uniform(0.15, 0.98), rng.uniform(-0.2, 1.0), rng.uniform(0.006, 0.013)
            amount = np.maximum(amount, ((s - cs) ** 2 + ((up - cu) * d.depth * 0.45) ** 2 < r * r) * 0.85)
    elif d.family == "striped":
        amount = (np.sin(up * 26) > 0.45) * (s > 0.22) * 0.7
    if d.family in ("silver", "bars", "striped"):
        amount = np.maximum(amount, 0.35 * np.exp(-(((up - 0.12 - 0.1 * (1 - s)) / 0.04) ** 2)) * (s > 0.24))
    colour = colour * (1 - amount[..., None]) + dark * amount[..., None]
    colour *= (1 + rng.normal(0, 0.05, s.shape) + 0.05 * np.sin(s * 300) * np.sin(up * 40) * (s > 0.24))[..., None]
    gill = np.exp(-(((s - 0.225 + 0.03 * up**2) / 0.0045) ** 2))[..., None] * (np.abs(up) < 0.75)[..., None]
    colour *= 1 - 0.5 * gill
    eye = np.hypot(s - 0.095, (up - 0.3) * 0.07) / 0.017
    colour = np.where((eye < 1)[..., None], np.array([120.0, 190, 200]), colour)
    colour = np.where((eye < 0.62)[..., None], np.array([15.0, 15, 15]), colour)
    mouth = (s < 0.06) & (np.abs(up + 0.25) < 0.09)
    return np.where(mouth[..., None], colour * 0.5, colour)


def _sheet(root: Array, edge: Array, z_root: Array, z_edge: Array, step: float) -> Array:
    """(n, m, 3) grid from root points to edge points (both (n, 2))."""
    span = np.linalg.norm(edge - root, axis=1).max()
    t = np.linspace(0, 1, max(4, int(span / (1.5 * step))))[None, :, None]
    flat = root[:, None] * (1 - t) + edge[:, None] * t
    z = z_root[:, None] * (1 - t[..., 0]) ** 1.6 + z_edge[:, None] * (1 - (1 - t[..., 0]) ** 1.6)
    return np.concatenate([flat, z[..., None]], -1)


def lay(d: FishDesign, y: float, step: float) -> LaidFish:
    """The fish on the board, its axis's start at that y. ``step``: size of a quad, mm."""
    rng = np.random.default_rng(d.seed)
    L, base_x = d.length, d.length * rng.uniform(0.80, 0.85)
    half_depth, half_thick = 0.5 * d.depth * L, 0.5 * d.thickness * L
    peduncle = rng.uniform(0.26, 0.36)
    power = rng.uniform(0.6, 0.78)

    def swell(s: Array, peak: float, end: float, e: float) -> Array:
        rise = np.sin(np.pi / 2 * np.clip(s / peak, 0, 1) ** e)
        fall = end + (1 - end) * (0.5 + 0.5 * np.cos(np.pi * np.clip((s - peak) / (1 - peak), 0, 1) ** 0.9))
        return np.where(s < peak, rise, fall)

    n, m = max(60, int(base_x / step)), max(20, int(np.pi * half_depth / step))
    s = np.linspace(0, 1, n) ** 1.25
    thick = half_thick * swell(s, 0.33, rng.uniform(0.10, 0.2), power)
    head = np.interp(0.2, s, thick)
    nose_z = head * rng.uniform(0.6, 0.95)
    rest = np.maximum(thick * 0.97, 0.8)
    w = np.clip((s - 0.04) / 0.24, 0, 1)
    w = w * w * (3 - 2 * w)
    c = (1 - w) * np.maximum(nose_z + (head - nose_z) * s / 0.2, rest) + w * rest
    a = np.linspace(-np.pi / 3, np.pi * 4 / 3, m)
    back, belly = (
        half_depth * swell(s, d.deepest, peduncle, power),
        half_depth * swell(s, d.deepest + 0.03, peduncle, power * 1.05),
    )
    up = np.cos(a)[None, :]
    grid = np.stack(
        [
            np.repeat((s * base_x)[:, None], m, 1),
            np.where(up > 0, back[:, None], belly[:, None]) * up,
            np.maximum(c[:, None] + thick[:, None] * np.sin(a)[None], 0.2),
        ],
        -1,
    )
    ss, uu = np.broadcast_arrays(0.5 * (s[1:] + s[:-1])[:, None], 0.5 * (up[:, 1:] + up[:, :-1]))
    colours = _dress(d, ss, uu, rng)
    inside = np.stack(
        [
            np.repeat((ss[:, :1] * base_x), m - 1, 1),
            np.zeros((n - 1, m - 1)),
            np.repeat(0.5 * (c[1:] + c[:-1])[:, None], m - 1, 1),
        ],
        -1,
    )
    sheets = _fins(d, rng, s, base_x, back, belly, c, thick, step)
    root_x = base_x * 0.985
    outline = tail_outline(d, root_x, 0.93 * half_depth * peduncle, step)
    reach = outline[:, 1] / np.where(outline[:, 1] > 0, outline[:, 1].max(), -outline[:, 1].min())
    root = np.stack([np.full(len(outline), root_x), 0.93 * half_depth * peduncle * reach], -1)
    z_tip, wave = rng.uniform(1, 4), rng.uniform(0, 6)
    z_edge = np.maximum(z_tip + 0.5 * np.sin(outline[:, 1] / L * 25 + wave), 0.8)
    z_root = np.full(len(outline), max(c[-1], z_tip))
    tail = _sheet(root, outline, z_root, z_edge, step)
    rays = 0.82 + 0.16 * np.sin(reach * 38)[:-1, None, None] + rng.normal(0, 0.02, (len(outline) - 1, 1, 1))
    fin = np.array(d.back) * rng.uniform(0.75, 1.1) + (rng.uniform(0, 40, 3) if d.family in ("bars", "spots") else 0)
    raw = [(grid, colours, 0.8, inside)] + [(g, col, 0.35, None) for g, col in sheets]
    raw.append((tail, np.broadcast_to(fin * rays, (*tail[:-1, :-1].shape[:2], 3)), 0.35, None))
    placed = [(_place(d, g), col, shine, None if i is None else _place(d, i)) for g, col, shine, i in raw]
    shift = np.array([d.nose_x - min(float(p[0][..., 0].min()) for p in placed), y, 0.0])
    meshes = [
        grid_mesh(p + shift, np.clip(col, 0, 255), shine, "fish", outward_from=None if i is None else i.reshape(-1, 3) + shift)
        for p, col, shine, i in placed
    ]
    edge = placed[-1][0][:, -1] + shift
    body = placed[0][0].reshape(-1, 3) + shift
    nose, tip = body[np.argmin(body[:, 0])], edge[np.argmax(edge[:, 0])]
    if d.tail == "rounded":
        notch = tip
    else:
        trailing = np.abs(outline[:, 1]) < 0.25 * outline[:, 1].max()
        trailing &= outline[:, 0] > root_x + 0.3 * (L - root_x)
        notch = (
            edge[trailing][np.argmin(edge[trailing][:, 0])]
            if d.tail in ("forked", "emarginate")
            else edge[np.argmin(np.abs(outline[:, 1]) + 1e3 * ~trailing)]
        )
    return LaidFish(meshes, float(tip[0] - nose[0]), float(notch[0] - nose[0]), nose, tip, notch, float(body[:, 2].max()), y)


def _fins(
    d: FishDesign,
    rng: np.random.Generator,
    s: Array,
    base_x: float,
    back: Array,
    belly: Array,
    c: Array,
    thick: Array,
    step: float,
) -> list[tuple[Array, Array]]:
    """Dorsal, anal and pectoral fins as sheets and their colours."""
    out = []
    tone = np.array(d.back) * rng.uniform(0.7, 1.15)
    tall = d.depth * d.length * rng.uniform(0.12, 0.28)
    for first, last, sign in (
        (rng.uniform(0.32, 0.42), rng.uniform(0.62, 0.85), 1),
        (rng.uniform(0.6, 0.68), rng.uniform(0.8, 0.9), -1),
    ):
        t = np.linspace(0, 1, max(24, int((last - first) * base_x / step)))
        at = first + (last - first) * t
        half = np.interp(at, s, back if sign > 0 else belly)
        height = tall * (np.minimum(t * 7, 1)) * (1 - 0.75 * t) * (1 + 0.1 * np.abs(np.sin(t * 30)) * (sign > 0))
        root = np.stack([at * base_x, sign * half * 0.96], -1)
        edge = np.stack([np.minimum(at * base_x + height * 0.5, 0.97 * base_x), sign * (half + height)], -1)
        zc = np.interp(at, s, c)
        g = _sheet(root, edge, zc, np.minimum(zc, rng.uniform(1.5, 5)), step)
        stripe = 0.85 + 0.15 * np.sin(np.arange(len(t) - 1) * 1.9)
        out.append((g, np.broadcast_to(tone * stripe[:, None, None], (*g[:-1, :-1].shape[:2], 3))))
    t = np.linspace(-1, 1, max(14, int(0.1 * d.length / step)))
    long = 0.13 * d.length * (1 - 0.35 * t**2)
    root = np.stack([np.full(len(t), 0.26 * base_x), 0.02 * d.length * t - 0.25 * belly.max()], -1)
    edge = root + np.stack([long, 0.035 * d.length * t - 0.02 * d.length], -1)

    def on(p: Array) -> Array:
        """The height of the flank under points (X, Y)."""
        at = p[:, 0] / base_x
        wide = np.interp(at, s, belly)
        return np.interp(at, s, c) + np.interp(at, s, thick) * np.sqrt(np.maximum(1 - (p[:, 1] / wide) ** 2, 0))

    g = _sheet(root, edge, on(root) + 1.0, on(edge) + 2.5, step)
    out.append((g, np.broadcast_to(tone * 0.9, (*g[:-1, :-1].shape[:2], 3))))
    return out
