"""The trip in words: from the record at its privacy to a Story, all that the writers get."""

import datetime as dt
from pathlib import Path

from reelnotes.records.instants import to_datetime
from reelnotes.records.record import TripRecord
from reelnotes.summary.cameras import tell_cameras
from reelnotes.summary.fish import tell_fish
from reelnotes.summary.lanes import tell_lanes, tell_relative_lanes, time_line
from reelnotes.summary.privacy import Published, decide
from reelnotes.summary.sketch import tell_sketch
from reelnotes.summary.told import Fact, Story, ToldFish, ToldLeg
from reelnotes.summary.words import Words, count, duration, listed, long_date, speed


def tell(record: TripRecord, evidence: Path) -> Story:
    """Tell the trip at the privacy that it asks for. ``evidence``: the folder of the lengths' pictures."""
    published, words = decide(record), Words(record)
    fish = tell_fish(record, published, words, time_line(record), evidence)
    legs = _legs(record, published, words)
    return Story(
        title=published.title(record),
        date=long_date(record.date) if record.date else "",
        lead=_lead(record, fish),
        facts=_facts(record, fish, published),
        fish=fish,
        legs=legs,
        leg_totals=_leg_totals(record),
        cameras=tell_cameras(record, published),
        lanes=tell_lanes(record, published, words),
        relative_lanes=tell_relative_lanes(record, published),
        sketch=tell_sketch(published, legs, fish, words),
        tide=_tide(record, words) if published.extras else (),
        limits=tuple(published.said(note) for note in record.limit_notes),
        cautions=record.cautions,
        remarks=_remarks(record, published),
        clock_words=_clock_words(record, published),
        version=record.version,
        published=published,
    )


def _clock_words(record: TripRecord, published: Published) -> str:
    text = f"Times are local ({record.zone.key})." if published.zone else "Times are local."
    line = time_line(record)
    leads = (
        [to_datetime(t).astimezone(record.zone).utcoffset() or dt.timedelta() for t in (line.start_s, line.end_s)] if line else []
    )
    if leads and leads[1] < leads[0]:
        text += " The clocks went back on this trip: a * marks the second passing of an hour."
    return text


def water_s(record: TripRecord) -> float | None:
    """Seconds from the start of the first moving leg to the end of the last; None without a track."""
    moving = [leg for leg in record.track.legs if leg.kind != "not moving"]
    return moving[-1].end_utc_s - moving[0].start_utc_s if moving else None


def _lead(record: TripRecord, fish: tuple[ToldFish, ...]) -> str:
    landed, lost = [f for f in fish if f.outcome == "landed"], [f for f in fish if f.outcome == "lost"]
    parts = []
    if landed:
        parts.append(f"{len(landed)} landed")
    if lost:
        parts.append(f"{len(lost)} lost")
    text = listed(parts) or ("No fish landed" if record.lineup.events else "No catch was logged")
    on_water = water_s(record)
    return f"{text} in {duration(on_water)} on the water." if on_water else f"{text}."


def _facts(record: TripRecord, fish: tuple[ToldFish, ...], published: Published) -> tuple[Fact, ...]:
    usable = [c for c in record.folder.clips if not record.why_set_aside(c.name)]
    species = list(dict.fromkeys(f.species for f in fish if f.species != "species not logged"))
    on_water = water_s(record)
    facts = [
        ("On the water", duration(on_water) if on_water else "not known: no track"),
        ("Fish landed", str(sum(f.outcome == "landed" for f in fish))),
        ("Fish lost", str(sum(f.outcome == "lost" for f in fish))),
        ("Species", listed(species)),
        ("Filmed", f"{duration(sum(c.duration_s for c in usable))} in {count(len(usable), 'clip')}" if usable else "nothing"),
    ]
    if published.movement and record.track.legs:
        facts.append(("Distance", Words(record).distance(sum(leg.distance_m for leg in record.track.legs))))
    return tuple(Fact(label, value) for label, value in facts if value)


def _legs(record: TripRecord, published: Published, words: Words) -> tuple[ToldLeg, ...]:
    return tuple(
        ToldLeg(
            leg.number,
            leg.kind,
            f"{words.clock(leg.start_utc_s)} to {words.clock(leg.end_utc_s)}",
            duration(leg.end_utc_s - leg.start_utc_s),
            f"{words.distance(leg.distance_m)}, {speed(leg.mean_speed_mps)}" if published.movement else "",
        )
        for leg in record.track.legs
    )


def _leg_totals(record: TripRecord) -> tuple[Fact, ...]:
    totals: dict[str, float] = {}
    for leg in record.track.legs:
        totals[leg.kind] = totals.get(leg.kind, 0.0) + leg.end_utc_s - leg.start_utc_s
    return tuple(Fact(kind, duration(s)) for kind, s in sorted(totals.items(), key=lambda kv: -kv[1]))


def _tide(record: TripRecord, words: Words) -> tuple[Fact, ...]:
    """Predicted turns: the higher of two neighbours is high water."""
    turns = sorted(record.folder.tide, key=lambda t: t.time_utc_s)
    told = []
    for i, turn in enumerate(turns):
        beside = [turns[k].height_m for k in (i - 1, i + 1) if 0 <= k < len(turns)]
        kind = (
            "Water"
            if not beside
            else "High water"
            if turn.height_m > max(beside)
            else "Low water"
            if turn.height_m < min(beside)
            else "Water"
        )
        told.append(Fact(f"{kind} {words.clock(turn.time_utc_s)}", words.height(turn.height_m)))
    return tuple(told)


def _remarks(record: TripRecord, published: Published) -> tuple[str, ...]:
    """What a reader of the whole may miss: clips that took no part, gaps in the track, clocks that disagree."""
    remarks = []
    aside = [c for c in record.folder.clips if record.why_set_aside(c.name)]
    unplaced = [p for p in record.lineup.clips if p.time.placed == "none" and not record.why_set_aside(p.clip.name)]
    if aside:
        remarks.append(f"{count(len(aside), 'file')} took no part: unreadable, empty, or of another day.")
    if unplaced:
        remarks.append(f"{count(len(unplaced), 'clip')} could not be placed: nothing tells when they were filmed.")
    unseen = [e for e in record.lineup.events if not e.sights]
    if unseen:
        remarks.append(
            f"{count(len(unseen), 'logged event')} of {len(record.lineup.events)} happened outside all placed footage."
        )
    if record.track.gaps:
        lost_s = sum(b - a for a, b in record.track.gaps)
        remarks.append(f"The track has {count(len(record.track.gaps), 'gap')}, {duration(lost_s)} in all.")
    if published.extras:
        remarks += [published.said(c) for c in record.clocks.conflicts]
    return tuple(remarks)
