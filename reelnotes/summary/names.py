"""What published files call cameras and clips, alone and inside the sentences that other rooms wrote.

Names of folders, files and devices were not given to be published: a folder may well be called after the
bay. So there is one rule, and :func:`public_names` is all of it.

    exact    a camera by its name, a clip by its file's name, never the folders that it lies in
    blurred  a camera by its name where trip.toml names it, for that was written down to be used; any other
             camera, and every clip, by its number
    none     cameras and clips by their numbers

Cameras are counted as the folder lists them, a camera's clips in the order of the line-up.
"""

import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field

from reelnotes.records.record import TripRecord
from reelnotes.summary.scrub import scrubbed

# What a table of known names may miss: a path to a file that the trip does not hold.
_PATH = re.compile(r"(?:[^\s'\"(),;:]+[/\\])+([^\s'\"(),;:/\\]+\.[a-z]\w{1,4})\b", re.IGNORECASE)

# Words of the rooms' own sentences. A camera called by one of them is named in a sentence only where one of the
# forms below says so: "the log at 06:42" is no camera, and to call it one tells nobody a place.
_OWN_WORDS = (
    "about above after again against alike all alone also and another any apart are aside at bag be beside best better board "
    "boat both but by camera cameras can cannot check clear clip clips clock clocks close clue clues compared could counts day "
    "days decides does edge elsewhere empty end ends engine far fate file filmed fin first fish fit fits fixes folder for fork "
    "found four frame frames from given group has have heard held hidden how if in inside instead interval into is it its "
    "judged just kept known landed late least leave left legal length lens less light limit limits line local log logged long "
    "longer look loudness lure mark marks maximum may measure measured middle minimum more most much name named names near "
    "needs next no nobody noise none nose not noted nothing odds of off offset on once one only or other otherwise out outline "
    "outside over own part parts past photo picture pictures place placed print program proof protected read reset right rule "
    "run runs same say says scale second seconds seen sees set several shadow shape shared short shows sight size slot some "
    "sound sounds span species speed stamp stamps start stop such tail taken than that the their them there these this time "
    "times tip to together too took total track trip trusted turns two under units unknown usable utc was well were what when "
    "where which whole wide with within without word words write written you your"
)
_AS_A_CAMERA = (
    r"(?<=\boffset for ){}(?=:)",
    r"(?<!\w){}(?='s stamps\b)",
    r"(?<!\w){}(?= is trusted;)",
    r"(?<=\bcamera ){}(?!\w)",
    r"(?<='){}(?=')",
)


@dataclass(frozen=True)
class Names:
    """Private name -> public name: of cameras, of clips (by their paths), and of all that a sentence may hold."""

    cameras: Mapping[str, str] = field(default_factory=dict)
    clips: Mapping[str, str] = field(default_factory=dict)
    in_words: Mapping[str, str] = field(default_factory=dict)
    exact: bool = False

    def camera(self, name: str) -> str:
        """A camera's public name."""
        return self.cameras.get(name, name if self.exact else "a camera")

    def clip(self, name: str) -> str:
        """A clip's public name."""
        return self.clips.get(name, _file_name(name) if self.exact else "a clip")

    def in_sentence(self, text: str) -> str:
        """A sentence of another room with every private name in it put right, and a capital where it begins with one."""
        if self.in_words:
            longest_first = sorted(self.in_words, key=len, reverse=True)
            known = re.compile("|".join(_whole(name) for name in longest_first))
            text = known.sub(lambda found: self.in_words[found[0]], text)
        text = _PATH.sub(lambda found: found[1] if self.exact else "a file", text)
        return text if self.exact else re.sub(r"^(?:clip|camera|a clip|a file)\b", lambda found: found[0].capitalize(), text)


def public_names(record: TripRecord, clean: Callable[[str], str] = scrubbed) -> Names:
    """The names of one trip at the privacy that it asks for. ``clean`` takes positions out of a name."""
    spot = record.privacy.spot
    cameras = _cameras(record, spot, clean)
    clips: dict[str, str] = {}
    for camera, names in _clips_of(record).items():
        for number, name in enumerate(names, 1):
            clips[name] = _file_name(name) if spot == "exact" else f"clip {number} of {cameras[camera]}"
    table = {**(_others(record, clips) if spot != "exact" else {}), **cameras, **clips}
    # What the log calls a fish is the angler's own word and told anyway, even where a folder is called so.
    told = {c.species.casefold() for c in record.lineup.catches}
    in_words = {name: shown for name, shown in table.items() if name and name != shown and name.casefold() not in told}
    return Names(cameras, clips, in_words, spot == "exact")


def _cameras(record: TripRecord, spot: str, clean: Callable[[str], str]) -> dict[str, str]:
    every = [
        *(c.name for c in record.folder.cameras),
        *(c.camera for c in record.folder.clips),
        *(p.clip.camera for p in record.lineup.clips),
        *(r.camera for r in record.clocks.runs),
    ]
    names = list(dict.fromkeys(every))
    if spot == "exact":
        return {name: name for name in names}
    written = {c.name for c in record.folder.settings.camera} if spot == "blurred" else set()
    given = {name: clean(name) for name in names if name in written}
    return {name: given.get(name) or _numbered(i, given.values()) for i, name in enumerate(names, 1)}


def _numbered(number: int, taken: Collection[str]) -> str:
    """``camera 2``; where trip.toml calls another one so, ``camera no. 2``."""
    name = f"camera {number}"
    return f"camera no. {number}" if name in {t.casefold() for t in taken} else name


def _clips_of(record: TripRecord) -> dict[str, list[str]]:
    """Each camera's clips: those of the line-up in its order, then the rest; clips set aside come last."""
    clips = {c.name: c.camera for c in (*(p.clip for p in record.lineup.clips), *record.folder.clips)}
    by_camera: dict[str, list[str]] = {}
    for name in sorted(clips, key=lambda name: bool(record.why_set_aside(name))):
        by_camera.setdefault(clips[name], []).append(name)
    return by_camera


def _others(record: TripRecord, clips: Mapping[str, str]) -> dict[str, str]:
    """What else a sentence may name: a file without its folders, folders, boards, and files that trip.toml names."""
    others: dict[str, str] = {}
    for number, board in enumerate(record.folder.boards, 1):
        others[f"'{board.name}'"] = f"'board {number}'"
        if board.picture is not None:
            others[board.picture.name] = "a file"
    settings = record.folder.settings
    paths = [*clips, *record.folder.lenses, *(c.lens or "" for c in settings.camera), *(m.clip for m in settings.time_mark)]
    for path in paths:
        others |= {f"{folder}/": "…/" for folder in path.split("/")[:-1]}
        others |= {_file_name(path): "a file", path: "a file"}
    files = [_file_name(path) for path in clips]
    return others | {_file_name(path): shown if files.count(_file_name(path)) == 1 else "a clip" for path, shown in clips.items()}


def _whole(name: str) -> str:
    """A pattern for a name that is no part of a longer word, and that is meant as a name."""
    if _is_ordinary(name):
        return "|".join(form.format(re.escape(name)) for form in _AS_A_CAMERA)
    before, after = (r"(?<!\w)" if name[0].isalnum() else ""), (r"(?!\w)" if name[-1].isalnum() else "")
    return before + re.escape(name) + after


def _is_ordinary(name: str) -> bool:
    """True for a name that a sentence may hold without meaning it: "log", "the engine", "2", "s"."""
    own = set(_OWN_WORDS.split())
    parts = re.findall(r"\w+", name.casefold())
    plain = re.fullmatch(r"[\w ]+", name) is not None
    return plain and all(part in own or part.isdecimal() or len(part) < 3 for part in parts)


def _file_name(path: str) -> str:
    return path.rsplit("/", 1)[-1]
