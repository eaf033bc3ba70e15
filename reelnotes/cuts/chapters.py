"""Chapter lines for a video's description: ``00:00 title``.

Players that read such lines ask (common practice, no published standard) that the first stands at
00:00, that they ascend, and that none is shorter than ten seconds. Short chapters are merged.
"""

from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path

from reelnotes.media.writing import write_text
from reelnotes.records.cuts import Cut, EditList

LEAST_CHAPTER_S = 10
# Of the shots merged into one chapter the one that tells most gives the title.
TELLING = (
    *("landed", "lost", "strike", "hooked", "the fish on the board", "released"),
    *("something happened", "sighting", "bait check", "rig change"),
)


def chapter_lines(edit: EditList, names: Mapping[str, str] | None = None) -> list[str]:
    """Lines in ascending order; empty for an empty edit.

    ``names`` says what to call a catch (``{"C01": "cod"}``), else its id stands. Titles carry no place,
    so they may be published. Neighbours that would read alike are one chapter.
    """
    if not edit.cuts:
        return []
    end = _second(edit, edit.cuts[-1].record_out_frame)
    groups: list[tuple[int, list[Cut]]] = []
    for cut in edit.cuts:
        at = 0 if not groups else _second(edit, cut.record_in_frame)
        enough = not groups or at - groups[-1][0] >= LEAST_CHAPTER_S
        if enough and (not groups or _subject(cut) != _subject(groups[-1][1][-1])):
            groups.append((at, [cut]))
        else:
            groups[-1][1].append(cut)
    if len(groups) > 1 and end - groups[-1][0] < LEAST_CHAPTER_S:
        groups[-2][1].extend(groups.pop()[1])
    titled: list[tuple[int, str]] = []
    for at, cuts in groups:
        title = _title(cuts, names or {})
        if not titled or titled[-1][1] != title:
            titled.append((at, title))
    return [f"{_clock(at, end >= 3600)} {title}" for at, title in titled]


def write_chapters(edit: EditList, target: Path, names: Mapping[str, str] | None = None) -> None:
    """Write :func:`chapter_lines` safely, one a line."""
    write_text(target, "".join(f"{line}\n" for line in chapter_lines(edit, names)))


def _subject(cut: Cut) -> str:
    return cut.catch or cut.kind


def _title(cuts: list[Cut], names: Mapping[str, str]) -> str:
    best = min(cuts, key=lambda c: TELLING.index(c.kind) if c.kind in TELLING else len(TELLING))
    words = "a look at the day" if best.kind == "scene" else best.kind
    if best.catch:
        words += f": {' '.join((names.get(best.catch) or best.catch).split())}"
    return words[:1].upper() + words[1:]


def _second(edit: EditList, record_frame: int) -> int:
    """Whole second in which a record frame begins; a chapter never starts before its shot's second."""
    return int(Fraction(record_frame - edit.start_frame) / edit.rate)


def _clock(second: int, with_hours: bool) -> str:
    minutes, ss = divmod(second, 60)
    return f"{minutes // 60}:{minutes % 60:02d}:{ss:02d}" if with_hours else f"{minutes:02d}:{ss:02d}"
