"""What a trip folder was found to hold, what is missing, and what each missing thing costs."""

import collections
from dataclasses import dataclass

from reelnotes.records.folder import TripFolder
from reelnotes.records.instants import iso_local


@dataclass(frozen=True, slots=True)
class Found:
    """One kind of thing that is there: ``what`` it is, how many, and a few words on it."""

    what: str
    count: int
    words: str = ""


@dataclass(frozen=True, slots=True)
class Missing:
    """One kind of thing that is not there, what that costs, and what would bring it."""

    what: str
    costs: str
    remedy: str = ""


def inventory(folder: TripFolder) -> tuple[Found | Missing, ...]:
    """The trip folder's contents in the order of the job: clips, track, log, boards, lenses, tide, limits, settings."""
    return (
        _clips(folder),
        *_set_aside(folder),
        *_sound(folder),
        _track(folder),
        _log(folder),
        *_boards_and_lenses(folder),
        _tide(folder),
        _limits(folder),
        *_zone_and_date(folder),
    )


def _clips(folder: TripFolder) -> Found | Missing:
    usable = [clip for clip in folder.clips if clip.usable]
    if not usable:
        return Missing("clips", "no line-up, lengths, edit list or sorted clips", "put them under clips/<camera>/")
    counts = collections.Counter(clip.camera for clip in usable)
    total_s = sum(clip.duration_s for clip in usable)
    by_camera = ", ".join(f"{camera} {counts[camera]}" for camera in sorted(counts))
    takes = len({clip.recording for clip in usable})
    joined = f"; chapters joined into {takes} recordings" if takes < len(usable) else ""
    return Found("clips", len(usable), f"{total_s / 60:.1f} min ({by_camera}){joined}")


def _set_aside(folder: TripFolder) -> tuple[Found, ...]:
    aside = [clip for clip in folder.clips if not clip.usable]
    return (Found("clips set aside", len(aside), "; ".join(f"{clip.name}: {clip.set_aside}" for clip in aside)),) if aside else ()


def _sound(folder: TripFolder) -> tuple[Missing, ...]:
    usable = [clip for clip in folder.clips if clip.usable]
    mute = [clip for clip in usable if clip.audio is None]
    if not mute:
        return ()
    which = "in any clip" if len(mute) == len(usable) else f"in {len(mute)} of {len(usable)} clips"
    costs = "these clips cannot be aligned by what they heard; their place rests on stamps, a filmed clock or your word"
    return (Missing(f"sound {which}", costs, "leave the camera's microphone on"),)


def _track(folder: TripFolder) -> Found | Missing:
    fixes = folder.fixes
    if not len(fixes):
        return Missing(
            "track",
            "no positions, speeds, legs or map; no clock by engine against speed",
            "put a GPX, NMEA, FIT or CSV log under track/",
        )
    first, last = float(fixes["time_utc_s"].iloc[0]), float(fixes["time_utc_s"].iloc[-1])
    files = fixes["source"].nunique()
    span = f"{iso_local(first, folder.zone)} to {iso_local(last, folder.zone)}"
    return Found("track fixes", len(fixes), f"{span}, from {files} file{'s' if files != 1 else ''}")


def _log(folder: TripFolder) -> Found | Missing:
    if not folder.events:
        costs = "no catches by name; the edit list has only what is heard and seen to go by"
        return Missing("catch log", costs, "put a CSV with a time column under log/")
    counts = collections.Counter(event.kind for event in folder.events)
    return Found("logged events", len(folder.events), ", ".join(f"{kind} {count}" for kind, count in counts.most_common()))


def _boards_and_lenses(folder: TripFolder) -> tuple[Found | Missing, ...]:
    rows: list[Found | Missing] = []
    if folder.boards:
        rows.append(Found("boards", len(folder.boards), ", ".join(board.name for board in folder.boards)))
    else:
        rows.append(Missing("board", "no lengths from footage", "put the board's description under boards/"))
    if folder.lenses:
        rows.append(Found("lenses", len(folder.lenses), ", ".join(lens.name for lens in folder.lenses.values())))
    without = [camera.name for camera in folder.cameras if camera.lens is None]
    if folder.boards and without:
        costs = "the lens must be solved from the board itself: wider length intervals, now and then none"
        rows.append(
            Missing(f"lens for {', '.join(without)}", costs, 'add lens = "lenses/<name>.toml" to its [[camera]] in trip.toml')
        )
    return tuple(rows)


def _tide(folder: TripFolder) -> Found | Missing:
    if folder.tide:
        return Found("tide turns", len(folder.tide), f"first {iso_local(folder.tide[0].time_utc_s, folder.zone)}")
    return Missing("tide table", "no state of the tide beside catches", "put predicted high and low waters into tide.csv")


def _limits(folder: TripFolder) -> Found | Missing:
    if folder.limits:
        return Found("limits", len(folder.limits), ", ".join(limit.species for limit in folder.limits))
    return Missing("limits", "lengths are not compared with any rule", "write the rules that you looked up into limits.toml")


def _zone_and_date(folder: TripFolder) -> tuple[Found | Missing, ...]:
    rows: list[Found | Missing] = []
    if folder.zone_from.startswith("nothing"):
        costs = "local times are shown as UTC, and camera clocks on local time may be misread by whole hours"
        rows.append(Missing("time zone", costs, 'add timezone = "Europe/Oslo", with your own zone, to trip.toml'))
    else:
        rows.append(Found("time zone", 1, f"{folder.zone.key}, from {folder.zone_from}"))
    if folder.date is None:
        rows.append(
            Missing("date", "log rows without a date cannot be placed", "add date = 2026-05-09, with your own day, to trip.toml")
        )
    else:
        rows.append(Found("date", 1, folder.date.isoformat()))
    return tuple(rows)
