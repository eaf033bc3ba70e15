"""The story of the clocks: how far off each camera was, how well that is known, and what settled it."""

from reelnotes.records.clocks import ClockRun
from reelnotes.records.instants import to_datetime
from reelnotes.records.record import TripRecord
from reelnotes.summary.privacy import Published
from reelnotes.summary.told import ToldCamera
from reelnotes.summary.words import clock_error, count, good_to, listed

SECONDS_A_DAY_PER_PPM = 0.0864
CLUE_WORDS = {
    "stamp": "its own stamps",
    "stamps": "its own stamps",
    "own stamps": "its own stamps",
    "trusted": "a clock that is trusted",
    "sound": "sound shared with other cameras",
    "filmed clock": "a filmed clock",
    "engine": "engine noise against the boat's speed",
    "log": "the log",
    "human": "the angler's word",
    "turns": "turns seen against the track",
}
UNTOLD = "Nothing tells when its clips were filmed."
TELLING_S = 600.0  # where the zone is not told, neither is a clock error that could be one of zones


def tell_cameras(record: TripRecord, published: Published) -> tuple[ToldCamera, ...]:
    """One entry a clock run, in the order of cameras; cameras without any run last."""
    told = [_run(r, record, published) for r in record.clocks.runs]
    have = {r.camera for r in record.clocks.runs}
    for camera in record.folder.cameras:
        n = sum(c.camera == camera.name for c in record.folder.clips)
        if camera.name not in have and n:
            told.append(ToldCamera(published.camera(camera.name), count(n, "clip"), UNTOLD))
    return tuple(told)


def _run(run: ClockRun, record: TripRecord, published: Published) -> ToldCamera:
    several = sum(r.camera == run.camera for r in record.clocks.runs) > 1
    name = published.camera(run.camera) + (f", clock set {run.run}" if several else "")
    clips = [c for c in record.folder.clips if c.camera == run.camera and not record.why_set_aside(c.name)]
    return ToldCamera(
        name=name,
        clips="" if several else count(len(clips), "clip"),
        sentence=" ".join(s for s in (_error(run, record, published), _drift(run), _certainty(run, record)) if s),
        used=tuple(published.said(w) for w in run.used) if published.extras else (),
        dropped=tuple(published.said(w) for w in run.dropped) if published.extras else (),
    )


def _error(run: ClockRun, record: TripRecord, published: Published) -> str:
    if run.placed == "relative":
        with_whom = "those of other cameras" if _has_company(run, record) else "each other"
        return f"Nothing ties its clock to the time of day; its clips are placed only against {with_whom}."
    if run.placed == "none" or run.offset_s is None:
        placed = run.placed == "utc"
        return "Its clips carry no time of their own; it comes from other clues." if placed else UNTOLD
    if "reset" in run.reading:
        return "Its clock had lost the date; the time comes from other clues."
    local = run.reading.startswith("local")
    slow_s = run.offset_s + (_zone_offset_s(run, record) if local else 0.0)
    kept = {
        True: "It kept local time",
        False: "It kept UTC" if run.reading == "UTC" else "What its clock meant is not known; it",
    }[local]
    if not published.zone:
        kept = "Its clock"
        if abs(slow_s) > TELLING_S or not (local or run.reading == "UTC"):
            return "Its clock was set to another time and has been put right."
    joint = " and" if kept.startswith("It kept") else ""
    if abs(slow_s) < max(0.05, 2.0 * (run.sigma_s or 0.0)):
        return f"{kept}{joint} was right, as far as can be told."
    return f"{kept}{joint} was {clock_error(slow_s)} {'slow' if slow_s > 0 else 'fast'}."


def _has_company(run: ClockRun, record: TripRecord) -> bool:
    """True when clips of another camera are placed in the same group."""
    time = record.clocks.clips.get(run.first)
    cameras = {c.name: c.camera for c in record.folder.clips}
    return time is not None and any(
        t.group == time.group and t.placed == "relative" and cameras.get(name) != run.camera
        for name, t in record.clocks.clips.items()
    )


def _zone_offset_s(run: ClockRun, record: TripRecord) -> float:
    time = record.clocks.clips.get(run.first)
    if time is None or time.start_utc_s is None:
        return 0.0
    offset = to_datetime(time.start_utc_s).astimezone(record.zone).utcoffset()
    return offset.total_seconds() if offset else 0.0


def _drift(run: ClockRun) -> str:
    if run.drift_ppm is None or run.drift_sigma_ppm is None or abs(run.drift_ppm) < 2.0 * run.drift_sigma_ppm:
        return ""
    a_day = run.drift_ppm * SECONDS_A_DAY_PER_PPM
    return f"It {'loses' if a_day > 0 else 'gains'} {abs(a_day):.1f} s a day."


def _certainty(run: ClockRun, record: TripRecord) -> str:
    times = [record.clocks.clips.get(name) for name in _clips_of(run, record)]
    told = good_to(t.sigma_s for t in times if t is not None and t.placed == "utc")
    if run.placed != "utc" or not told:
        return ""
    time = record.clocks.clips.get(run.first)
    kinds = time.clock_from.split(" + ") if time is not None and time.clock_from else []
    by = f", settled by {listed(list(dict.fromkeys(CLUE_WORDS.get(kind, kind) for kind in kinds)))}" if kinds else ""
    return f"Its times are good to {told} (95 %){by}."


def _clips_of(run: ClockRun, record: TripRecord) -> list[str]:
    """The clips of a clock run that take part: those of its camera from its first to its last."""
    mine = [p.clip.name for p in record.lineup.clips if p.clip.camera == run.camera]
    if run.first in mine and run.last in mine:
        mine = mine[mine.index(run.first) : mine.index(run.last) + 1]
    return [name for name in mine if not record.why_set_aside(name)]
