"""The flat tables: one row a thing, the columns that other programs rely on first, ours after them.

A spreadsheet takes a cell that begins with ``=``, ``+``, ``-`` or ``@`` for a formula. Free text that
begins so gets a leading apostrophe, which spreadsheets show as plain text. A clip's name must stay
a path that opens, so there the guard is ``./``, which names the same file. Numbers stay as they are.
"""

import csv
import io
from collections.abc import Iterable, Mapping
from pathlib import Path
from zoneinfo import ZoneInfo

from reelnotes.ledger.figures import cell, significant_cell
from reelnotes.media.writing import write_text
from reelnotes.records.clips import Clip
from reelnotes.records.clocks import ClipTime
from reelnotes.records.instants import iso_local, iso_utc
from reelnotes.records.lengths import FishLength
from reelnotes.records.record import TripRecord
from reelnotes.records.tracks import Position
from reelnotes.records.trip import Catch, PlacedClip
from reelnotes.records.units import knots

CLIP_COLUMNS = (
    "clip",
    "camera",
    "start_utc",
    "end_utc",
    "placed",
    "clock_offset_s",
    "clock_sigma_s",
    "clock_from",
    "leg",
    "lat",
    "lon",
    "set_aside",
    "start_local",
    "end_local",
    "phase",
    "position_sigma_m",
    "speed_kn",
    "speed_sigma_kn",
    "course_deg",
    "position_interpolated",
    "duration_s",
    "frames",
    "frame_rate",
    "variable_rate",
    "width_px",
    "height_px",
    "rotation_deg",
    "codec",
    "make",
    "model",
    "recording",
    "chapter",
    "relative_group",
    "relative_start_s",
    "size_bytes",
)
CATCH_COLUMNS = (
    "catch",
    "time_utc",
    "species",
    "kept",
    "lat",
    "lon",
    "speed_kn",
    "clips",
    "logged_length_mm",
    "measured_length_mm",
    "time_local",
    "time_sigma_s",
    "outcome",
    "leg",
    "position_sigma_m",
    "speed_sigma_kn",
    "course_deg",
    "measured_low_mm",
    "measured_high_mm",
    "measured_fork_mm",
    "measured_verdict",
    "logged_weight_kg",
    "bait",
    "rig",
    "depth_m",
    "setback_m",
    "rod",
    "note",
    "events",
)
LENGTH_COLUMNS = (
    "clip",
    "start_s",
    "end_s",
    "board",
    "catch",
    "total_length_mm",
    "fork_length_mm",
    "u_mm",
    "low_mm",
    "high_mm",
    "frames_used",
    "verdict",
    "reason",
    "start_utc",
    "start_local",
    "species",
    "u_fork_mm",
    "measure",
    "lens_from",
    "reprojection_rms_px",
    "evidence",
)


def write_tables(record: TripRecord, out: Path) -> tuple[Path, ...]:
    """Write clips.csv, catches.csv and lengths.csv; return their paths. UTF-8, commas, LF line ends."""
    written = []
    for name, columns, rows in (
        ("clips.csv", CLIP_COLUMNS, clip_rows(record)),
        ("catches.csv", CATCH_COLUMNS, catch_rows(record)),
        ("lengths.csv", LENGTH_COLUMNS, length_rows(record)),
    ):
        write_text(out / name, _table(columns, rows))
        written.append(out / name)
    return tuple(written)


def _table(columns: tuple[str, ...], rows: Iterable[Mapping[str, str]]) -> str:
    text = io.StringIO()
    writer = csv.DictWriter(text, columns, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def clip_rows(record: TripRecord) -> list[dict[str, str]]:
    """One row for every file that looked like a clip: placed ones in time order, then the rest by name."""
    placed = {p.clip.name for p in record.lineup.clips}
    others = [
        PlacedClip(c, record.clocks.clips.get(c.name) or ClipTime(c.name, "none"))
        for c in sorted(record.folder.clips, key=lambda c: c.name)
        if c.name not in placed
    ]
    return [_clip_row(p, record) for p in (*record.lineup.clips, *others)]


def _clip_row(p: PlacedClip, record: TripRecord) -> dict[str, str]:
    aside = record.why_set_aside(p.clip.name)
    if aside:  # a clip of another day has no place in this trip, whatever its own clock says
        p = PlacedClip(p.clip, ClipTime(p.clip.name, "none"))
    time = p.time
    start = time.start_utc_s if time.placed == "utc" else None
    end = None if start is None else start + p.clip.duration_s
    return {
        "clip": path_cell(p.clip.name),
        "camera": text_cell(p.clip.camera),
        "start_utc": iso_utc(start),
        "end_utc": iso_utc(end),
        "placed": time.placed,
        "clock_offset_s": cell(time.offset_s, 3),
        "clock_sigma_s": significant_cell(time.sigma_s),
        "clock_from": text_cell(time.clock_from),
        "leg": p.leg.label if p.leg else "",
        "set_aside": text_cell(aside),
        "start_local": _local(start, record.zone),
        "end_local": _local(end, record.zone),
        "phase": p.when,
        "relative_group": str(time.group) if time.placed == "relative" else "",
        "relative_start_s": cell(time.relative_start_s, 3) if time.placed == "relative" else "",
        **_place_cells(p.position),
        "position_interpolated": "" if p.position is None else _yes(p.position.interpolated),
        **(_file_cells(p.clip) if p.clip.usable else {"size_bytes": str(p.clip.size_bytes)}),
    }


def _file_cells(clip: Clip) -> dict[str, str]:
    return {
        "duration_s": cell(clip.duration_s, 3),
        "frames": "" if clip.frames is None else str(clip.frames),
        "frame_rate": str(clip.rate),
        "variable_rate": _yes(clip.variable_rate),
        "width_px": str(clip.width_px),
        "height_px": str(clip.height_px),
        "rotation_deg": str(clip.rotation_deg),
        "codec": clip.codec,
        "make": text_cell(clip.make),
        "model": text_cell(clip.model),
        "recording": path_cell(clip.recording),
        "chapter": str(clip.chapter) if clip.chapter else "",
        "size_bytes": str(clip.size_bytes),
    }


def _place_cells(position: Position | None) -> dict[str, str]:
    if position is None:
        return {}
    return {
        "lat": cell(position.lat, 6),
        "lon": cell(position.lon, 6),
        "position_sigma_m": cell(position.sigma_m, 1),
        "speed_kn": cell(knots(position.speed_mps), 2),
        "speed_sigma_kn": cell(knots(position.speed_sigma_mps), 2),
        "course_deg": cell(position.course_deg, 1),
    }


def catch_rows(record: TripRecord) -> list[dict[str, str]]:
    """One row a fish, landed or lost (see ``outcome``), in time order."""
    return [_catch_row(c, record) for c in record.lineup.catches]


def _catch_row(c: Catch, record: TripRecord) -> dict[str, str]:
    length = record.length_of(c)
    return {
        "catch": c.id,
        "time_utc": iso_utc(c.time.value),
        "species": text_cell(c.species),
        "kept": {True: "kept", False: "released", None: ""}[c.kept],
        "clips": "; ".join(path_cell(name) for name in c.clips),
        "logged_length_mm": cell(c.logged_length_mm, 1),
        "time_local": _local(c.time.value, record.zone),
        "time_sigma_s": significant_cell(c.time.sigma),
        "outcome": c.outcome,
        "leg": c.leg.label if c.leg else "",
        **_place_cells(c.position),
        "measured_length_mm": cell(length.total_length_mm, 1) if length else "",
        "measured_low_mm": cell(length.low_mm, 1) if length else "",
        "measured_high_mm": cell(length.high_mm, 1) if length else "",
        "measured_fork_mm": cell(length.fork_length_mm, 1) if length else "",
        "measured_verdict": length.verdict if length else "",
        "logged_weight_kg": cell(c.logged_weight_kg, 3),
        "bait": text_cell(c.bait),
        "rig": text_cell(c.rig),
        "depth_m": cell(c.depth_m, 2),
        "setback_m": cell(c.setback_m, 2),
        "rod": text_cell(c.rod),
        "note": text_cell(c.note),
        "events": "; ".join(c.events),
    }


def length_rows(record: TripRecord) -> list[dict[str, str]]:
    """One row a fish found on a board, in the order measured; refused ones too, with the reason."""
    species = {c.id: c.species for c in record.lineup.catches}
    return [_length_row(f, species.get(f.catch, ""), record) for f in record.lengths]


def _length_row(f: FishLength, species: str, record: TripRecord) -> dict[str, str]:
    clip = record.lineup.clip(f.clip)
    start = clip.time.start_utc_s + f.start_s if clip is not None and clip.time.start_utc_s is not None else None
    return {
        "clip": path_cell(f.clip),
        "start_s": cell(f.start_s, 3),
        "end_s": cell(f.end_s, 3),
        "board": text_cell(f.board),
        "catch": f.catch,
        "total_length_mm": cell(f.total_length_mm, 1),
        "fork_length_mm": cell(f.fork_length_mm, 1),
        "u_mm": cell(f.u_mm, 2),
        "low_mm": cell(f.low_mm, 1),
        "high_mm": cell(f.high_mm, 1),
        "frames_used": str(f.frames_used),
        "verdict": f.verdict,
        "reason": text_cell(f.reason),
        "start_utc": iso_utc(start),
        "start_local": _local(start, record.zone),
        "species": text_cell(species),
        "u_fork_mm": cell(f.u_fork_mm, 2),
        "measure": f.measure if f.total_length_mm is not None else "",
        "lens_from": text_cell(f.lens_from),
        "reprojection_rms_px": cell(f.reprojection_rms_px, 2),
        "evidence": f.evidence.as_posix() if f.evidence else "",
    }


def text_cell(text: str) -> str:
    """Free text made safe for spreadsheets; line ends become spaces."""
    text = " ".join(text.split())
    return "'" + text if text[:1] in ("=", "+", "-", "@") else text


def path_cell(name: str) -> str:
    """A clip's name made safe for spreadsheets while it still names the same file."""
    return "./" + name if name[:1] in ("=", "+", "-", "@", "\t", "\r") else name


def _local(t_utc_s: float | None, zone: ZoneInfo) -> str:
    return iso_local(t_utc_s, zone, digits=3)


def _yes(flag: bool) -> str:
    return "yes" if flag else "no"
