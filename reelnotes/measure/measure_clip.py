"""The verbs of this room: a clip or a photo -> the fish on its board, and a whole trip's clips the same way."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from reelnotes.measure.budget import interval
from reelnotes.measure.evidence import evidence_png
from reelnotes.measure.fish import Fish, measure_fish
from reelnotes.measure.looking import Sights, glance_through
from reelnotes.measure.photo import as_clip
from reelnotes.measure.pose import NO_HOPE, pose_clip
from reelnotes.measure.posed import INSTEAD, NotFound, NotHeld, PosedClip
from reelnotes.measure.verdict import verdict
from reelnotes.records.boards import Board, Lens
from reelnotes.records.lengths import FishLength
from reelnotes.records.problems import Refusal

Progress = Callable[[float, str], None]

# Likeness of a clip's likeliest frame from which a board is looked for once more without the given lens: even odds. A right
# lens needs no second look, and on most clips that show no board it would be spent in vain. A wrong lens is wrong in all frames:
# so many of the likeliest tell.
_LIKE_A_BOARD, _AGAIN = 0.5, 2


@dataclass(frozen=True, slots=True)
class ClipMeasure:
    """What one clip told: its rows, and a PNG for each (None where there is no picture to show).

    board_seen  False when no known board was proved in it; a trip then lists no row for the clip
    """

    lengths: tuple[FishLength, ...]
    pictures: tuple[bytes | None, ...]
    board_seen: bool


def measure_clip(
    path: Path, *, clip_name: str, boards: Sequence[Board], lens: Lens | None, sights: Sights | None = None,
    progress: Progress | None = None, units: str = "metric",
) -> ClipMeasure:  # fmt: skip
    """Measure the fish that lies on a board in a clip or a photo; always at least one row, if only a refusal.

    A pure function of the file's content, the boards and the lens. ``lens`` None: it is solved from the board.
    A lens under which no board holds, though without it one does, is passed over, and the length is one to check.
    ``sights``: where to look, when that is known; None: the likeliest frames are searched however unlikely they are.
    ``units``: "metric" or "imperial", what the picture shows lengths in.
    Raises UnreadableError when the file cannot be opened.
    """
    tell = progress or (lambda share, what: None)
    with as_clip(path) as clip:
        where = sights or glance_through(clip, thorough=True)
        posed = pose_clip(clip, boards, lens, sights=where, progress=lambda share, what: tell(0.7 * share, what))
        if isinstance(posed, Refusal) and lens is not None and _may_be_the_lens(posed, where, asked=sights is None):
            posed = _without_lens(clip, boards, where, posed)
    if isinstance(posed, Refusal):
        return not_measured(clip_name, posed)
    tell(0.7, "outlining the fish")
    made = measure_posed(posed, clip_name, units)
    tell(1.0, "done")
    return made


def _may_be_the_lens(refused: Refusal, sights: Sights, *, asked: bool) -> bool:
    """Whether a clip could have been ``refused`` for the lens that it was given. asked: it was named to be measured by itself."""
    if isinstance(refused, NotFound):
        return refused.nearest >= NO_HOPE and (asked or sights.likeness > _LIKE_A_BOARD)
    return True


def _without_lens(path: Path, boards: Sequence[Board], sights: Sights, refused: Refusal) -> PosedClip | Refusal:
    """The clip posed without the lens under which it was ``refused``; when that fails too, what tells more of the board."""
    own = pose_clip(path, boards, None, sights=replace(sights, times_s=sights.times_s[:_AGAIN], short_s=None))
    if isinstance(own, PosedClip):
        return replace(own, lens_from=INSTEAD) if own.lens_from != "guessed" else own
    return own if isinstance(own, NotHeld) and not isinstance(refused, NotHeld) else refused


def measure_posed(posed: PosedClip, clip_name: str, units: str = "metric") -> ClipMeasure:
    """The same from frames whose camera is known already."""
    fish = measure_fish(posed)
    row = _row(posed, fish, clip_name)
    return ClipMeasure((row,), (evidence_png(posed, fish if isinstance(fish, Fish) else None, row, units),), True)


def not_measured(clip_name: str, why: Refusal) -> ClipMeasure:
    """The row of a clip in which no board could be posed; of one that was proved, it names board and time."""
    seen = isinstance(why, NotHeld)
    row = FishLength(clip_name, 0.0, 0.0, "refused", why.reason)
    if isinstance(why, NotHeld):
        row = replace(row, start_s=why.span[0], end_s=why.span[1], board=why.board)
    return ClipMeasure((row,), (None,), seen)


def _row(posed: PosedClip, fish: Fish | Refusal, clip_name: str) -> FishLength:
    rms = sorted(frame.rms_px for frame in posed.frames)[len(posed.frames) // 2]
    row = FishLength(
        clip_name, posed.span[0], posed.span[1], "refused", board=posed.board.name, lens_from=posed.lens_from,
        reprojection_rms_px=rms,
    )  # fmt: skip
    if isinstance(fish, Refusal):
        return replace(row, reason=fish.reason)
    low, high = interval(fish.total_mm, fish.u_mm)
    judged, reason = verdict(fish.total_mm, low, high, fish.doubts)
    return replace(
        row, start_s=fish.frames[0].time_s, end_s=fish.frames[-1].time_s, verdict=judged,
        reason="; ".join(why for why in (reason, fish.no_fork) if why),
        total_length_mm=fish.total_mm, fork_length_mm=fish.fork_mm, u_mm=fish.u_mm, low_mm=low, high_mm=high,
        u_fork_mm=fish.u_fork_mm, frames_used=len(fish.frames), budget=fish.budget,
    )  # fmt: skip
