"""Solids as meshes of small quads: boxes, tubes along a line, hands. Millimetres, world axes."""
# ruff: noqa: RUF005 - "array + [x, y, z]" adds, it does not join.

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]


@dataclass(frozen=True)
class Mesh:
    """Quads over vertices; colours blue, green, red 0..255 before light; shine 0..1; a tag says what a quad belongs to."""

    vertices: Array  # (v, 3)
    quads: NDArray[np.int64]  # (q, 4)
    normals: Array  # (q, 3), outward
    colours: Array  # (q, 3)
    shine: Array  # (q,)
    tag: str

    def centres(self) -> Array:
        return self.vertices[self.quads].mean(axis=1)


def grid_mesh(points: Array, colours: Array, shine: float, tag: str, *, outward_from: Array | None = None) -> Mesh:
    """A mesh of an (n, m, 3) grid of points. colours: (n-1, m-1, 3) or one. Normals point away from ``outward_from`` (or up)."""
    n, m = points.shape[:2]
    at = np.arange(n * m).reshape(n, m)
    quads = np.stack([at[:-1, :-1], at[1:, :-1], at[1:, 1:], at[:-1, 1:]], -1).reshape(-1, 4)
    flat = points.reshape(-1, 3)
    p = flat[quads]
    normals = np.cross(p[:, 2] - p[:, 0], p[:, 3] - p[:, 1])
    normals /= np.maximum(np.linalg.norm(normals, axis=1), 1e-9)[:, None]
    out = np.array([0.0, 0.0, 1.0]) if outward_from is None else p.mean(axis=1) - outward_from
    normals *= np.where(np.sum(normals * out, axis=1) < 0, -1.0, 1.0)[:, None]
    colours = np.broadcast_to(np.asarray(colours, float), (n - 1, m - 1, 3)).reshape(-1, 3)
    return Mesh(flat, quads, normals, colours, np.full(len(quads), shine), tag)


def tube(spine: Array, radii: Array, colour: Array, shine: float, tag: str, step: float, *, flatten: float = 1.0) -> Mesh:
    """A tube around (n, 3) points with (n,) radii; ``flatten`` < 1 squeezes it along z."""
    reach = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(spine, axis=0), axis=1))])
    n = max(6, int(reach[-1] / step))
    t = np.linspace(0, reach[-1], n)
    line = np.stack([np.interp(t, reach, spine[:, k]) for k in range(3)], -1)
    r = np.interp(t, reach, radii)
    along = np.gradient(line, axis=0)
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-9)[:, None]
    helper = np.where(np.abs(along[:, 2:3]) > 0.9, [1.0, 0.0, 0.0], [0.0, 0.0, 1.0])
    u = np.cross(along, helper)
    u /= np.linalg.norm(u, axis=1)[:, None]
    v = np.cross(u, along)
    m = max(8, int(2 * np.pi * r.max() / step))
    a = np.linspace(0, 2 * np.pi, m + 1)
    points = line[:, None] + r[:, None, None] * (
        np.cos(a)[None, :, None] * u[:, None] + flatten * np.sin(a)[None, :, None] * v[:, None]
    )
    middle = 0.5 * (line[:-1] + line[1:])
    inside = np.repeat(middle[:, None], m, axis=1).reshape(-1, 3)
    return grid_mesh(points, colour, shine, tag, outward_from=inside)


def bulge(n: int = 24, blunt: float = 0.5) -> Array:
    """Radii 0..1..0 along a closed lump."""
    t = np.linspace(0, 1, n)
    return np.maximum(1 - np.abs(2 * t - 1) ** 2.4, 0) ** blunt


def box(low: Array, high: Array, colour: Array, tag: str, step: float, shine: float = 0.15) -> list[Mesh]:
    """The five faces of a box that can be seen from above."""
    size, middle = high - low, (low + high) / 2
    n = [max(1, int(np.ceil(s / step))) for s in size]
    x, y, z = (np.linspace(low[k], high[k], n[k] + 1) for k in range(3))
    faces = []
    for yy in (low[1], high[1]):
        a, b = np.meshgrid(x, z, indexing="ij")
        faces.append(np.stack([a, np.full_like(a, yy), b], -1))
    for xx in (low[0], high[0]):
        a, b = np.meshgrid(y, z, indexing="ij")
        faces.append(np.stack([np.full_like(a, xx), a, b], -1))
    a, b = np.meshgrid(x, y, indexing="ij")
    faces.append(np.stack([a, b, np.full_like(a, high[2])], -1))
    return [grid_mesh(f, colour, shine, tag, outward_from=middle) for f in faces]


def hand(rng: np.random.Generator, x: float, y: float, top: float, side: int, width: float, step: float) -> list[Mesh]:
    """A forearm from the board's side, a palm over the fish at (x, y) whose back is ``top`` mm high, fingers over it."""
    skins = [(120, 150, 200), (85, 115, 165), (60, 80, 120), (150, 175, 220)]
    gloves = [(50, 50, 55), (40, 140, 230), (60, 110, 60), (160, 90, 40), (200, 200, 205), (40, 60, 200)]
    colours = gloves if rng.random() < 0.5 else skins
    colour = np.array(colours[rng.integers(len(colours))], float)
    sleeve = np.array(gloves[rng.integers(len(gloves))], float)
    slope = rng.uniform(-0.25, 0.25)
    palm, knuckle = width / 2, top + width * 0.16
    wrist = np.array([x + slope * 70, y + side * (width * 0.95), top + 32])
    elbow = np.array([x + slope * 420, y + side * (width + 330), top + rng.uniform(70, 160)])
    parts = [
        tube(
            np.linspace([x, y - side * palm * 0.75, knuckle], wrist, 24),
            palm * bulge(24, 0.4),
            colour,
            0.25,
            "hand",
            step,
            flatten=0.42,
        )
    ]
    arm_r = np.linspace(width * 0.34, width * 0.5, 12)
    arm = np.linspace(wrist - [0, side * width * 0.35, 6], elbow, 12)
    parts.append(tube(arm[:6], arm_r[:6], colour, 0.25, "hand", step))
    parts.append(tube(arm[4:], arm_r[4:] * 1.18, sleeve, 0.05, "hand", step))
    for k in range(4):
        fx = x + (k - 1.5) * width * 0.23
        tip = y - side * (palm * 1.5 + 14 + rng.uniform(-6, 6))
        line = np.array(
            [
                [fx, y - side * palm * 0.3, knuckle + 3],
                [fx + rng.normal(0, 2), (tip + y - side * palm) / 2, knuckle],
                [fx + rng.normal(0, 3), tip, max(top * 0.35, 9)],
            ]
        )
        parts.append(tube(line, width * 0.105 * np.array([1.05, 1.0, 0.8]), colour * rng.uniform(0.92, 1.05), 0.25, "hand", step))
    return parts


def clutter(rng: np.random.Generator, length: float, width: float, floor: float, step: float) -> list[Mesh]:
    """Pliers, a lure, a bucket or a rope about the board, never on it."""
    parts: list[Mesh] = []

    def beside() -> Array:
        side = rng.choice([-1, 1])
        return np.array([rng.uniform(0, length), -rng.uniform(70, 190) if side < 0 else width + rng.uniform(70, 190), floor])

    if rng.random() < 0.6:
        at, a = beside(), rng.uniform(0, 7)
        way, across = np.array([np.cos(a), np.sin(a), 0]), np.array([-np.sin(a), np.cos(a), 0])
        grip = np.array([(30, 200, 240), (40, 40, 200), (200, 120, 40)][rng.integers(3)], float)
        for s in (-1, 1):
            line = np.array(
                [at + [0, 0, 9], at + way * 40 + across * 16 * s + [0, 0, 9], at + way * 110 + across * 12 * s + [0, 0, 9]]
            )
            parts.append(tube(line, np.array([6.0, 7.0, 5.0]), grip, 0.3, "thing", step))
            parts.append(
                tube(
                    np.array([at + [0, 0, 9], at - way * 65 + across * 1.5 * s + [0, 0, 9]]),
                    np.array([9.0, 2.5]),
                    np.array([120.0, 120, 125]),
                    0.7,
                    "thing",
                    step,
                )
            )
    if rng.random() < 0.5:
        at, a = beside(), rng.uniform(0, 7)
        way = np.array([np.cos(a), np.sin(a), 0])
        colour = np.array([(40, 40, 220), (60, 220, 120), (200, 200, 210), (30, 150, 240)][rng.integers(4)], float)
        parts.append(
            tube(np.linspace(at - way * 45 + [0, 0, 9], at + way * 45 + [0, 0, 9], 24), 9 * bulge(), colour, 0.6, "thing", step)
        )
    if rng.random() < 0.4:
        at = beside()
        at[1] += 190 * np.sign(at[1] - width / 2)
        colour = np.array([(190, 90, 20), (40, 40, 190), (210, 210, 210), (60, 140, 60)][rng.integers(4)], float)
        parts.append(tube(np.array([at, at + [0, 0, 220]]), np.array([115.0, 140.0]), colour, 0.3, "thing", step * 2))
        parts.append(
            tube(
                np.array([at + [0, 0, 170], at + [0, 0, 172]]),
                np.array([134.0, 2.0]),
                np.array([110.0, 90, 60]),
                0.3,
                "thing",
                step * 2,
            )
        )
    if rng.random() < 0.35:
        t = np.linspace(0, 1, 40)
        at = beside()
        line = np.stack(
            [at[0] - 400 + 900 * t, at[1] + 60 * np.sin(7 * t + rng.uniform(0, 6)) + 60 * np.sign(at[1]), np.full(40, floor + 5)],
            -1,
        )
        parts.append(
            tube(
                line,
                np.full(40, 5.0),
                np.array([(60, 200, 230), (200, 200, 200), (60, 60, 200)][rng.integers(3)], float),
                0.1,
                "thing",
                step,
            )
        )
    return parts
