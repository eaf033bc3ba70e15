"""Fish, one by one, as they are told."""

import base64
import io
import logging
from pathlib import Path

from PIL import Image, ImageOps

from reelnotes.records.lengths import FishLength
from reelnotes.records.record import TripRecord
from reelnotes.records.trip import Catch
from reelnotes.summary.lanes import Line
from reelnotes.summary.privacy import Published
from reelnotes.summary.told import Fact, ToldFish
from reelnotes.summary.words import Words, duration, speed

log = logging.getLogger(__name__)

PICTURE_PX = 1000  # longest side of a picture in the page: sharp on a phone, small in the file


def tell_fish(record: TripRecord, published: Published, words: Words, line: Line | None, evidence: Path) -> tuple[ToldFish, ...]:
    """Every fish in time order, landed and lost."""
    return tuple(_fish(c, record, published, words, line, evidence) for c in record.lineup.catches)


def _fish(c: Catch, record: TripRecord, published: Published, words: Words, line: Line | None, evidence: Path) -> ToldFish:
    length = record.length_of(c)
    return ToldFish(
        id=c.id,
        outcome=c.outcome,
        species=published.text(c.species) or "species not logged",
        time=words.clock(c.time.value),
        fate="lost" if c.outcome == "lost" else {True: "kept", False: "released", None: "landed"}[c.kept],
        **(_length_texts(length, published, words) if length else _no_length(c, record, published)),
        length_mm=length.total_length_mm if length else c.logged_length_mm,
        logged=words.length(c.logged_length_mm) if c.logged_length_mm else "",
        facts=_facts(c, record, published, words),
        note=published.text(c.note) if published.extras else "",
        picture=_picture(length, evidence) if length and published.extras else "",
        share=line.at(c.time.value) / 100.0 if line else None,
    )


def _length_texts(length: FishLength, published: Published, words: Words) -> dict:  # type: ignore[type-arg]  # keyword arguments of ToldFish
    assert length.total_length_mm is not None
    known = length.low_mm is not None and length.high_mm is not None
    texts = {
        "length": words.length(length.total_length_mm),
        "interval": words.interval(length.low_mm, length.high_mm)
        if length.low_mm is not None and length.high_mm is not None
        else "",
        "measure": length.measure,
        "doubt": "" if length.verdict == "measured" else published.said(length.reason) or "to be checked",
        "verdict": length.verdict,
    }
    if not known and not texts["doubt"]:
        texts["doubt"] = "no interval is known"
    return texts


def _no_length(c: Catch, record: TripRecord, published: Published) -> dict:  # type: ignore[type-arg]  # keyword arguments of ToldFish
    refused = next((f for f in record.lengths if f.catch == c.id and f.verdict == "refused"), None)
    return {"doubt": f"not measured: {published.said(refused.reason)}", "verdict": "refused"} if refused else {}


def _facts(c: Catch, record: TripRecord, published: Published, words: Words) -> tuple[Fact, ...]:
    length = record.length_of(c)
    facts = [
        ("Fork length, measured", words.length(length.fork_length_mm) if length and length.fork_length_mm else ""),
        ("Weight, logged", words.weight(c.logged_weight_kg) if c.logged_weight_kg else ""),
        ("Bait", published.text(c.bait)),
        ("Rig", published.text(c.rig)),
        ("Depth", words.depth(c.depth_m) if c.depth_m is not None else ""),
        ("Setback", words.depth(c.setback_m) if c.setback_m is not None else ""),
        ("Rod", published.text(c.rod)),
        ("Boat", _boat(c)),
        ("Fight", _fight(c, record)),
        ("Filmed by", _filmed_by(c, record, published)),
    ]
    return tuple(Fact(label, value) for label, value in facts if value)


def _boat(c: Catch) -> str:
    if c.position is None or not c.position.speed_tells:
        return c.leg.kind if c.leg else ""
    return f"{c.leg.kind}, {speed(c.position.speed_mps)}" if c.leg else speed(c.position.speed_mps)


def _fight(c: Catch, record: TripRecord) -> str:
    """From the strike, or the hook-up, to the end; only when both were logged to better than the fight is long."""
    begun = next((e for e in record.lineup.events if e.id in c.events and e.event.kind in ("strike", "hooked")), None)
    if begun is None:
        return ""
    length_s, doubt_s = c.time.value - begun.time.value, (c.time.sigma**2 + begun.time.sigma**2) ** 0.5
    return f"about {duration(length_s)}" if length_s > 2.0 * doubt_s else ""


def _filmed_by(c: Catch, record: TripRecord, published: Published) -> str:
    cameras = {p.clip.name: p.clip.camera for p in record.lineup.clips}
    names = sorted({published.camera(cameras[name]) for name in c.clips if name in cameras})
    return ", ".join(names) or "no camera"


def _picture(length: FishLength, evidence: Path) -> str:
    """The evidence picture as a data URI: small, upright, and without any metadata; '' when it cannot be had."""
    if length.evidence is None:
        return ""
    path = evidence / length.evidence
    try:
        with Image.open(path) as source:
            picture = ImageOps.exif_transpose(source).convert("RGB")
            picture.thumbnail((PICTURE_PX, PICTURE_PX))
            clean = Image.frombytes("RGB", picture.size, picture.tobytes())  # pixels only: nothing else comes along
    except (OSError, ValueError) as error:
        log.warning("%s: the picture cannot be read and is left out of the summary (%s)", path, error)
        return ""
    data = io.BytesIO()
    clean.save(data, "JPEG", quality=82, optimize=True)
    return "data:image/jpeg;base64," + base64.b64encode(data.getvalue()).decode("ascii")
