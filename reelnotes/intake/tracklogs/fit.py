"""FIT activity files, by fitdecode. Positions are semicircles (2^31 = 180 degrees), times UTC since 1989-12-31.

A recorder that lost power leaves a file without its end; what was decoded before the damage is kept.
"""

import logging
import struct
from pathlib import Path

import fitdecode
import pandas as pd

from reelnotes.intake.tracklogs.fixes import NAN, Fix, fixes_frame
from reelnotes.intake.tracklogs.tally import Tally
from reelnotes.records.problems import Problem, UnreadableError

log = logging.getLogger(__name__)

DEGREES_PER_SEMICIRCLE = 180.0 / 2**31
FIT_EPOCH_POSIX_S = 631_065_600  # 1989-12-31T00:00:00Z
SYSTEM_TIME_BELOW = 0x10000000  # smaller stamps count from power-on, not from the epoch (FIT profile, type date_time)
POSITION_INVALID = 0x7FFFFFFF

# What a decoder meets in damaged bytes: its own errors, and what broken lengths and types make of struct and text.
_DAMAGE = (fitdecode.FitError, struct.error, ValueError, KeyError, IndexError, TypeError, AttributeError, OverflowError, EOFError)


def read_fit(path: Path, name: str) -> tuple[pd.DataFrame, tuple[Problem, ...]]:
    """Read a FIT file -> fixes, problems. Raises UnreadableError when not one message can be decoded."""
    data = path.read_bytes()
    if data[8:12] != b".FIT":
        raise UnreadableError(name, "this is no FIT file: the mark .FIT is missing from its header")
    tally, messages, damage = Tally(), 0, ""
    fixes: list[Fix] = []
    try:
        # No processor: times and semicircles are turned here, exactly, and not into objects first.
        with fitdecode.FitReader(
            data, processor=None, check_crc=fitdecode.CrcCheck.RAISE, error_handling=fitdecode.ErrorHandling.RAISE
        ) as reader:
            for frame in reader:
                if frame.frame_type != fitdecode.FIT_FRAME_DATA:
                    continue
                messages += 1
                if frame.name == "record":
                    _take(frame, fixes, tally)
    except fitdecode.FitCRCError:
        damage = "the checksum of the file is wrong"
    except _DAMAGE as error:
        log.debug("%s: %s", name, error)
        damage = "the file is damaged or ends in the middle"
    if not messages:
        raise UnreadableError(name, "this FIT file cannot be decoded", "copy it from the device again")
    problems = [Problem(name, damage, f"the {len(fixes)} fixes before that were kept")] if damage else []
    problems += tally.problem(name, "no position", "{n} record{s} without a position", serious=False)
    problems += tally.problem(name, "no time", "{n} record{s} without a UTC time", serious=False)
    return fixes_frame(fixes, name), tuple(problems)


def _take(frame: "fitdecode.FitDataMessage", fixes: list[Fix], tally: Tally) -> None:
    # Scaled to SI by the profile that the file itself refers to; times and positions stay integers without a processor.
    raw = {field.name: field.value for field in frame.fields if isinstance(field.value, (int, float))}
    stamp, lat, lon = raw.get("timestamp"), raw.get("position_lat"), raw.get("position_long")
    if stamp is None or stamp < SYSTEM_TIME_BELOW:
        tally.add("no time")
        return
    if lat is None or lon is None or POSITION_INVALID in (lat, lon):
        tally.add("no position")
        return
    speed, height = raw.get("enhanced_speed", raw.get("speed")), raw.get("enhanced_altitude", raw.get("altitude"))
    fix = Fix(
        stamp + FIT_EPOCH_POSIX_S,
        lat * DEGREES_PER_SEMICIRCLE,
        lon * DEGREES_PER_SEMICIRCLE,
        speed_mps=NAN if speed is None else speed,
        ele_m=NAN if height is None else height,
    )
    if fix.on_earth:
        fixes.append(fix)
    else:
        tally.add("no position")
