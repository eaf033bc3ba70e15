"""A measuring board with a fish on it, drawn by an analytic camera of its own: what the room's tests measure.

Nothing here uses the product's projection: a pinhole camera with a given rotation and centre sees each flat part
(board, stop, tail, body, each at its own height) through the homography of that part's plane, 3 x 3 samples a pixel.
"""

from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np

from reelnotes.measure.board_model import BoardModel
from reelnotes.measure.lens_model import LensModel
from reelnotes.measure.posed import PosedClip, PosedFrame
from reelnotes.records.boards import Board

WIDTH, HEIGHT, FOCAL = 960, 540, 620.0
BOARD = Board("test board", 600.0, 180.0, Path("board.png"), 3.0, (-0.5, 539.5))
_OVER = 3  # samples a pixel, each way


def board_picture(dark: bool = False) -> np.ndarray:
    """Cream and blue stripes of 50 mm (or dark ones), a ruler along the near edge."""
    picture = np.zeros((540, 1800, 3), np.uint8)
    colours = [(60, 62, 66), (48, 50, 52)] if dark else [(205, 228, 235), (150, 110, 60)]
    for i in range(12):
        picture[:, i * 150 : (i + 1) * 150] = colours[i % 2]
    picture[450:] = (235, 240, 240)
    for mm in range(0, 600, 5):
        length = 60 if mm % 50 == 0 else 36 if mm % 10 == 0 else 20
        picture[450 : 450 + length, mm * 3 : mm * 3 + 2] = (30, 30, 30)
    return picture


def camera(tilt_deg=12.0, turn_deg=4.0, height=620.0, at=(300.0, 90.0)):
    """(R, centre) of a camera that looks at ``at`` from a height, tilted about x and turned; x right, y down, z forward."""
    tilt, turn = np.radians(tilt_deg), np.radians(turn_deg)
    down = np.diag([1.0, -1.0, -1.0])
    about_x = np.array([[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]])
    about_z = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    R = about_z @ about_x @ down
    forward = R[2]
    return R, np.array([at[0], at[1], 0.0]) - forward * (height / -forward[2])


@dataclass
class FishDrawing:
    """A fish as polygons on two planes. ``length`` is nose to the lobes' tips, ``fork`` to the notch."""

    length: float = 320.0
    fork: float = 296.0
    depth: float = 74.0
    nose_x: float = 0.0
    y: float = 95.0
    colour: tuple = (70, 90, 80)
    fin: tuple = (40, 70, 150)
    nose_z: float = 15.0
    tail_z: float = 1.8
    bend: float = 0.0

    def body(self):
        s = np.linspace(0, 1, 80)
        half = 0.5 * self.depth * np.sin(np.pi * s**0.75) ** 0.8 * (1 - 0.5 * s) * 1.25 + 0.075 * self.depth * s
        x = self.nose_x + s * 0.86 * self.length
        return np.concatenate([np.stack([x, self.y + half], -1), np.stack([x, self.y - half], -1)[::-1]])

    def tail(self):
        base, tip, notch, h = 0.83 * self.length, self.length, self.fork, 0.5 * self.depth
        x = np.array([base, tip, notch, tip - 2.0, base]) + self.nose_x
        return np.stack([x, self.y + np.array([0.09 * self.depth, h, 0.0, -h, -0.09 * self.depth])], -1)

    @property
    def tip_taper(self) -> float:
        """Length over which the upper lobe is thinner than 0.75 mm (both edges of the lobe are straight lines)."""
        h = 0.5 * self.depth
        upper = (h - 0.09 * self.depth) / (self.length - 0.83 * self.length)
        inner = h / (self.length - self.fork)
        return 0.75 / (inner - upper)

    @property
    def total(self) -> float:
        """What the room is asked for: to where the longer lobe is still 0.75 mm wide."""
        return self.length - self.tip_taper


@dataclass
class Scene:
    """What lies where. extra: further (polygon, z, colour); stain: (polygon, colour, how much of the board it hides);
    stop_shade_mm: how far the stop's shade falls on the board; bars: the colour of the bars that really are on it;
    light, haze: what the picture's channels are multiplied by, and a grey that is added to them."""

    fish: FishDrawing | None = field(default_factory=FishDrawing)
    dark: bool = False
    extra: tuple = ()
    stain: tuple = ()
    shadow: bool = False
    stop_shade_mm: float = 0.0
    bars: tuple | None = None
    light: tuple = (1.0, 1.0, 1.0)
    haze: float = 0.0
    noise: float = 2.0
    tilt_deg: float = 12.0
    turn_deg: float = 4.0
    height: float = 620.0

    def clip(self, frames: int = 5) -> PosedClip:
        picture = board_picture(self.dark)
        model = BoardModel(BOARD, picture, 3.0, (-0.5, 539.5), np.array([0.114, 0.587, 0.299]))
        made, rng = [], np.random.default_rng(11)
        for i in range(frames):
            R, centre = camera(self.tilt_deg + 0.7 * i, self.turn_deg - 0.5 * i, self.height + 4.0 * i, (290.0 + 5 * i, 90.0))
            image = self._render(self._painted(picture), R, centre) * np.array(self.light) + self.haze
            image = np.clip(image + rng.normal(0, self.noise, image.shape), 0, 255).astype(np.uint8)
            lens = LensModel("pinhole", WIDTH, HEIGHT, FOCAL, FOCAL, 479.5, 269.5, (0.0, 0.0, 0.0, 0.0, 0.0))
            made.append(PosedFrame(3 * i, 0.1 * i, image, lens, R, -R @ centre, 0.2, 100, 1.0, 0.7, 4e-4, 100.0 + i))
        return PosedClip(BOARD, model, tuple(made), made[0].lens, "given", 0.002, (0.0, 0.1 * frames), 1.0)

    def _painted(self, picture):
        """The board with other bars, the ruler as it was."""
        if self.bars is None:
            return picture
        other = picture.copy()
        for i in range(1, 12, 2):
            other[:450, i * 150 : (i + 1) * 150] = self.bars
        return other

    def _render(self, picture, R, centre):
        size = (WIDTH * _OVER, HEIGHT * _OVER)
        canvas = np.full((size[1], size[0], 3), (96, 100, 104), np.uint8)
        to_mm = np.array([[1 / 3.0, 0, 0.5 / 3.0], [0, -1 / 3.0, (539.5) / 3.0], [0, 0, 1]])
        warp = _plane(R, centre, 0.0) @ to_mm
        drawn = cv2.warpPerspective(picture, warp, size, flags=cv2.INTER_AREA)
        covered = cv2.warpPerspective(np.full(picture.shape[:2], 255, np.uint8), warp, size)[..., None] > 127
        canvas = np.where(covered, drawn, canvas)
        if self.shadow:
            shade = np.zeros(canvas.shape[:2], np.uint8)
            _fill(shade, np.array([[380.0, -60], [700, -60], [700, 300], [460, 300]]), R, centre, 0.0, 255)
            canvas = np.where(shade[..., None] > 0, canvas * np.array([0.52, 0.47, 0.44]), canvas).astype(np.uint8)
        if self.stop_shade_mm:
            shade, w = np.zeros(canvas.shape[:2], np.uint8), self.stop_shade_mm
            _fill(shade, np.array([[0.0, 0.0], [w, 0.0], [w, BOARD.width_mm], [0.0, BOARD.width_mm]]), R, centre, 0.0, 255)
            soft = cv2.GaussianBlur(shade, (0, 0), 3.0)[..., None] / 255.0
            canvas = (canvas * (1.0 - soft * np.array([0.58, 0.62, 0.64]))).astype(np.uint8)
        if self.stain:
            polygon, colour, share = self.stain
            wet = canvas.copy()
            _fill(wet, np.asarray(polygon, float), R, centre, 0.0, colour)
            canvas = cv2.addWeighted(wet, share, canvas, 1.0 - share, 0.0)
        if self.fish is not None:
            _fill(canvas, self.fish.tail(), R, centre, self.fish.tail_z, self.fish.fin)
            _fill(canvas, self.fish.body(), R, centre, self.fish.nose_z, self.fish.colour)
        for polygon, z, colour in self.extra:
            _fill(canvas, np.asarray(polygon, float), R, centre, z, colour)
        small = cv2.resize(canvas, (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA).astype(np.float32)
        return cv2.GaussianBlur(small, (0, 0), 0.6)


def _plane(R, centre, z):
    """Homography from (x, y, 1) on the plane of height z to oversampled pixels."""
    K = np.array([[FOCAL, 0, 479.5], [0, FOCAL, 269.5], [0, 0, 1]])
    finer = np.array([[_OVER, 0, (_OVER - 1) / 2], [0, _OVER, (_OVER - 1) / 2], [0, 0, 1.0]])
    return finer @ K @ np.stack([R[:, 0], R[:, 1], R @ (np.array([0, 0, z]) - centre)], axis=1)


def _fill(canvas, polygon, R, centre, z, colour):
    h = np.concatenate([polygon, np.ones((len(polygon), 1))], axis=1) @ _plane(R, centre, z).T
    px = np.round(h[:, :2] / h[:, 2:] * 16).astype(np.int32)
    cv2.fillPoly(canvas, [px], colour, lineType=cv2.LINE_8, shift=4)
