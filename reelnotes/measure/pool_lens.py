"""One lens from several clips of a camera, if they are of one lens.

One clip fixes its lens poorly: focal length and camera height trade against each other. Other clips of the camera see
the board from elsewhere, and together they tell more (Zhang 2000). A clip agrees when the common lens explains its
print about as well as its own lens does.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from reelnotes.measure.lens_model import Floats, LensModel
from reelnotes.measure.pose_fit import LensFreedom, fit_frames
from reelnotes.measure.posed import Observations, PosedClip, nearer
from reelnotes.measure.solve_lens import Solved, solve_lens

# What is wrong with a lens solved from one clip beyond its covariance (rolling shutter, a lens that follows no law
# exactly); common practice, no source. Over n clips it is at best averaged.
_ONE_CLIP = 0.02
_VIEWS, _PRINT = 5, 300  # frames of a clip, and pieces of print in each, that go into a pooled lens
_SHIFT = 0.003  # of each frame, as a share of the longer side


@dataclass(frozen=True, eq=False)
class ClipViews:
    """What a clip tells of its lens, without its pictures: the lens solved from it alone, print and pose of each frame."""

    lens: LensModel
    seen: tuple[Observations, ...]
    R: tuple[Floats, ...]
    t: tuple[Floats, ...]


@dataclass(frozen=True, eq=False)
class Pooled:
    """A lens (with its doubt as focal_sigma) on which clips agree. agreeing: their places among the clips given."""

    lens: LensModel
    agreeing: frozenset[int]


def views_of(posed: PosedClip) -> ClipViews:
    """A few frames of a clip, evenly chosen, their print thinned: enough for a lens, little to carry."""
    frames = [f for f in posed.frames if f.observations is not None and len(f.observations) > 20]
    places = np.linspace(0, len(frames) - 1, min(len(frames), _VIEWS)).round().astype(int)
    chosen = [frames[i] for i in np.unique(places)]
    seen = tuple(_thinned(f.observations) for f in chosen if f.observations is not None)
    return ClipViews(posed.lens, seen, tuple(f.R for f in chosen), tuple(f.t for f in chosen))


def pool_lens(clips: Sequence[ClipViews]) -> Pooled | None:
    """One lens from several clips of one camera; None where no two of them agree.

    The clip that agrees least is left out, and the rest solved again, until all agree.
    """
    keep = [i for i, c in enumerate(clips) if c.seen]
    if keep:
        size = _size(clips[max(keep, key=lambda i: len(clips[i].seen))].lens)
        keep = [i for i in keep if _size(clips[i].lens) == size]
    while len(keep) > 1:
        solved = _solved_together([clips[i] for i in keep])
        if solved is None:
            return None
        excess = [_excess(clips[i], solved.lens) for i in keep]
        if max(excess) <= 1.0:
            sigma = _doubt(solved, [len(clips[i].seen) for i in keep])
            return Pooled(replace(solved.lens, focal_sigma=sigma), frozenset(keep))
        del keep[int(np.argmax(excess))]
    return None


def _solved_together(clips: Sequence[ClipViews]) -> Solved | None:
    """The bundle over all clips, started from the clip's lens that is the median by focal length."""
    start = sorted((c.lens for c in clips), key=lambda lens: lens.fx)[len(clips) // 2]
    seen: list[Observations] = []
    poses: list[tuple[Floats, Floats]] = []
    for clip in clips:
        for o, R, t in zip(clip.seen, clip.R, clip.t, strict=True):
            near = nearer(t, clip.lens, start)
            alone = fit_frames([o], start, [R], [near])
            seen.append(o)
            poses.append((alone.R[0], alone.t[0]) if alone is not None else (R, near))
    return solve_lens(seen, poses, start)


def _excess(clip: ClipViews, lens: LensModel) -> float:
    """How much worse a lens explains a clip's print than the clip's own: over 1 is another lens.

    Half again the residual and a tenth of a pixel are allowed: what one clip's lens takes up of its rolling shutter and
    compression, another's cannot (common practice, no source).
    """
    held = LensFreedom(shift=_SHIFT)
    own = fit_frames(list(clip.seen), clip.lens, list(clip.R), list(clip.t), held)
    common = fit_frames(list(clip.seen), lens, list(clip.R), [nearer(t, clip.lens, lens) for t in clip.t], held, steps=20)
    if own is None or common is None:
        return float("inf")
    return float(np.median(common.rms_px) / (1.5 * np.median(own.rms_px) + 0.1))


def _doubt(solved: Solved, counts: Sequence[int]) -> float:
    """Relative sigma of the pooled focal length: its covariance, and the clips' scatter by the jackknife (Efron 1982, ch. 3)."""
    fit, n = solved.fit, len(counts)
    edges = np.cumsum([0, *counts])
    logs = []
    for a, b in pairwise(edges):
        rest = [i for i in range(len(fit.R)) if not a <= i < b]
        seen = [fit.problem.seen[i] for i in rest]
        made = fit_frames(seen, solved.lens, [fit.R[i] for i in rest], [fit.t[i] for i in rest], fit.problem.freedom,
                          shift=fit.shift[rest], steps=8)  # fmt: skip
        if made is not None:
            logs.append(np.log(made.lens.fx))
    scatter = float(np.sqrt((n - 1) * np.var(logs))) if logs else 0.0
    return float(np.hypot(fit.focal_sigma, max(scatter, _ONE_CLIP / np.sqrt(n))))


def _size(lens: LensModel) -> tuple[int, int]:
    return lens.width_px, lens.height_px


def _thinned(o: Observations) -> Observations:
    step = max(1, -(-len(o) // _PRINT))
    return Observations(o.board_mm[::step], o.px[::step], o.weight[::step])
