"""One invented trip, built in memory: two cameras, a track, two fish landed, one lost. Nothing in it exists."""

import datetime as dt
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from reelnotes.records.clips import AudioLayout, Camera, Clip, Location
from reelnotes.records.clocks import ClipTime, ClockRun, Clocks
from reelnotes.records.cuts import Cut, EditList, Moment
from reelnotes.records.estimates import Estimate
from reelnotes.records.folder import SizeLimit, TideTurn, TripFolder
from reelnotes.records.lengths import BudgetLine, FishLength
from reelnotes.records.log import LogEvent
from reelnotes.records.problems import Problem
from reelnotes.records.record import TripRecord
from reelnotes.records.settings import CameraSettings, PrivacySettings, TripSettings
from reelnotes.records.tracks import FIX_COLUMNS, Leg, Position, Track
from reelnotes.records.trip import Catch, LineUp, PlacedClip, PlacedEvent, Sight

T0 = dt.datetime(2026, 5, 9, 4, 0, tzinfo=dt.UTC).timestamp()  # 06:00 local
SPOT = (10.62345, 59.41234)  # lon, lat of the first fish
RATE = Fraction(30000, 1001)


def trip(
    spot: str = "blurred",
    place: tuple[float, float] = SPOT,
    title: str = "Grå morgen på fjorden",
    note: str = "took it on the turn",
    units: str = "metric",
    zone: str = "Europe/Oslo",
    blur_km: float = 5.0,
    hide_near_start_m: float = 500.0,
    seed: int = 1,
    evidence: Path | None = None,
) -> TripRecord:
    """The invented trip at a privacy, around a place (lon, lat)."""
    track = made_track(place, seed)
    clips, times = made_clips()
    lineup = made_lineup(track, clips, times, note)
    named = (CameraSettings(name="chest"), CameraSettings(name="stern", trusted=True))
    privacy = PrivacySettings(spot=spot, blur_km=blur_km, hide_near_start_m=hide_near_start_m)
    folder = TripFolder(
        root=Path("invented"),
        settings=TripSettings(title=title, units=units, privacy=privacy, camera=named),
        title=title,
        zone=ZoneInfo(zone),
        zone_from="trip.toml",
        date=dt.date(2026, 5, 9),
        cameras=(Camera("chest"), Camera("stern", trusted=True)),
        clips=clips,
        fixes=pd.DataFrame(columns=list(FIX_COLUMNS)),
        events=tuple(e.event for e in lineup.events),
        tide=(TideTurn(T0 - 3600, 0.21), TideTurn(T0 + 18000, 0.74)),
        limits=(SizeLimit("sea trout", minimum_mm=400.0, source="looked up"),),
    )
    clocks = Clocks(
        times,
        (
            ClockRun(
                "chest",
                1,
                clips[0].name,
                clips[2].name,
                "utc",
                42.2 - 7200.0,
                0.02,
                4.0,
                1.0,
                "local time written as UTC",
                "start",
                ("A filmed clock in CLIP0001.mp4 fixes it to 20 ms",),
                ("The log at 06:42 disagrees by 95 s",),
            ),
            ClockRun(
                "stern",
                1,
                clips[3].name,
                clips[4].name,
                "utc",
                -0.31,
                0.01,
                None,
                None,
                "UTC",
                "start",
                ("Shared sound with chest",),
            ),
        ),
        {"clips/chest/CLIP0003.mp4": "filmed on another day"},
        ("The human's word for chest lies 3.1 s from the filmed clock",),
    )
    return TripRecord(
        folder=folder,
        track=track,
        clocks=clocks,
        lineup=lineup,
        lengths=made_lengths(evidence),
        edit=made_edit(clips[0].name),
        moments=(Moment("landed", clips[0].name, 2.0, 20.0, (5.0, 10.0), 0.9, ("logged",), T0 + 2400, "C1", "E02"),),
        problems=(
            Problem(
                "log/catches.csv line 9, column length", "'6x cm' is no length", "the row was kept without it", "write 63.5 cm"
            ),
        ),
        limit_notes=("C1 is clear of the minimum of 40 cm.",),
        version="0.0.test",
    )


def made_track(place: tuple[float, float], seed: int = 1) -> Track:
    """Three hours from a ramp 1.6 km off, past the place at 40 min, and back; 10 s fixes."""
    rng = np.random.default_rng(seed)
    t = np.arange(0.0, 10800.0, 10.0)
    away = np.interp(t, [0, 300, 1200, 2400, 3000, 9600, 10800], [1600, 1600, 500, 0, 0, 500, 1600])
    aside = np.interp(t, [0, 1200, 2400, 3000, 6000, 9600, 10800], [0, 0, 0, 20, 900, 300, 0])
    lat = place[1] + (away + rng.normal(0, 2, t.size)) / 111_200.0
    lon = place[0] + (aside + rng.normal(0, 2, t.size)) / (111_200.0 * np.cos(np.radians(place[1])))
    points = pd.DataFrame(
        {
            "time_utc_s": T0 + t,
            "lat": lat,
            "lon": (lon + 180.0) % 360.0 - 180.0,
            "sigma_m": 2.0,
            "speed_mps": 1.2,
            "speed_sigma_mps": 0.1,
            "course_deg": np.nan,
            "piece": 0,
        }
    )
    legs = (
        Leg(1, "not moving", T0, T0 + 300, 4.0, 0.01),
        Leg(2, "under way", T0 + 300, T0 + 1200, 1100.0, 3.6),
        Leg(3, "trolling", T0 + 1200, T0 + 9600, 9900.0, 1.2),
        Leg(4, "under way", T0 + 9600, T0 + 10790, 1300.0, 3.5),
    )
    return Track(points, legs, ((T0 + 7000, T0 + 7120),), (("duplicate", 3), ("outlier", 1)))


def made_clips() -> tuple[tuple[Clip, ...], dict[str, ClipTime]]:
    """Three clips of the chest camera (one foreign), three of the stern camera (one without any clue)."""

    def clip(name: str, camera: str, duration_s: float, **more: object) -> Clip:
        base = Clip(
            name,
            Path(name),
            camera,
            "mp4",
            "h264",
            9_000_000,
            1920,
            1080,
            rate=RATE,
            frames=round(duration_s * RATE),
            duration_s=duration_s,
            audio=AudioLayout(48000, 2, "aac"),
            stamp_s=T0,
            make="Nomake",
            model="M1",
            recording=name,
        )
        return replace(base, **more)

    clips = (
        clip("clips/chest/CLIP0001.mp4", "chest", 180.0),
        clip("clips/chest/CLIP0002.mp4", "chest", 240.0, location=Location(SPOT[1], SPOT[0])),
        clip("clips/chest/CLIP0003.mp4", "chest", 30.0),
        clip("clips/stern/DECK_001.mp4", "stern", 600.0),
        clip("clips/stern/DECK_002.mp4", "stern", 90.0),
        clip("clips/stern/DECK_003.mp4", "stern", 20.0),
    )
    times = {
        clips[0].name: ClipTime(clips[0].name, "utc", T0 + 2350.0, 0.0201, 42.2 - 7200.0, 0, 0.0, "filmed clock + sound"),
        clips[1].name: ClipTime(clips[1].name, "utc", T0 + 5990.0, 0.0203, 42.2 - 7200.0, 0, 3640.0, "filmed clock + sound"),
        clips[2].name: ClipTime(clips[2].name, "utc", T0 - 86400.0, 0.5, -7157.8, 0, None, "stamps"),
        clips[3].name: ClipTime(clips[3].name, "utc", T0 + 2200.1234567, 0.0123456, -0.31, 0, -150.0, "trusted + sound"),
        clips[4].name: ClipTime(clips[4].name, "utc", T0 + 8000.0, 60.0, None, 0, None, "engine"),
    }
    return clips, times


def made_lineup(track: Track, clips: tuple[Clip, ...], times: dict[str, ClipTime], note: str) -> LineUp:
    """Placed clips, five events, three fish."""

    def at(t: float) -> Position:
        i = int(np.argmin(np.abs(track.points["time_utc_s"].to_numpy() - t)))
        row = track.points.iloc[i]
        return Position(t, float(row["lat"]), float(row["lon"]), 2.0, 1.2, 0.1, 181.5)

    placed = tuple(
        PlacedClip(
            c,
            times.get(c.name) or ClipTime(c.name, "none"),
            track.leg_at(s) if (s := getattr(times.get(c.name), "start_utc_s", None)) else None,
            at(s) if s else None,
            "on the water" if s else "",
        )
        for c in clips
        if c.name != "clips/chest/CLIP0003.mp4"
    )

    def event(name: str, kind: str, t: float, catch: str, sights: tuple[Sight, ...] = (), **more: object) -> PlacedEvent:
        logged = LogEvent(kind, t + 20.0, 60.0, "log/catches.csv line 2", **more)  # type: ignore[arg-type]
        return PlacedEvent(name, logged, Estimate(t, 8.0, "log"), at(t), track.leg_at(t), sights, catch)

    seen = (Sight(clips[0].name, 1498, 50.0, 8.0), Sight(clips[3].name, 5994, 200.0, 8.0))
    events = (
        event("E01", "strike", T0 + 2300, "C1"),
        event("E02", "landed", T0 + 2400, "C1", seen, species="sea trout", length_mm=630.0, kept=True),
        event("E03", "lost", T0 + 4000, "C2", species="sea trout"),
        event("E04", "landed", T0 + 6000, "C3", (Sight(clips[1].name, 300, 10.0, 8.0),), species="torsk", kept=False),
        event("E05", "rig change", T0 + 7500, ""),
    )
    catches = (
        Catch(
            "C1",
            "landed",
            Estimate(T0 + 2400, 8.0, "log + sound"),
            "sea trout",
            True,
            at(T0 + 2400),
            track.legs[2],
            ("E01", "E02"),
            (clips[0].name, clips[3].name),
            630.0,
            3.2,
            "herring strip",
            "long leader",
            12.5,
            20.0,
            "port",
            note,
        ),
        Catch("C2", "lost", Estimate(T0 + 4000, 8.0, "log"), "sea trout", None, at(T0 + 4000), track.legs[2], ("E03",), ()),
        Catch(
            "C3",
            "landed",
            Estimate(T0 + 6000, 8.0, "log"),
            "torsk",
            False,
            at(T0 + 6000),
            track.legs[2],
            ("E04",),
            (clips[1].name,),
        ),
    )
    return LineUp(placed, events, catches)


def made_lengths(evidence: Path | None = None) -> tuple[FishLength, ...]:
    """One measured, one to be checked of the same fish, one refused."""
    budget = (
        BudgetLine("scale", 1.1, 0.0, True, "board graduations"),
        BudgetLine("parallax", 2.0, -9.5),
        BudgetLine("tail", 1.4, shared=False),
    )
    return (
        FishLength(
            "clips/chest/CLIP0001.mp4",
            100.0,
            112.0,
            "measured",
            "",
            "deck board",
            634.52,
            611.0,
            2.71,
            629.2,
            639.8,
            3.3,
            14,
            lens_from="given",
            reprojection_rms_px=0.412,
            budget=budget,
            catch="C1",
            evidence=evidence,
        ),
        FishLength(
            "clips/stern/DECK_001.mp4",
            260.0,
            265.0,
            "check",
            "the fish is curled",
            "deck board",
            610.0,
            None,
            12.0,
            586.0,
            634.0,
            None,
            3,
            catch="C1",
        ),
        FishLength("clips/chest/CLIP0002.mp4", 60.0, 64.0, "refused", "the tail tip is hidden", "deck board", catch="C3"),
    )


def made_edit(clip: str) -> EditList:
    """Two shots."""
    cuts = tuple(
        Cut(
            n,
            clip,
            a,
            b,
            RATE,
            f"00:00:0{n};00",
            f"00:00:0{n + 5};00",
            107892 + (n - 1) * 150,
            107892 + n * 150,
            f"01:00:0{(n - 1) * 5};00",
            f"01:00:0{n * 5 if n < 2 else 9};00",
            "landed",
            "landed",
            "C1",
        )
        for n, a, b in ((1, 30, 180), (2, 300, 450))
    )
    return EditList("Grå morgen", RATE, 107892, cuts, 10.0)
