"""Which camera each clip is from: its folder, else its metadata and the pattern of its file name."""

import collections
import posixpath
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from reelnotes.intake.lenses import lens_meant
from reelnotes.records.boards import Lens
from reelnotes.records.clips import Camera, Clip
from reelnotes.records.problems import Problem
from reelnotes.records.settings import CameraSettings

CLIPS_FOLDER = "clips"


def name_cameras(clips: Sequence[Clip], settings: Iterable[CameraSettings]) -> tuple[Clip, ...]:
    """The clips with their cameras named. In this order: a ``[[camera]]`` folder that holds the clip, the folder
    under clips/, then metadata (maker, model, other hints) with the letters of the file name."""
    told = list(settings)
    given = [(posixpath.normpath(camera.folder.replace("\\", "/")), camera.name) for camera in told if camera.folder]
    spelt = {camera.name.casefold(): camera.name for camera in told}
    named, loose = {}, []
    for clip in clips:
        camera = _by_setting(clip.name, given) or _by_folder(clip.name)
        if camera:
            named[clip.name] = camera
        else:
            loose.append(clip)
    named |= _by_metadata(loose, taken=set(named.values()))
    # trip.toml's spelling of a camera's name wins: [[camera]] name = "Chest" is the folder clips/chest.
    return tuple(replace(clip, camera=spelt.get(named[clip.name].casefold(), named[clip.name])) for clip in clips)


def _by_setting(name: str, given: Sequence[tuple[str, str]]) -> str | None:
    holding = [(folder, camera) for folder, camera in given if name.casefold().startswith(folder.casefold() + "/")]
    return max(holding, key=lambda pair: len(pair[0]))[1] if holding else None


def _by_folder(name: str) -> str | None:
    parts = name.split("/")
    return parts[1] if len(parts) > 2 and parts[0].casefold() == CLIPS_FOLDER else None


def _letters(clip: Clip) -> str:
    """The letters that a camera starts its file names with: ``DECK_031.mp4`` -> ``DECK``; '' for names of digits."""
    found = re.match(r"[^\W\d_]+", posixpath.basename(clip.name))
    return found[0].upper() if found else ""


def _by_metadata(clips: Sequence[Clip], taken: set[str]) -> dict[str, str]:
    groups: dict[tuple[str, ...], list[Clip]] = collections.defaultdict(list)
    for clip in clips:
        if clip.usable:
            groups[_marks(clip)].append(clip)
    for key in list(groups):
        for split, members in _split_by_folder(groups.pop(key)).items():
            groups[(*key, split)] = members
    named: dict[str, str] = {}
    used = {name.casefold() for name in taken}
    for key, members in groups.items():
        camera = _unused(_fit_name(key, members[0]), used)
        used.add(camera.casefold())
        named |= {clip.name: camera for clip in members}
    # A file that cannot be read has no marks of its own: it goes with the readable ones of the same letters and folder.
    for clip in clips:
        if clip.name not in named:
            named[clip.name] = _neighbour(clip, clips, named) or "unknown"
    return named


def _marks(clip: Clip) -> tuple[str, ...]:
    """What tells one device from another. A maker and model suffice; without them other hints, the letters of the
    name and the kind of file. Size and rate are no marks: one camera films in several modes."""
    if clip.make or clip.model:
        return (clip.make.casefold(), clip.model.casefold())
    return ("", clip.device_hint.casefold(), _letters(clip), clip.container)


def _split_by_folder(clips: list[Clip]) -> dict[str, list[Clip]]:
    """Two equal devices count their files alike: the same file name in two folders of the trip means two cameras."""
    by_top: dict[str, list[Clip]] = collections.defaultdict(list)
    for clip in clips:
        by_top[clip.name.split("/")[0] if "/" in clip.name else ""].append(clip)
    names = [posixpath.basename(clip.name).casefold() for clip in clips]
    return dict(by_top) if len(set(names)) < len(names) and len(by_top) > 1 else {"": clips}


def _fit_name(key: tuple[str, ...], clip: Clip) -> str:
    if key[-1]:
        return key[-1]
    name = clip.model or clip.make or clip.device_hint or _letters(clip).lower()
    return re.sub(r"[\s/\\]+", " ", name).strip()[:40] or "camera"


def _unused(name: str, used: set[str]) -> str:
    if name.casefold() not in used:
        return name
    return next(f"{name} {n}" for n in range(2, 10_000) if f"{name} {n}".casefold() not in used)


def _neighbour(clip: Clip, clips: Sequence[Clip], named: Mapping[str, str]) -> str | None:
    def likeness(other: Clip) -> tuple[bool, bool]:
        same_folder = posixpath.dirname(other.name) == posixpath.dirname(clip.name)
        return (_letters(other) == _letters(clip) and bool(_letters(clip)), same_folder)

    others = [other for other in clips if other.usable and any(likeness(other))]
    return named.get(max(others, key=likeness).name) if others else None


def cameras_of(
    clips: Sequence[Clip], settings: Iterable[CameraSettings], lenses: Mapping[str, Lens]
) -> tuple[tuple[Camera, ...], list[Problem]]:
    """One Camera for each name that the clips bear, with what trip.toml says of it, in order of name; and what did not fit.

    A camera whose every stamp was written with its own UTC offset keeps UTC, unless trip.toml says otherwise.
    """
    given = {camera.name: camera for camera in settings}
    problems: list[Problem] = []
    by_name: dict[str, list[Clip]] = collections.defaultdict(list)
    for clip in clips:
        by_name[clip.camera].append(clip)
    cameras = []
    for name in sorted(by_name):
        said = given.get(name)
        stamped = [clip for clip in by_name[name] if clip.stamp_s is not None]
        camera = Camera(name, clock="utc" if stamped and all(clip.stamp_is_utc for clip in stamped) else "unknown")
        if said:
            lens = lens_meant(said.lens, lenses) if said.lens else None
            if said.lens and lens is None:
                where, done = f"trip.toml, camera '{name}', lens", "the camera goes without a lens"
                advice = f"usable lens files here: {', '.join(sorted(lenses)) or 'none'}"
                problems.append(Problem(where, f"there is no usable lens file '{said.lens}'", done, advice))
            clock = said.clock if "clock" in said.model_fields_set else camera.clock
            camera = Camera(name, clock, said.stamp, said.trusted, lens, said.offset_s, said.offset_sigma_s)
        cameras.append(camera)
    for name in given.keys() - by_name.keys():
        advice = f"cameras found: {', '.join(sorted(by_name)) or 'none'}"
        problems.append(
            Problem(f"trip.toml, camera '{name}'", "no clip is from this camera", "the entry was not used", advice, serious=False)
        )
    return tuple(cameras), problems
