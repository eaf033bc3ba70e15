"""Making the tree of links, and taking it back."""

import errno
import os
import shutil
import stat
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import tzinfo
from pathlib import Path, PurePosixPath

from reelnotes.media.writing import TEMPORARY_MARK, replacing
from reelnotes.records.problems import Problem
from reelnotes.records.trip import LineUp
from reelnotes.sorting.journal import JOURNAL, Entry, Journal, is_ours, read_journal, sha256, write_journal
from reelnotes.sorting.naming import numbered
from reelnotes.sorting.planning import Place, plan_tree

TREE = "sorted"
# What the system answers where a hard link cannot be: other file system, none supported, not allowed, too many.
NO_LINK_HERE = frozenset([errno.EXDEV, errno.EPERM, errno.EACCES, errno.ENOTSUP, errno.EMLINK, errno.ENOSYS, errno.EOPNOTSUPP])


@dataclass(frozen=True, slots=True)
class SortReport:
    """What sorting did. Paths are relative to the output folder.

    linked, copied  made now; kept  there already from an earlier run; removed  no longer wanted, taken back
    """

    tree: Path
    linked: tuple[str, ...] = ()
    copied: tuple[str, ...] = ()
    kept: tuple[str, ...] = ()
    removed: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class UndoReport:
    """What undoing did: ``removed`` links and copies; ``problems`` name what was left, and why."""

    tree: Path
    removed: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()


def sort_clips(
    lineup: LineUp,
    root: Path,
    out_dir: Path,
    zone: tzinfo,
    *,
    progress: Callable[[float, str], None] | None = None,
) -> SortReport:
    """Link every usable clip into ``out_dir/sorted`` by day, leg and catch; copy where links cannot be.

    The originals are never changed, a file that is not ours is never replaced, and running again
    changes nothing that is still right. ``root`` is the trip folder, for names in problems. Raises
    UnreadableError when an earlier journal is damaged.
    """
    tree = out_dir / TREE
    problems: list[Problem] = []
    if tree.is_symlink() or (tree.exists() and not tree.is_dir()):
        problem = Problem(str(tree), "this is no folder of ours", "the clips were not sorted", "move it away")
        return SortReport(tree, problems=(problem,))
    old = read_journal(tree) or Journal(made_tree=not tree.exists())
    before = {entry.path: entry for entry in old.entries}
    wanted = _entries(plan_tree(lineup, zone), tree, before, root, problems)
    stale = _stale(old.entries, wanted, tree)
    folders = _new_folders(wanted, tree, old.folders)
    tree.mkdir(parents=True, exist_ok=True)
    write_journal(tree, Journal((*wanted, *stale), folders, old.made_tree))
    removed = [entry.path for entry in stale if _remove(tree, entry, problems)]
    done: dict[str, list[str]] = {"linked": [], "copied": [], "kept": []}
    final: list[Entry] = []
    for number, entry in enumerate(wanted):
        if progress:
            progress(number / len(wanted), f"sorting {entry.clip}")
        try:
            how, made = _link(tree, entry), entry
            if how == "no link here":
                # A copy is known again only by its hash, so the hash is in the journal before the copy is there.
                made = replace(entry, sha256=sha256(Path(entry.source)))
                write_journal(tree, Journal((*final, made, *wanted[number + 1 :]), folders, old.made_tree))
                how = _copy(tree, made)
        except OSError as fault:
            reason = (fault.strerror or "unknown").lower()
            problems.append(Problem(entry.clip, f"it could not be linked ({reason})", "it was left out"))
            continue
        done[how].append(entry.path)
        final.append(made)
    write_journal(tree, Journal(tuple(final), _remove_empty(tree, folders), old.made_tree))
    linked, copied, kept = (tuple(done[how]) for how in ("linked", "copied", "kept"))
    return SortReport(tree, linked, copied, kept, tuple(removed), tuple(problems))


def undo_sort(out_dir: Path) -> UndoReport:
    """Remove what sorting made under ``out_dir/sorted``, and nothing else; folders go when they are empty.

    A listed file that is no longer what was made (replaced or edited) stays and is named. Raises
    UnreadableError when the journal is damaged.
    """
    tree = out_dir / TREE
    journal = None if tree.is_symlink() else read_journal(tree)
    if journal is None:
        problem = Problem(str(tree), "there is no journal of sorted clips here", "nothing was removed", serious=False)
        return UndoReport(tree, problems=(problem,))
    problems: list[Problem] = []
    removed = [entry.path for entry in journal.entries if _remove(tree, entry, problems)]
    _remove_empty(tree, journal.folders)
    (tree / JOURNAL).unlink()
    if journal.made_tree and not any(tree.iterdir()):
        tree.rmdir()
    return UndoReport(tree, tuple(removed), tuple(problems))


def _entries(
    places: Sequence[Place], tree: Path, before: dict[str, Entry], root: Path, problems: list[Problem]
) -> tuple[Entry, ...]:
    """Journal entries for the wanted places; a place taken by a file of the user gets the next free name."""
    entries: list[Entry] = []
    taken = {place.path.casefold() for place in places}
    for place in places:
        try:
            about = place.source.stat()
        except OSError as fault:
            reason = fault.strerror or "it cannot be read"
            problems.append(Problem(place.clip, f"not found under {root} ({reason.lower()})", "it was not sorted"))
            continue
        entry = Entry(place.path, place.clip, str(place.source.resolve()), about.st_size, about.st_dev, about.st_ino)
        number, folder, name = 1, PurePosixPath(place.path).parent, PurePosixPath(place.path).name
        while _is_foreign(tree, entry, before):
            number += 1
            path = str(folder / numbered(name, number))
            if path.casefold() not in taken:
                entry = replace(entry, path=path)
        taken.add(entry.path.casefold())
        known = before.get(entry.path)
        same = known is not None and (known.source, known.size) == (entry.source, entry.size)
        entries.append(replace(entry, sha256=known.sha256) if known is not None and same else entry)
    return tuple(entries)


def _is_foreign(tree: Path, entry: Entry, before: dict[str, Entry]) -> bool:
    path = tree / entry.path
    if not os.path.lexists(path):
        return False
    known = before.get(entry.path)
    return known is None or not (is_ours(path, known) or is_ours(path, entry))


def _new_folders(entries: Sequence[Entry], tree: Path, old: Sequence[str]) -> tuple[str, ...]:
    """Folders of the tree that are ours: made before, or not there yet. Parents first."""
    needed = {str(parent) for entry in entries for parent in PurePosixPath(entry.path).parents if str(parent) != "."}
    return tuple(sorted({*old, *(folder for folder in needed if not (tree / folder).exists())}))


def _stale(old: Sequence[Entry], wanted: Sequence[Entry], tree: Path) -> list[Entry]:
    """What an earlier run made and this one does not want: its path is unwanted, or shows another clip now."""
    now = {entry.path: entry for entry in wanted}
    return [e for e in old if e.path not in now or (not is_ours(tree / e.path, now[e.path]) and is_ours(tree / e.path, e))]


def _link(tree: Path, entry: Entry) -> str:
    """"linked", "kept" when it is there already, or "no link here". Raises OSError."""
    target = tree / entry.path
    if is_ours(target, entry):
        return "kept"
    target.parent.mkdir(parents=True, exist_ok=True)
    if not target.parent.resolve().is_relative_to(tree.resolve()):
        raise OSError(errno.ELOOP, "its folder leads out of the tree")
    try:
        os.link(entry.source, target)
    except OSError as fault:
        if fault.errno in NO_LINK_HERE:
            return "no link here"
        raise
    return "linked"


def _copy(tree: Path, entry: Entry) -> str:
    target, source = tree / entry.path, Path(entry.source)
    with replacing(target) as temporary:
        shutil.copyfile(source, temporary)
        shutil.copystat(source, temporary)
        temporary.chmod(temporary.stat().st_mode | stat.S_IWUSR)  # a read-only card's copies can be removed again
        if os.path.lexists(target):
            raise FileExistsError(errno.EEXIST, "a file of that name appeared meanwhile")
    return "copied"


def _is_last(path: Path, entry: Entry) -> bool:
    """True when the original is gone, so that this is the last there is of the footage."""
    about = path.stat()
    if (about.st_dev, about.st_ino) == (entry.device, entry.inode):
        return about.st_nlink < 2
    return not Path(entry.source).is_file()


def _remove(tree: Path, entry: Entry, problems: list[Problem]) -> bool:
    """Take one link or copy back, if it is still ours; True when something was removed."""
    path = tree / entry.path
    for torso in path.parent.glob(f".*{TEMPORARY_MARK}*{path.suffix}") if path.parent.is_dir() else ():
        if torso.name.startswith(f".{path.stem}{TEMPORARY_MARK}"):
            torso.unlink()  # a copy that was cut short
    if not os.path.lexists(path):
        return False
    if not is_ours(path, entry):
        problems.append(Problem(str(path), "it is no longer what was put there", "it was left alone", serious=False))
        return False
    if _is_last(path, entry):
        problems.append(Problem(str(path), "the original is gone, and this is the last of it", "it was left alone"))
        return False
    path.unlink()
    return True


def _remove_empty(tree: Path, folders: Sequence[str]) -> tuple[str, ...]:
    """Remove those of our folders that are empty, deepest first; returns the ones that stay."""
    left = []
    for folder in sorted(folders, key=lambda f: -f.count("/")):
        path = tree / folder
        if path.is_dir() and not path.is_symlink():
            if any(path.iterdir()):
                left.append(folder)
            else:
                path.rmdir()
    return tuple(sorted(left))
