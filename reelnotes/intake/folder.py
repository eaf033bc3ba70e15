"""The one verb of intake: a trip folder as a record, everything still as each device and hand wrote it."""

import collections
import datetime as dt
import hashlib
import logging
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd

from reelnotes.intake import boards, cameras, catchlog, chapters, lenses, limits, settings, tide, zone
from reelnotes.intake.finding import Heaps, find_files
from reelnotes.intake.naming import as_text, name_in_trip
from reelnotes.intake.tracklogs import looks_like_track, read_track_file
from reelnotes.media.probe import probe
from reelnotes.records.clips import Clip
from reelnotes.records.folder import TideTurn, TripFolder
from reelnotes.records.log import LogEvent
from reelnotes.records.problems import Problem, UnreadableError, UsageError
from reelnotes.records.settings import TimeMark, TripSettings
from reelnotes.records.tracks import FIX_COLUMNS

log = logging.getLogger(__name__)

Progress = Callable[[float, str], None]
_LAY_OUT = "put clips under clips/<camera>/, the track under track/, the log under log/"


def read_trip(root: Path, progress: Progress | None = None) -> TripFolder:
    """Read a whole trip folder; nothing in it is changed.

    progress   called with a share 0..1 and what is being read

    What cannot be read is set aside and told in ``problems``; the rest goes on. Raises UsageError when there
    is no such folder, or nothing in it can be used.
    """
    root = _folder(root)
    tell = progress or (lambda _share, _what: None)
    tell(0.0, "looking through the folder")
    told, problems = settings.read_settings(root)
    heaps = find_files(root)
    _sort_tables(root, heaps)
    problems += heaps.problems

    clips = _probe_all(root, heaps.clips, tell)
    tell(0.9, "reading track and log")
    draft = _read_tracks(root, heaps.tracks, told.date, ZoneInfo(told.timezone) if told.timezone else None)
    place, place_from, remarks = zone.find_zone(told, draft.fixes, clips)
    date = zone.find_date(told, draft.fixes, clips, place)
    tracks = _read_tracks(root, heaps.tracks, date, place) if draft.wants(date, place) else draft
    problems += [*remarks, *tracks.problems]

    lens_files, lens_problems = lenses.read_lenses(root, heaps.lenses)
    board_list, board_problems = boards.read_boards(root, heaps.boards)
    limit_list, limit_problems = limits.read_limits(root, told.units)
    problems += [*lens_problems, *board_problems, *limit_problems]

    clips = cameras.name_cameras(clips, told.camera)
    clips, chapter_problems = chapters.join_chapters(clips)
    camera_list, camera_problems = cameras.cameras_of(clips, told.camera, lens_files)
    told, mark_problems = _usable_marks(told, clips)
    problems += [*chapter_problems, *camera_problems, *mark_problems, *lenses.misfits(camera_list, clips, lens_files)]
    problems += [Problem(clip.name, clip.set_aside, "the clip was set aside") for clip in clips if not clip.usable]

    events, log_problems = _read_logs(root, heaps.logs, date, place, told.units, _span(tracks.fixes))
    turns, tide_problems = _read_tides(root, heaps.tide, place)
    problems += [*log_problems, *tide_problems]
    _refuse_nothing(root, clips, tracks.fixes, events)
    tell(1.0, "read")
    return TripFolder(
        root=root,
        settings=told,
        title=told.title or as_text(root.name),
        zone=place,
        zone_from=place_from,
        date=date,
        cameras=camera_list,
        clips=clips,
        fixes=tracks.fixes,
        events=events,
        boards=board_list,
        lenses=lens_files,
        tide=turns,
        limits=limit_list,
        problems=tuple(problems),
    )


def _folder(root: Path) -> Path:
    if not root.exists():
        raise UsageError(str(root), "there is no such folder")
    if not root.is_dir():
        raise UsageError(str(root), "it is a file; a trip is a folder", "name the folder that holds the clips")
    return root.resolve()


def _refuse_nothing(root: Path, clips: tuple[Clip, ...], fixes: pd.DataFrame, events: tuple[LogEvent, ...]) -> None:
    if len(fixes) or events or any(clip.usable for clip in clips):
        return
    if clips:
        first = clips[0]
        what = (
            f"none of its {len(clips)} clips can be used, and there is no track or log (first: {first.name}: {first.set_aside})"
        )
        raise UsageError(str(root), what, _LAY_OUT)
    raise UsageError(str(root), "it holds no clip, track or log that can be used", _LAY_OUT)


def _sort_tables(root: Path, heaps: Heaps) -> None:
    """Tables outside track/ and log/ are told apart by what they hold."""
    for path in heaps.tables:
        if looks_like_track(path):
            heaps.tracks.append(path)
        elif catchlog.looks_like_log(path):
            heaps.logs.append(path)
        else:
            name = name_in_trip(root, path)
            what = "its header names neither a position nor a log's columns"
            heaps.problems.append(
                Problem(name, what, "it was passed over", "a log needs a header row with a time column", serious=False)
            )
    heaps.tracks.sort()
    heaps.logs.sort()


def _probe_all(root: Path, paths: list[Path], tell: Progress) -> tuple[Clip, ...]:
    clips: list[Clip] = []
    for number, path in enumerate(paths):
        name = name_in_trip(root, path)
        tell(0.02 + 0.88 * number / len(paths), name)
        clips.append(probe(path, name, ""))
    return tuple(_without_copies(clips))


def _without_copies(clips: list[Clip]) -> list[Clip]:
    """The same clips; of each set of byte-for-byte equals all but one are set aside, or a fish would be filmed twice."""
    sizes = collections.Counter(clip.size_bytes for clip in clips if clip.usable)
    equals: dict[tuple[int, bytes], list[Clip]] = collections.defaultdict(list)
    for clip in clips:
        if clip.usable and sizes[clip.size_bytes] > 1:
            equals[clip.size_bytes, _ends(clip.path)].append(clip)
    copies: dict[str, str] = {}
    for group in equals.values():
        # A copy lies outside clips/, or has something added to its name: "CLIP0001 (1).mp4".
        original = min(group, key=lambda clip: (not clip.name.casefold().startswith("clips/"), len(clip.name), clip.name))
        copies |= {clip.name: original.name for clip in group if clip is not original}
    return [
        Clip(clip.name, clip.path, "", size_bytes=clip.size_bytes, set_aside=f"it is a copy of {copies[clip.name]}")
        if clip.name in copies
        else clip
        for clip in clips
    ]


def _ends(path: Path, length: int = 65_536) -> bytes:
    """A digest of a file's first and last bytes: two videos that share both and their size are one video."""
    digest = hashlib.sha256()
    with path.open("rb") as handle:
        digest.update(handle.read(length))
        size = handle.seek(0, 2)
        handle.seek(max(0, size - length))
        digest.update(handle.read(length))
    return digest.digest()


@dataclass
class _Tracks:
    fixes: pd.DataFrame
    problems: list[Problem] = field(default_factory=list)
    read_with: tuple[dt.date | None, ZoneInfo | None] = (None, None)
    needs_words: bool = False  # some file is a table or NMEA, whose times may lean on the trip's date and zone

    def wants(self, date: dt.date | None, place: ZoneInfo) -> bool:
        """True when reading again with what is known by now may change something."""
        return self.needs_words and self.read_with != (date, place)


def _read_tracks(root: Path, paths: list[Path], date: dt.date | None, place: ZoneInfo | None) -> _Tracks:
    """All position logs in one frame of raw fixes, in time order (columns of records.tracks.FIX_COLUMNS)."""
    frames: list[pd.DataFrame] = []
    tracks = _Tracks(no_fixes(), [], (date, place), any(path.suffix.casefold() not in (".gpx", ".fit") for path in paths))
    for path in paths:
        name = name_in_trip(root, path)
        try:
            fixes, problems = read_track_file(path, name, date=date, zone=place)
        except UnreadableError as fault:
            told = fault.problem
            tracks.problems.append(Problem(name, told.what, "the file was set aside", told.advice))
            continue
        tracks.problems += problems
        if len(fixes):
            frames.append(fixes)
        elif not problems:
            tracks.problems.append(Problem(name, "it holds no positions", "the file was set aside"))
    if frames:
        tracks.fixes = pd.concat(frames, ignore_index=True).sort_values("time_utc_s", kind="stable", ignore_index=True)
    return tracks


def no_fixes() -> pd.DataFrame:
    """An empty frame of raw fixes with its columns and types."""
    return pd.DataFrame({column: pd.Series(dtype=str if column == "source" else float) for column in FIX_COLUMNS})


def _read_logs(
    root: Path, paths: list[Path], date: dt.date | None, place: ZoneInfo, units: str, within_utc_s: tuple[float, float] | None
) -> tuple[tuple[LogEvent, ...], list[Problem]]:
    read: list[tuple[str, tuple[LogEvent, ...]]] = []
    problems: list[Problem] = []
    for path in paths:
        name = name_in_trip(root, path)
        try:
            found, told = catchlog.read_log_file(path, name, date=date, zone=place, units=units, within_utc_s=within_utc_s)
        except UnreadableError as fault:
            problems.append(Problem(name, fault.problem.what, "the file was set aside", fault.problem.advice))
            continue
        read.append((name, found))
        problems += told
    events, copies = catchlog.without_copies(read)
    return events, [*problems, *copies]


def _span(fixes: pd.DataFrame) -> tuple[float, float] | None:
    return (float(fixes["time_utc_s"].iloc[0]), float(fixes["time_utc_s"].iloc[-1])) if len(fixes) else None


def _read_tides(root: Path, paths: list[Path], place: ZoneInfo) -> tuple[tuple[TideTurn, ...], list[Problem]]:
    turns: list[TideTurn] = []
    problems: list[Problem] = []
    for path in paths:
        name = name_in_trip(root, path)
        try:
            found, told = tide.read_tide(path, name, place)
        except OSError as fault:
            problems.append(Problem(name, f"it cannot be read ({(fault.strerror or '').lower()})", "no tide is used"))
            continue
        turns += found
        problems += told
    return tuple(sorted(turns, key=lambda turn: turn.time_utc_s)), problems


def _usable_marks(told: TripSettings, clips: tuple[Clip, ...]) -> tuple[TripSettings, list[Problem]]:
    """The settings without the marks that can move no clock, and those told, for the user meant them to.

    A mark on a clip that is not there says nothing; one past the clip's end is a slip of the pen, and believed
    it would move the whole camera.
    """
    usable = {clip.name: clip for clip in clips if clip.usable}
    kept, problems = [], []
    for number, mark in enumerate(told.time_mark, 1):
        where, clip = f"trip.toml, time_mark {number}", usable.get(mark.clip)
        if clip is None:
            advice = 'write the path in the trip folder, for example clip = "clips/chest/CLIP0002.mp4"'
            problems.append(Problem(where, f"there is no usable clip '{mark.clip}'", "the mark is not used", advice))
        elif _past_the_end(mark, clip):
            what = f"it lies past the end of {clip.name}, which is {clip.duration_s:.1f} s long"
            problems.append(Problem(where, what, "the mark is not used", "count from the clip's first frame"))
        else:
            kept.append(mark)
    return told.model_copy(update={"time_mark": tuple(kept)}), problems


def _past_the_end(mark: TimeMark, clip: Clip) -> bool:
    if mark.at_s is not None:
        return mark.at_s > clip.duration_s
    return clip.frames is not None and mark.frame is not None and mark.frame > clip.frames
