"""The parts of trip.json, one function a part: records in, plain JSON types out."""

from typing import Any

from reelnotes.ledger.figures import degrees, millimetres, rounded, seconds, significant
from reelnotes.records.clips import Clip
from reelnotes.records.clocks import ClipTime, ClockRun
from reelnotes.records.instants import iso_local, iso_utc
from reelnotes.records.lengths import FishLength
from reelnotes.records.record import TripRecord
from reelnotes.records.tracks import Position
from reelnotes.records.trip import Catch, PlacedClip, PlacedEvent
from reelnotes.records.units import knots

Json = dict[str, Any]


def trip(record: TripRecord) -> Json:
    """Title, date, zone, units and what may be published."""
    privacy = record.privacy
    return {
        "title": record.title,
        "date": record.date.isoformat() if record.date else None,
        "timezone": record.zone.key,
        "timezone_from": record.folder.zone_from,
        "units": record.units,
        "privacy": {"spot": privacy.spot, "blur_km": privacy.blur_km, "hide_near_start_m": privacy.hide_near_start_m},
    }


def cameras(record: TripRecord) -> list[Json]:
    """Each camera with the settings that were found or given."""
    return [
        {
            "name": c.name,
            "clock": c.clock,
            "stamp": c.stamp,
            "trusted": c.trusted,
            "lens": c.lens,
            "given_offset_s": seconds(c.offset_s),
            "clips": sum(clip.camera == c.name for clip in record.folder.clips),
        }
        for c in record.folder.cameras
    ]


def clocks(record: TripRecord) -> Json:
    """Each clock run as solved, with the clues that were used and dropped, and what contradicted what."""
    return {"runs": [_run(r) for r in record.clocks.runs], "conflicts": list(record.clocks.conflicts)}


def _run(r: ClockRun) -> Json:
    return {
        "camera": r.camera,
        "run": r.run,
        "first_clip": r.first,
        "last_clip": r.last,
        "placed": r.placed,
        "offset_s": seconds(r.offset_s),
        "sigma_s": significant(r.sigma_s),
        "drift_ppm": rounded(r.drift_ppm, 2),
        "drift_sigma_ppm": rounded(r.drift_sigma_ppm, 2),
        "reading": r.reading,
        "stamps_mark": r.marks,
        "clues_used": list(r.used),
        "clues_dropped": list(r.dropped),
    }


def clips(record: TripRecord) -> list[Json]:
    """Every file that looked like a clip: placed ones in time order, then the rest by name."""
    names = {p.clip.name for p in record.lineup.clips}
    rest = [
        PlacedClip(c, record.clocks.clips.get(c.name) or ClipTime(c.name, "none"))
        for c in sorted(record.folder.clips, key=lambda c: c.name)
        if c.name not in names
    ]
    return [_clip(p, record) for p in (*record.lineup.clips, *rest)]


def _clip(p: PlacedClip, record: TripRecord) -> Json:
    aside = record.why_set_aside(p.clip.name)
    if aside:  # a clip of another day has no place in this trip, whatever its own clock says
        p = PlacedClip(p.clip, ClipTime(p.clip.name, "none"))
    time = p.time
    start = time.start_utc_s if time.placed == "utc" else None
    return {
        "clip": p.clip.name,
        "camera": p.clip.camera,
        "set_aside": aside or None,
        "placed": time.placed,
        **_when(start, record, "start"),
        "end_utc": iso_utc(None if start is None else start + p.clip.duration_s) or None,
        "clock_offset_s": seconds(time.offset_s),
        "clock_sigma_s": significant(time.sigma_s),
        "clock_from": time.clock_from,
        "relative": {"group": time.group, "start_s": seconds(time.relative_start_s)} if time.placed == "relative" else None,
        "phase": p.when or None,
        "leg": p.leg.number if p.leg else None,
        "position": _position(p.position),
        "media": _media(p.clip) if p.clip.usable else None,
        "size_bytes": p.clip.size_bytes,
    }


def _media(c: Clip) -> Json:
    sound = c.audio
    return {
        "container": c.container,
        "codec": c.codec,
        "width_px": c.width_px,
        "height_px": c.height_px,
        "rotation_deg": c.rotation_deg,
        "frame_rate": str(c.rate),
        "variable_rate": c.variable_rate,
        "frames": c.frames,
        "duration_s": seconds(c.duration_s),
        "audio": None
        if sound is None
        else {
            "sample_rate_hz": sound.sample_rate_hz,
            "channels": sound.channels,
            "codec": sound.codec,
            "start_s": seconds(sound.start_s),
        },
        "timecode": c.timecode,
        "make": c.make,
        "model": c.model,
        # The camera's own digits: a clock whose meaning is another matter, so no "Z" at its end.
        "stamp": iso_utc(c.stamp_s, 0).removesuffix("Z") or None,
        "location": None if c.location is None else {"lat": degrees(c.location.lat), "lon": degrees(c.location.lon)},
        "recording": c.recording,
        "chapter": c.chapter or None,
        "chapters": c.chapters or None,
    }


def track(record: TripRecord) -> Json:
    """Extent, legs, gaps and what was thrown away; the cleaned points themselves go to post/ if privacy allows."""
    points = record.track.points
    start, end = (
        (None, None) if record.track.empty else (float(points["time_utc_s"].iloc[0]), float(points["time_utc_s"].iloc[-1]))
    )
    return {
        "fixes": len(points),
        **_when(start, record, "start"),
        **_when(end, record, "end"),
        "legs": [
            {
                "leg": leg.number,
                "kind": leg.kind,
                **_when(leg.start_utc_s, record, "start"),
                **_when(leg.end_utc_s, record, "end"),
                "distance_m": rounded(leg.distance_m, 1),
                "mean_speed_mps": rounded(leg.mean_speed_mps, 3),
                "mean_speed_kn": rounded(knots(leg.mean_speed_mps), 2),
            }
            for leg in record.track.legs
        ],
        "gaps": [
            {**_when(a, record, "start"), **_when(b, record, "end"), "length_s": seconds(b - a)} for a, b in record.track.gaps
        ],
        "dropped": [{"reason": reason, "fixes": count} for reason, count in record.track.dropped],
    }


def events(record: TripRecord) -> list[Json]:
    """Every logged event with its best instant, place, and the frames that show it."""
    return [_event(e, record) for e in record.lineup.events]


def _event(e: PlacedEvent, record: TripRecord) -> Json:
    log = e.event
    return {
        "event": e.id,
        "kind": log.kind,
        **_when(e.time.value, record, "time"),
        "time_sigma_s": significant(e.time.sigma),
        "time_from": e.time.source,
        "logged_utc": iso_utc(log.time_utc_s),
        "source": log.source,
        "catch": e.catch or None,
        "position": _position(e.position),
        "leg": e.leg.number if e.leg else None,
        "seen_in": [
            {"clip": s.clip, "frame": s.frame, "at_s": seconds(s.at_s), "sigma_s": significant(s.sigma_s)} for s in e.sights
        ],
        "species": log.species,
        "length_mm": millimetres(log.length_mm),
        "weight_kg": rounded(log.weight_kg, 3),
        "kept": log.kept,
        "bait": log.bait,
        "rig": log.rig,
        "depth_m": rounded(log.depth_m, 2),
        "setback_m": rounded(log.setback_m, 2),
        "rod": log.rod,
        "note": log.note,
        "extra": dict(log.extra),
    }


def catches(record: TripRecord) -> list[Json]:
    """Every fish, landed or lost."""
    return [_catch(c, record) for c in record.lineup.catches]


def _catch(c: Catch, record: TripRecord) -> Json:
    length = record.length_of(c)
    return {
        "catch": c.id,
        "outcome": c.outcome,
        **_when(c.time.value, record, "time"),
        "time_sigma_s": significant(c.time.sigma),
        "time_from": c.time.source,
        "species": c.species,
        "kept": c.kept,
        "position": _position(c.position),
        "leg": c.leg.number if c.leg else None,
        "events": list(c.events),
        "clips": list(c.clips),
        "logged_length_mm": millimetres(c.logged_length_mm),
        "measured_length_mm": millimetres(length.total_length_mm) if length else None,
        "measured_in": {"clip": length.clip, "start_s": seconds(length.start_s), "verdict": length.verdict} if length else None,
        "logged_weight_kg": rounded(c.logged_weight_kg, 3),
        "bait": c.bait,
        "rig": c.rig,
        "depth_m": rounded(c.depth_m, 2),
        "setback_m": rounded(c.setback_m, 2),
        "rod": c.rod,
        "note": c.note,
    }


def lengths(record: TripRecord) -> list[Json]:
    """Every fish found on a board, with its error budget; refused ones too, with the reason."""
    return [_length(f) for f in record.lengths]


def _length(f: FishLength) -> Json:
    return {
        "clip": f.clip,
        "start_s": seconds(f.start_s),
        "end_s": seconds(f.end_s),
        "board": f.board,
        "catch": f.catch or None,
        "verdict": f.verdict,
        "reason": f.reason,
        "measure": f.measure,
        "total_length_mm": millimetres(f.total_length_mm),
        "fork_length_mm": millimetres(f.fork_length_mm),
        "u_mm": rounded(f.u_mm, 2),
        "low_mm": millimetres(f.low_mm),
        "high_mm": millimetres(f.high_mm),
        "u_fork_mm": rounded(f.u_fork_mm, 2),
        "frames_used": f.frames_used,
        "lens_from": f.lens_from,
        "reprojection_rms_px": rounded(f.reprojection_rms_px, 2),
        "evidence": f.evidence.as_posix() if f.evidence else None,
        "budget": [
            {
                "name": b.name,
                "u_mm": rounded(b.u_mm, 3),
                "correction_mm": rounded(b.correction_mm, 3),
                "shared": b.shared,
                "words": b.words,
            }
            for b in f.budget
        ],
    }


def moments(record: TripRecord) -> list[Json]:
    """What was worth showing, and why."""
    return [
        {
            "kind": m.kind,
            "clip": m.clip,
            "start_s": seconds(m.start_s),
            "end_s": seconds(m.end_s),
            "core_s": [seconds(t) for t in m.core_s],
            "weight": rounded(m.weight, 3),
            "reasons": list(m.reasons),
            "catch": m.catch or None,
            "event": m.event or None,
        }
        for m in record.moments
    ]


def cuts(record: TripRecord) -> Json | None:
    """The edit list in frames and timecode, or null when there is none."""
    edit = record.edit
    if edit is None:
        return None
    return {
        "title": edit.title,
        "frame_rate": str(edit.rate),
        "length_s": seconds(edit.length_s),
        "wanted_s": seconds(edit.wanted_s),
        "shots": [
            {
                "cut": c.number,
                "clip": c.clip,
                "in_frame": c.in_frame,
                "out_frame": c.out_frame,
                "frame_rate": str(c.rate),
                "in_tc": c.in_tc,
                "out_tc": c.out_tc,
                "record_in_tc": c.record_in_tc,
                "record_out_tc": c.record_out_tc,
                "kind": c.kind,
                "why": c.why,
                "catch": c.catch or None,
            }
            for c in edit.cuts
        ],
    }


def tide(record: TripRecord) -> list[Json]:
    """The tide table as given."""
    return [{**_when(t.time_utc_s, record, "time"), "height_m": rounded(t.height_m, 2)} for t in record.folder.tide]


def limits(record: TripRecord) -> Json:
    """The rules that the angler looked up, and how the lengths stand against them."""
    return {
        "rules": [
            {
                "species": r.species,
                "measure": r.measure,
                "minimum_mm": millimetres(r.minimum_mm),
                "maximum_mm": millimetres(r.maximum_mm),
                "slot_mm": None if r.slot_mm is None else [millimetres(x) for x in r.slot_mm],
                "bag": r.bag,
                "source": r.source,
            }
            for r in record.folder.limits
        ],
        "statements": list(record.limit_notes),
    }


def problems(record: TripRecord) -> list[Json]:
    """What was wrong with the input and what was done about it."""
    return [{"where": p.where, "what": p.what, "done": p.done, "advice": p.advice, "serious": p.serious} for p in record.problems]


def _when(t_utc_s: float | None, record: TripRecord, name: str) -> Json:
    return {f"{name}_utc": iso_utc(t_utc_s) or None, f"{name}_local": iso_local(t_utc_s, record.zone, digits=3) or None}


def _position(p: Position | None) -> Json | None:
    if p is None:
        return None
    return {
        "lat": degrees(p.lat),
        "lon": degrees(p.lon),
        "sigma_m": rounded(p.sigma_m, 1),
        "speed_mps": rounded(p.speed_mps, 3),
        "speed_sigma_mps": rounded(p.speed_sigma_mps, 3),
        "course_deg": rounded(p.course_deg, 1),
        "interpolated": p.interpolated,
    }
