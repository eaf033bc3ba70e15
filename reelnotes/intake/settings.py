"""trip.toml: read, checked key by key. A wrong key is told and left at its default; the rest is kept."""

import copy
import difflib
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any, get_args
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from pydantic import BaseModel, ValidationError

from reelnotes.intake import tomls, wishes
from reelnotes.intake.naming import name_in_trip
from reelnotes.records.problems import Problem, SettingsError
from reelnotes.records.settings import CameraSettings, EditSettings, PrivacySettings, TimeMark, TripSettings

NAME = "trip.toml"

# A line that would do, for every key: what the message shows when a value is wrong.
EXAMPLES = {
    "title": 'title = "Dawn session"',
    "date": "date = 2026-05-09",
    "timezone": 'timezone = "Europe/Oslo"',
    "units": 'units = "metric"',
    "privacy": '[privacy] with spot = "blurred"',
    "spot": 'spot = "blurred"',
    "blur_km": "blur_km = 5.0",
    "hide_near_start_m": "hide_near_start_m = 500",
    "camera": '[[camera]] with name = "chest"',
    "name": 'name = "chest"',
    "folder": 'folder = "clips/chest"',
    "clock": 'clock = "local"',
    "stamp": 'stamp = "start"',
    "trusted": "trusted = true",
    "lens": 'lens = "lenses/chest.toml"',
    "offset_s": "offset_s = -7158.4",
    "offset_sigma_s": "offset_sigma_s = 0.5",
    "time_mark": '[[time_mark]] with clip = "clips/chest/CLIP0002.mp4"',
    "clip": 'clip = "clips/chest/CLIP0002.mp4"',
    "frame": "frame = 120",
    "at_s": "at_s = 4.0",
    "time": "time = 2026-05-09T06:31:24+02:00",
    "sigma_s": "sigma_s = 0.5",
    "edit": "[edit] with length_s = 480",
    "length_s": "length_s = 480",
    "handles_s": "handles_s = 2.0",
    "frame_rate": 'frame_rate = "30000/1001"',
}

FASTEST_EDIT = 240  # frames a second; no faster edit is made

_MOST_PRIVATE = PrivacySettings(spot="none")

_TABLES: dict[str, type[BaseModel]] = {
    "": TripSettings,
    "privacy": PrivacySettings,
    "camera": CameraSettings,
    "time_mark": TimeMark,
    "edit": EditSettings,
}


def read_settings(root: Path) -> tuple[TripSettings, list[Problem]]:
    """The trip's settings and what was wrong with them. No trip.toml is no problem; it means all defaults.

    Where anything hints at a wish for privacy that was not read, no place is published, and a problem says so.
    """
    path = tomls.find_toml(root, NAME)
    said, problems = _read(path) if path else (TripSettings(), [])
    strays = wishes.other_files(root, path)
    told = [problem for stray in strays if (problem := _unread(root, stray, said))]
    if strays and path is None and not told:  # then what it says otherwise is missed all the same
        what = f"settings are read from {NAME} at the top of the trip folder only"
        advice = f"if these are meant, name the file {NAME} and put it there, minding a hidden ending"
        problems = [*problems, Problem(name_in_trip(root, strays[0]), what, "every setting was left at its default", advice)]
    return (_silenced(said) if told else said), [*problems, *told]


def _read(path: Path) -> tuple[TripSettings, list[Problem]]:
    try:
        table = tomls.read_toml(path, NAME)
    except SettingsError as fault:
        told, done, said = fault.problem, "every setting was left at its default", TripSettings()
        if wishes.file_speaks(path):
            done, said = f"{done}, but {wishes.SILENT}", _silenced(said)
        return said, [Problem(told.where, told.what, done, told.advice)]
    return settings_from(table)


def _unread(root: Path, stray: Path, said: TripSettings) -> Problem | None:
    """What to say of a file that may be meant for trip.toml; None when it wishes for no more privacy than ``said`` gives."""
    if not wishes.file_speaks(stray):
        return None
    try:
        meant = settings_from(tomls.read_toml(stray, NAME))[0].privacy
    except SettingsError:
        if "privacy" in said.model_fields_set:
            return None  # what is wished for was read where it belongs: these are notes of another kind
        meant = _MOST_PRIVATE
    if not _stricter(meant, said.privacy):
        return None
    if stray.is_dir():
        what = "it is a folder, so settings in it are not read, and a wish for privacy may be among them"
        return Problem(name_in_trip(root, stray), what, wishes.SILENT, f"give the folder another name; {NAME} is a text file")
    what = f"it looks like settings with a wish for privacy, but only {NAME} at the top of the trip folder is read"
    advice = f"if it is meant, name it {NAME} and put it there, minding a hidden ending; else take it away"
    return Problem(name_in_trip(root, stray), what, wishes.SILENT, advice)


def _stricter(a: PrivacySettings, b: PrivacySettings) -> bool:
    order = get_args(PrivacySettings.model_fields["spot"].annotation)
    if a.spot != b.spot:
        return order.index(a.spot) > order.index(b.spot)
    return a.blur_km > b.blur_km or a.hide_near_start_m > b.hide_near_start_m


def _silenced(said: TripSettings) -> TripSettings:
    return said.model_copy(update={"privacy": said.privacy.model_copy(update={"spot": "none"})})


def settings_from(table: Mapping[str, Any]) -> tuple[TripSettings, list[Problem]]:
    """A parsed trip.toml -> settings and problems. Wrong keys are dropped one round after another until the rest holds.

    What was meant to stay private is not known where that is at fault, so nothing of the place is shown: the
    default might show too much.
    """
    rest: dict[str, Any] = copy.deepcopy(dict(table))
    said, problems = _kept_of(rest)
    misplaced = wishes.misplaced(table, _TABLES)
    if any(map(_of_privacy, problems)):
        problems = [replace(p, done=_done_instead(p)) if _of_privacy(p) else p for p in problems]
        if not any(problem.done == wishes.SILENT for problem in problems):
            problems.append(Problem(f"{NAME}, privacy", "it holds a fault", wishes.SILENT))
        said = _silenced(said)
    if misplaced:
        what = "it seems to say what may be shown, but only the table [privacy] is asked for that"
        advice = f"for example {EXAMPLES['spot']} in a line of its own below [privacy]"
        problems.append(Problem(f"{NAME}, {', '.join(misplaced)}", what, wishes.SILENT, advice))
        said = _silenced(said)
    return said, problems


def _of_privacy(problem: Problem) -> bool:
    return problem.where.startswith(f"{NAME}, privacy")


def _done_instead(problem: Problem) -> str:
    """What comes of a fault of privacy: never the default, for that may show too much."""
    return wishes.SILENT if problem.where == f"{NAME}, privacy" else "it was ignored"


def _kept_of(rest: dict[str, Any]) -> tuple[TripSettings, list[Problem]]:
    problems = _drop_what_cannot_be(rest)
    for _ in range(100):  # each round drops at least one key, and no settings file has that many
        result = tomls.validated(TripSettings, rest)
        if not isinstance(result, ValidationError):
            return result, problems
        for fault in result.errors(include_url=False):
            problem = _dropped(rest, fault)
            if problem:
                problems.append(problem)
        for key, value in rest.items():
            if isinstance(value, list):
                rest[key] = [entry for entry in value if entry is not None]
    return TripSettings(), [*problems, Problem(NAME, "it holds too many faults", "every setting was left at its default")]


def _dropped(rest: dict[str, Any], fault: Mapping[str, Any]) -> Problem | None:
    """Take the key at fault out of ``rest`` and tell it; None when an earlier fault of the round took it already."""
    location = tuple(fault["loc"])
    holder_name = str(location[0]) if len(location) > 1 else ""
    model = _TABLES.get(holder_name, TripSettings)
    what, advice = tomls.sentence(fault, known=tuple(model.model_fields), example=EXAMPLES.get(str(location[-1]), ""))
    where = f"{NAME}, {tomls.key_path(location)}"
    entry = fault["type"] == "missing" or (len(location) == 2 and isinstance(location[1], int))
    if entry and len(location) > 1:  # an entry without its name or time says nothing: it goes as a whole
        entries, index = rest.get(holder_name), location[1]
        if isinstance(entries, list) and isinstance(index, int):
            if entries[index] is None:
                return None
            entries[index] = None  # swept out at the end of the round: the indices of its other faults must stay true
            return Problem(where, what, f"this [[{holder_name}]] table was left out", advice)
    holder: Any = rest
    for part in location[:-1]:
        try:
            holder = holder[part]
        except (KeyError, IndexError, TypeError):
            return None
    if isinstance(holder, dict):
        if location[-1] not in holder:
            return None
        del holder[location[-1]]
        done = "it was ignored" if fault["type"] == "extra_forbidden" else "the default is used"
        return Problem(where, what, done, advice)
    rest.pop(holder_name or str(location[0]), None)
    return Problem(where, what, "the default is used", advice)


def _drop_what_cannot_be(rest: dict[str, Any]) -> list[Problem]:
    """What the types cannot say: a zone that is none, a rate that is no fraction, two cameras of one name, a mark
    without a place in its clip."""
    problems = []
    zone = rest.get("timezone")
    if isinstance(zone, str) and not is_zone(zone):
        near = difflib.get_close_matches(zone, available_timezones(), n=1, cutoff=0.6)
        advice = f'did you mean "{near[0]}"?' if near else f"an IANA name, for example {EXAMPLES['timezone']}"
        problems.append(Problem(f"{NAME}, timezone", f"'{zone}' is no time zone", "it is found from the track instead", advice))
        del rest["timezone"]
    edit = rest.get("edit")
    if isinstance(edit, dict) and "frame_rate" in edit:
        rate = edit["frame_rate"]
        edit["frame_rate"] = rate if isinstance(rate, str) else str(rate)
        if parsed_rate(edit["frame_rate"]) is None:
            what = f"'{rate}' is no frame rate"
            done = "the commonest rate of the clips is used"
            problems.append(Problem(f"{NAME}, edit.frame_rate", what, done, f'for example {EXAMPLES["frame_rate"]} or "25"'))
            del edit["frame_rate"]
    problems += _doubled_cameras(rest)
    marks = rest.get("time_mark")
    marks = marks if isinstance(marks, list) else []
    for index, mark in reversed(list(enumerate(marks))):
        if isinstance(mark, dict) and ("frame" in mark) == ("at_s" in mark):
            what = "it must say either frame or at_s, where in the clip the time was read"
            where = f"{NAME}, time_mark {index + 1}"
            problems.append(Problem(where, what, "this [[time_mark]] table was left out", f"for example {EXAMPLES['frame']}"))
            marks.pop(index)
    return problems


def _doubled_cameras(rest: dict[str, Any]) -> list[Problem]:
    cameras, seen, kept, problems = rest.get("camera"), set(), [], []
    if not isinstance(cameras, list):
        return []
    for number, camera in enumerate(cameras, 1):
        name = camera.get("name") if isinstance(camera, dict) else None
        if isinstance(name, str) and name in seen:
            what = f"a second camera is named '{name}'"
            problems.append(
                Problem(f"{NAME}, camera {number}", what, "this [[camera]] table was left out", "give it another name")
            )
            continue
        seen.add(name)
        kept.append(camera)
    rest["camera"] = kept
    return problems


def is_zone(name: str) -> bool:
    """True for an IANA time zone name that this machine's or the package's own database knows."""
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True


def parsed_rate(text: str) -> Fraction | None:
    """``30000/1001``, ``25`` or ``29.97`` -> the rational rate (rounded decimals mean their 1001 fraction); None if no rate."""
    try:
        rate = Fraction(text.strip())
    except (ValueError, ZeroDivisionError):
        return None
    if not 1 <= rate <= FASTEST_EDIT:
        return None
    drop = Fraction(round(rate) * 1000, 1001)
    return drop if rate.denominator != 1001 and rate.denominator > 1 and abs(rate - drop) < Fraction(6, 1000) else rate
