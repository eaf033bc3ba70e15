"""A clip -> the board and the camera in its best frames. The verb of the geometry half."""

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from reelnotes.measure import scan
from reelnotes.measure.board_model import BoardModel, load_board
from reelnotes.measure.find_board import GUESS_FREEDOM, guessed_lens, search
from reelnotes.measure.lens_model import Floats, LensModel
from reelnotes.measure.looking import Sights, frames_to_search, glance_through
from reelnotes.measure.match_print import carried, match
from reelnotes.measure.pose_fit import Fit, LensFreedom, fit_frames
from reelnotes.measure.posed import AT_ODDS, KnownClip, NotFound, NotHeld, Observations, PosedClip, PosedFrame, nearer
from reelnotes.measure.proof import still_held
from reelnotes.measure.refine import Alignment, native_scale, scales, sharpen
from reelnotes.measure.scale_doubt import doubted
from reelnotes.measure.scan import Tracked
from reelnotes.measure.solve_lens import SOLVED_FLOOR, at_odds, believable, solve_lens
from reelnotes.media.decode import Picture, undrawn
from reelnotes.records.boards import Board, Lens
from reelnotes.records.problems import Refusal

log = logging.getLogger(__name__)

Progress = Callable[[float, str], None]

NO_BOARD = "no known board is in sight"
_LOOKS_LIKE_ONE = 0.8  # likeness from which a frame is said to look like a board
_MUCH_LIKE_ONE = 0.9  # and from which its outline is looked for when its print is not found
_WHOLE = 3  # frames of a clip, the likeliest: in no more are whole picture and outlines searched
# Frames, and the least strength in one of them, for a search of the others. On some 80 drawn clips of right boards no two frames
# fell below 0.25, nor, under lenses wrong by a quarter to two thirds, 15 such below 0.13: judgement, no source.
_TELLING, _HOPE, NO_HOPE = 2, 0.2, 0.1
_PLAIN = 0.40  # strength of a sight that needs no better one
_load = lru_cache(maxsize=32)(load_board)


def pose_clip(
    path: Path,
    boards: Sequence[Board],
    lens: Lens | LensModel | None,
    *,
    sights: Sights | None = None,
    max_frames: int = 8,
    progress: Progress | None = None,
) -> PosedClip | Refusal:
    """Find the board in a clip and pose its best frames.

    sights: where to look, from :func:`looking.glance_through`; None: a thorough glance is taken here.
    lens: a calibration, or a LensModel solved before (from other clips of the camera), or None: solved from the board.
    The Refusal is a NotFound when no board was proved, a NotHeld when one was, but its pose cannot be had.
    Raises UnreadableError when the clip cannot be opened.
    """
    tell = progress or (lambda share, what: None)
    models = [m for m in map(_load, boards) if isinstance(m, BoardModel)]
    if not models:
        return Refusal("no board with a picture is known")
    tell(0.0, "looking for the board")
    sights = sights or glance_through(path, thorough=True)
    looked = _look(path, sights, models, lens)
    if isinstance(looked, Refusal):
        return looked
    picture, found, given = looked
    name, seen_s = found.model.board.name, (picture.time_s, picture.time_s)
    tell(0.3, "following the board")
    tracked = scan.track(scan.sampled(path, picture.time_s, 2 * max_frames), picture, found, max_frames)
    if not tracked:
        return NotHeld("the board is in sight for too short a time", name, seen_s)
    span = (tracked[0].picture.time_s, tracked[-1].picture.time_s)
    tell(0.5, "refining on the print")
    fine = _refined(tracked, found, LensFreedom() if given else GUESS_FREEDOM)
    if not fine:
        return NotHeld("the board is too small or too blurred to be measured", name, span)
    sightings = [_Sighting(shot.picture, made.seen, made.R, made.t, made) for shot, made in fine]
    clearest = max((alignment for _, alignment in fine), key=lambda a: a.strength)
    made = _solved(sightings, found.model, clearest.lens, span, given=given)
    return NotHeld(made.reason, name, span) if isinstance(made, Refusal) else made


def pose_again(path: Path, boards: Sequence[Board], known: KnownClip, lens: LensModel | None) -> PosedClip | Refusal:
    """Pose the frames of a clip that was posed before under another lens (None: its own, solved anew), without a search.

    Raises UnreadableError when the clip cannot be opened.
    """
    model = next((m for m in map(_load, boards) if isinstance(m, BoardModel) and m.board.name == known.board), None)
    if model is None or not known.times_s:
        return Refusal(NO_BOARD)
    now = lens or known.lens
    shots = {}
    for held in undrawn(path, start_s=min(known.times_s), end_s=max(known.times_s) + 2e-3):
        for i, time_s in enumerate(known.times_s):
            if abs(held.time_s - time_s) < 1e-3:
                shots[i] = held.picture()
    sightings = [_Sighting(p, known.seen[i], known.R[i], nearer(known.t[i], known.lens, now)) for i, p in sorted(shots.items())]
    if not sightings or _size(sightings[0].picture) != (now.width_px, now.height_px):
        return Refusal(NO_BOARD)
    return _solved(sightings, model, now, known.span, given=lens is not None)


@dataclass(frozen=True, eq=False)
class _Sighting:
    """The print found in one frame, and the pose that it gives; looked: how it was found there, when it was in this run."""

    picture: Picture
    seen: Observations
    R: Floats
    t: Floats
    looked: Alignment | None = None


def _size(picture: Picture) -> tuple[int, int]:
    return picture.pixels.shape[1], picture.pixels.shape[0]


def _look(
    path: Path, sights: Sights, models: Sequence[BoardModel], lens: Lens | LensModel | None
) -> tuple[Picture, Alignment, bool] | Refusal:
    """The first frame in which a board is proved beyond doubt, else the best one."""
    best: tuple[Picture, Alignment, bool] | None = None
    since, nearest = 0, 0.0
    # Into a short clip a board may come between its key frames: unless nothing at all speaks for one, more of them are searched.
    telling = {_TELLING: NO_HOPE, 2 * _TELLING: _HOPE} if sights.short_s is not None else {_TELLING: _HOPE}
    for tried, picture in enumerate(frames_to_search(path, sights)):
        height, width = picture.pixels.shape[:2]
        known = _lens_for(lens, width, height)
        start = known or guessed_lens(width, height)
        freedom = LensFreedom() if known else GUESS_FREEDOM
        whole = tried < _WHOLE and best is None  # a better sight of a board that was found needs no such search
        outlines = whole and sights.likeness > _MUCH_LIKE_ONE
        made = search(picture.pixels, models, start, freedom, whole=whole, outlines=outlines)
        found, nearest = made.found, max(nearest, made.nearest)
        if found is not None and (best is None or found.strength > best[1].strength):
            best = picture, found, known is not None
        since += best is not None
        if best is not None and (best[1].strength > _PLAIN or since > 3):
            return best
        if best is None and nearest < telling.get(tried + 1, 0.0):
            break  # no print of a known board lies in the likeliest frames, not even half hidden
    if best is not None:
        return best
    looks = sights.likeness > _LOOKS_LIKE_ONE
    return NotFound("what looks like a board is none of the known ones" if looks else NO_BOARD, nearest)


def _lens_for(lens: Lens | LensModel | None, width: int, height: int) -> LensModel | None:
    if lens is None:
        return None
    if isinstance(lens, LensModel):
        return lens if (lens.width_px, lens.height_px) == (width, height) else None
    made = LensModel.from_record(lens, width, height)
    if made is None:
        log.info("lens '%s' is for pictures of another shape; it is solved from the board instead", lens.name)
    return made


def _refined(chosen: list[Tracked], found: Alignment, freedom: LensFreedom) -> list[tuple[Tracked, Alignment]]:
    out = []
    for shot in chosen:
        made = sharpen(shot.picture.pixels, shot.alignment, freedom)
        if made is not None and still_held(made, found):
            out.append((shot, made))
    # Where much less of the board is in the picture than at best, fewer figures guard against a slip by a bar.
    most = max((float(m.agreement.seen.mean()) for _, m in out), default=0.0)
    return _without_jumps([(shot, m) for shot, m in out if float(m.agreement.seen.mean()) >= 0.75 * most])


def _without_jumps(fine: list[tuple[Tracked, Alignment]]) -> list[tuple[Tracked, Alignment]]:
    """Leave out frames whose camera stands far along the board from where it stands in the others: slipped by a bar or two."""
    if len(fine) < 4:
        return fine
    along = np.array([(-a.R.T @ a.t)[0] for _, a in fine])
    off = np.abs(along - np.median(along))
    # 1.4826: the median deviation as a standard deviation of a normal distribution.
    limit = max(0.12 * fine[0][1].model.board.length_mm, 4 * 1.4826 * float(np.median(off)))
    return [pair for pair, far in zip(fine, off, strict=True) if far <= limit]


def _solved(
    fine: list[_Sighting], model: BoardModel, start: LensModel, span: tuple[float, float], *, given: bool
) -> PosedClip | Refusal:
    """Lens (when not given) and all poses together; where these move the print, once more on it with the better lens."""
    seen = [s.seen for s in fine]
    if not given:
        solved = solve_lens(seen, [(s.R, s.t) for s in fine], replace(start, shift_px=(0.0, 0.0)))
        if solved is None:
            return Refusal("the lens cannot be solved from what is seen of the board")
        fit = solved.fit
        free = fit.problem.freedom
    else:
        free = LensFreedom(log_focal=start.focal_sigma, centre=0.003, shift=0.003)
        made = fit_frames(seen, start, [s.R for s in fine], [s.t for s in fine], free)
        if made is None:
            return Refusal("the board's print does not fit the given lens")
        fit = made
    fine, fit = _without_strays(fine, fit)
    again = [_matched(s, model, fit, i) for i, s in enumerate(fine)]
    final = fit
    if any(look[0] is not s.seen for look, s in zip(again, fine, strict=True)):
        final = fit_frames([o for o, *_ in again], start if given else fit.lens, fit.R, fit.t, free, shift=fit.shift) or fit
    posed = [_posed(s.picture, model, final, i, *again[i]) for i, s in enumerate(fine)]
    frames = doubted(posed, model.board.length_mm)
    source = "solved from the board" if believable(final.lens) else "guessed"
    if given:
        source = AT_ODDS if at_odds([o for o, *_ in again], list(zip(final.R, final.t, strict=True)), start) else "given"
    sigma = final.focal_sigma if given else float(np.hypot(final.focal_sigma, SOLVED_FLOOR))
    return PosedClip(model.board, model, frames, final.lens, source, sigma, span,
                     _stop_visible(frames, model))  # fmt: skip


def _without_strays(fine: list[_Sighting], fit: Fit) -> tuple[list[_Sighting], Fit]:
    """Leave out frames that fit the common lens far worse than the others, and solve the rest again."""
    worst = 3.0 * float(np.median(fit.rms_px)) + 0.2
    keep = [i for i in range(len(fine)) if fit.rms_px[i] <= worst]
    if len(keep) in (0, len(fine)):
        return fine, fit
    kept = [fine[i] for i in keep]
    p = fit.problem
    again = fit_frames([s.seen for s in kept], p.start, [fit.R[i] for i in keep], [fit.t[i] for i in keep], p.freedom,
                       shift=fit.shift[keep], steps=20)  # fmt: skip
    return (kept, again) if again is not None else (fine, fit)


def _matched(sighting: _Sighting, model: BoardModel, fit: Fit, i: int) -> tuple[Observations, float, float, float]:
    """Print found under the solved lens: observations, share of it in frame, share of that agreeing, sharpness.

    Where lens and pose have hardly moved the print since it was looked for at the frame's own scale, that look tells."""
    lens, R, t = now = fit.frame_lens(i), fit.R[i], fit.t[i]
    was, seen, agreement = sighting.looked, sighting.seen, None
    if was is not None:
        agreement = carried(model, was.px_per_mm, was.agreement, (was.lens, was.R, was.t), now)
    if agreement is None:
        scale = scales(model, native_scale(model, *now))[-1]
        seen, agreement = match(sighting.picture.pixels, model, lens, R, t, scale, search_px=2, near=True)
    ncc = agreement.ncc[agreement.seen]
    matched = float(agreement.agrees.sum()) / max(len(ncc), 1)
    return seen, float(agreement.seen.mean()), matched, float(np.sort(ncc)[len(ncc) // 2 :].mean()) if len(ncc) else 0.0


def _posed(
    picture: Picture, model: BoardModel, fit: Fit, i: int, seen: Observations, covered: float, matched: float, sharpness: float
) -> PosedFrame:
    good = fit.inlier[i] > 0.2 if len(fit.inlier[i]) == len(seen) else np.ones(len(seen), bool)
    length, width = model.board.length_mm, model.board.width_mm
    at: Floats = np.array([[x * length, 0.5 * width] for x in (0.3, 0.6, 0.9)])
    sigma = fit.reading_sigma_mm(i, at)[:, 0] / at[:, 0]
    return PosedFrame(
        picture.frame if picture.frame is not None else -1, picture.time_s, picture.pixels, fit.frame_lens(i), fit.R[i], fit.t[i],
        float(fit.rms_px[i]), int(good.sum()), covered, matched, float(np.median(sigma)), sharpness, seen,
    )  # fmt: skip


def _stop_visible(frames: tuple[PosedFrame, ...], model: BoardModel) -> float:
    """Share of frames in which the foot of the stop is inside the picture."""
    width = model.board.width_mm
    foot = np.array([[0.0, y] for y in np.linspace(0.25, 0.75, 5) * width])
    inside = []
    for frame in frames:
        px = frame.board_to_px(foot)
        height, wide = frame.image.shape[:2]
        inside.append(bool(np.all(np.isfinite(px) & (px >= 0) & (px <= [wide - 1, height - 1]))))
    return float(np.mean(inside)) if inside else 0.0
