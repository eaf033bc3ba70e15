"""The sorted tree: made, made again, broken off, undone; originals and the user's own files stay as they are."""

import errno
import json
import os
import re
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelnotes.records.clips import Clip
from reelnotes.records.clocks import ClipTime
from reelnotes.records.estimates import Estimate
from reelnotes.records.problems import UnreadableError
from reelnotes.records.tracks import Leg
from reelnotes.records.trip import Catch, LineUp, PlacedClip
from reelnotes.sorting import sort_clips, tree, undo_sort
from reelnotes.sorting.journal import JOURNAL
from reelnotes.sorting.naming import MOST_BYTES, file_name, folder_name

OSLO = ZoneInfo("Europe/Oslo")
# 2026-05-09 06:00 in Oslo (UTC+2 in summer, IANA database)
T0 = 1_778_299_200.0
TROLL = Leg(3, "trolling", T0, T0 + 3600, 4000.0, 1.2)


def make_trip(root: Path) -> LineUp:
    """Six clips: rigging, two with a fish (one of them with two fish), one trolling, one after, one unplaced, one set aside."""
    told = [
        ("clips/bow/A.mp4", -600.0, "before", None),
        ("clips/bow/B.mp4", 100.0, "on the water", TROLL),
        ("clips/bow/C.mp4", 300.0, "on the water", TROLL),
        ("clips/stern/C.mp4", 310.0, "on the water", TROLL),
        ("clips/bow/D.mp4", 9000.0, "after", None),
        ("clips/phone/E.mp4", None, "", None),
        ("clips/phone/broken.mp4", None, "", None),
    ]
    placed = []
    for name, start, when, leg in told:
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(f"the bytes of {name}".encode())
        aside = "it is empty" if "broken" in name else ""
        clip = Clip(name, path, name.split("/")[1], duration_s=60, set_aside=aside)
        time = ClipTime(name, "none") if start is None else ClipTime(name, "utc", T0 + start, 0.1)
        placed.append(PlacedClip(clip, time, leg, None, when))
    catches = (
        _catch("C01", "cod", ("clips/bow/C.mp4", "clips/stern/C.mp4"), 320),
        _catch("C02", "pollack: dark?", ("clips/bow/C.mp4",), 350),
    )
    return LineUp(tuple(placed), (), catches)


def _catch(name: str, species: str, clips: tuple[str, ...], at_s: float) -> Catch:
    return Catch(name, "landed", Estimate(T0 + at_s, 10.0), species, True, None, TROLL, (), clips)


def files(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def state(folder: Path) -> dict[str, tuple[int, int, int, bytes]]:
    """Everything about the originals that must not change (the number of links may)."""
    return {
        p.relative_to(folder).as_posix(): (p.stat().st_ino, p.stat().st_mtime_ns, p.stat().st_mode, p.read_bytes())
        for p in folder.rglob("*")
        if p.is_file()
    }


@pytest.fixture
def trip(tmp_path: Path) -> LineUp:
    return make_trip(tmp_path / "trip")


def run(trip: LineUp, tmp_path: Path) -> tree.SortReport:
    return sort_clips(trip, tmp_path / "trip", tmp_path / "out", OSLO)


def test_clips_stand_by_day_leg_and_catch(trip: LineUp, tmp_path: Path) -> None:
    report = run(trip, tmp_path)
    assert report.problems == () and report.copied == ()
    assert sorted(report.linked) == [
        "2026-05-09/00 before the water/0001 05.50.00 bow A.mp4",
        "2026-05-09/03 trolling/0002 06.01.40 bow B.mp4",
        "2026-05-09/03 trolling/C01 cod landed/0003 06.05.00 bow C.mp4",
        "2026-05-09/03 trolling/C01 cod landed/0004 06.05.10 stern C.mp4",
        "2026-05-09/03 trolling/C02 pollack_ dark_ landed/0003 06.05.00 bow C.mp4",
        "2026-05-09/99 after the water/0005 08.30.00 bow D.mp4",
        "unplaced/phone/0006 phone E.mp4",
    ]
    link = tmp_path / "out" / "sorted" / "2026-05-09/03 trolling/0002 06.01.40 bow B.mp4"
    assert link.samefile(tmp_path / "trip/clips/bow/B.mp4")


def test_running_again_changes_nothing(trip: LineUp, tmp_path: Path) -> None:
    first = run(trip, tmp_path)
    before = files(tmp_path / "out")
    again = run(trip, tmp_path)
    assert again.linked == again.copied == again.removed == () and sorted(again.kept) == sorted(first.linked)
    assert files(tmp_path / "out") == before


def test_undo_takes_all_back_and_leaves_the_originals(trip: LineUp, tmp_path: Path) -> None:
    before = state(tmp_path / "trip")
    run(trip, tmp_path)
    report = undo_sort(tmp_path / "out")
    assert len(report.removed) == 7 and report.problems == ()
    assert not (tmp_path / "out" / "sorted").exists()
    assert state(tmp_path / "trip") == before


def test_undo_of_nothing_says_so(tmp_path: Path) -> None:
    assert "no journal" in str(undo_sort(tmp_path).problems[0])


def test_the_users_own_files_are_neither_replaced_nor_removed(trip: LineUp, tmp_path: Path) -> None:
    folder = tmp_path / "out" / "sorted" / "2026-05-09" / "03 trolling"
    folder.mkdir(parents=True)
    own = {folder / "0002 06.01.40 bow B.mp4": "mine", folder / "notes.txt": "also mine"}
    for path, text in own.items():
        path.write_text(text)
    report = run(trip, tmp_path)
    assert "2026-05-09/03 trolling/0002 06.01.40 bow B (2).mp4" in report.linked
    assert run(trip, tmp_path).linked == ()  # and the second name is found again
    undo_sort(tmp_path / "out")
    assert files(tmp_path / "out") == {p.relative_to(tmp_path / "out").as_posix(): t.encode() for p, t in own.items()}


def test_a_link_that_the_user_replaced_stays(trip: LineUp, tmp_path: Path) -> None:
    run(trip, tmp_path)
    path = tmp_path / "out" / "sorted" / "unplaced" / "phone" / "0006 phone E.mp4"
    path.unlink()
    path.write_text("an edit of my own")
    report = undo_sort(tmp_path / "out")
    assert path.read_text() == "an edit of my own"
    assert [str(p) for p in report.problems if "no longer" in p.what]


def test_the_last_of_the_footage_is_never_removed(trip: LineUp, tmp_path: Path) -> None:
    run(trip, tmp_path)
    (tmp_path / "trip/clips/phone/E.mp4").unlink()
    (tmp_path / "trip/clips/bow/C.mp4").unlink()  # stands under two catches
    undo_sort(tmp_path / "out")
    left = files(tmp_path / "out")
    assert sorted(left.values()) == [b"the bytes of clips/bow/C.mp4", b"the bytes of clips/phone/E.mp4"]


def test_what_is_no_longer_wanted_goes(trip: LineUp, tmp_path: Path) -> None:
    run(trip, tmp_path)
    fewer = LineUp(trip.clips[1:], (), trip.catches[:1])
    report = run(fewer, tmp_path)
    assert report.problems == ()
    tree_files = [p for p in files(tmp_path / "out" / "sorted") if not p.endswith(JOURNAL)]
    assert len(tree_files) == 5 and not any("A.mp4" in p or "C02" in p for p in tree_files)
    assert not (tmp_path / "out/sorted/2026-05-09/00 before the water").exists()
    undo_sort(tmp_path / "out")
    assert not (tmp_path / "out" / "sorted").exists()


def refuse_links(*_: object) -> None:
    raise OSError(errno.EXDEV, "Invalid cross-device link")


def test_copies_where_links_cannot_be(trip: LineUp, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tree.os, "link", refuse_links)
    before = state(tmp_path / "trip")
    report = run(trip, tmp_path)
    assert len(report.copied) == 7 and report.linked == ()
    assert len(run(trip, tmp_path).kept) == 7
    edited = tmp_path / "out" / "sorted" / report.copied[0]
    edited.write_bytes(edited.read_bytes() + b"!")
    undone = undo_sort(tmp_path / "out")
    assert len(undone.removed) == 6 and edited.exists()
    assert state(tmp_path / "trip") == before


@pytest.mark.parametrize("links_work", [True, False])
@pytest.mark.parametrize("killed_at", range(8))
def test_a_killed_run_can_be_undone_or_gone_on_with(
    killed_at: int, links_work: bool, trip: LineUp, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class KilledError(BaseException):
        pass

    calls = 0

    def link(source: str, target: Path) -> None:
        nonlocal calls
        if calls == killed_at:
            raise KilledError
        calls += 1
        if not links_work:
            refuse_links()
        real(source, target)

    real = os.link
    before = state(tmp_path / "trip")
    for then_undo in (True, False):
        calls = 0
        monkeypatch.setattr(tree.os, "link", link)
        try:
            run(trip, tmp_path)
        except KilledError:
            assert calls == killed_at
        monkeypatch.setattr(tree.os, "link", real if links_work else refuse_links)
        if then_undo:
            undo_sort(tmp_path / "out")
            assert not (tmp_path / "out" / "sorted").exists()
        else:
            report = run(trip, tmp_path)
            assert len(report.kept) == min(killed_at, 7) and len(report.kept + report.linked + report.copied) == 7
    assert state(tmp_path / "trip") == before


def test_a_copy_killed_half_way_leaves_no_torso_after_undo(trip: LineUp, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tree.os, "link", refuse_links)
    run(trip, tmp_path)
    torso = tmp_path / "out/sorted/unplaced/phone/.0006 phone E.part-4711.mp4"  # what a kill -9 would leave
    torso.write_bytes(b"half")
    undo_sort(tmp_path / "out")
    assert not (tmp_path / "out" / "sorted").exists()


def test_a_damaged_journal_is_told_in_a_sentence(trip: LineUp, tmp_path: Path) -> None:
    run(trip, tmp_path)
    (tmp_path / "out" / "sorted" / JOURNAL).write_text(json.dumps({"version": 1, "entries": [{"path": "x"}]}))
    for again in (lambda: run(trip, tmp_path), lambda: undo_sort(tmp_path / "out")):
        with pytest.raises(UnreadableError, match="journal"):
            again()


def test_a_missing_original_is_a_problem_not_the_end(trip: LineUp, tmp_path: Path) -> None:
    (tmp_path / "trip/clips/bow/B.mp4").unlink()
    report = run(trip, tmp_path)
    assert len(report.linked) == 6 and [p.where for p in report.problems] == ["clips/bow/B.mp4"]


def test_a_link_out_of_the_tree_is_not_followed(trip: LineUp, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "out/sorted").mkdir(parents=True)
    (tmp_path / "out/sorted/unplaced").symlink_to(tmp_path / "elsewhere", target_is_directory=True)
    report = run(trip, tmp_path)
    assert len(report.linked) == 6 and len(report.problems) == 1
    assert list((tmp_path / "elsewhere").rglob("*.mp4")) == []


def test_names_sort_in_time_order_when_the_clocks_go_back(tmp_path: Path) -> None:
    # source: IANA database: Oslo leaves summer time on 2026-10-25 at 01:00 UTC, so 02:50 comes before 02:10
    night = 1_792_889_400.0
    clips = []
    for n, name in enumerate(["clips/bow/first.mp4", "clips/bow/second.mp4"]):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(name.encode())
        clips.append(PlacedClip(Clip(name, path, "bow", duration_s=5), ClipTime(name, "utc", night + 1200 * n, 0.1)))
    report = sort_clips(LineUp(tuple(clips), (), ()), tmp_path, tmp_path / "out", OSLO)
    names = sorted(p.rsplit("/", 1)[1] for p in report.linked)
    assert names == ["0001 02.50.00 bow first.mp4", "0002 02.10.00 bow second.mp4"]


@given(st.text(max_size=300), st.text(max_size=20))
def test_any_text_makes_a_name_that_every_file_system_takes(text: str, prefix: str) -> None:
    # source: Microsoft, "Naming Files, Paths, and Namespaces" (from memory); 255 bytes a name is the common limit
    for name in (folder_name(text), file_name(folder_name(prefix), text + ".MP4")):
        assert name and len(name.encode()) <= MOST_BYTES + 64
        assert not re.search(r'[<>:"/\\|?*\x00-\x1f]', name)
        assert name == name.strip() and not name.endswith(".") and not name.startswith(".")
        assert not re.fullmatch(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?", name)
    assert file_name("0001", text + ".MP4").lower().endswith(".mp4") or not text.strip()


@pytest.mark.parametrize(
    ("text", "name"), [("CON", "_CON"), ("nul.txt", "_nul.txt"), ("a/b:c", "a_b_c"), ("gjedde. ", "gjedde"), ("", "unnamed")]
)
def test_awkward_names(text: str, name: str) -> None:
    assert folder_name(text) == name


def test_long_names_keep_their_suffix_and_stay_apart() -> None:
    a, b = (file_name("0001 06.00.00 bow", "x" * 200 + end + ".mp4") for end in ("1", "2"))
    assert a != b and a.endswith(".mp4") and len(a.encode()) <= MOST_BYTES


def test_an_original_whose_path_is_no_utf8_is_sorted_and_undone(tmp_path: Path) -> None:
    lineup = make_trip(tmp_path / "trip")
    odd = os.fsdecode(b"caf\xe9.mp4")  # Latin-1, as old archives leave it
    first = lineup.clips[0]
    first.clip.path.rename(first.clip.path.with_name(odd))
    clip = replace(first.clip, name="clips/bow/caf\ufffd.mp4", path=first.clip.path.with_name(odd))
    lineup = replace(lineup, clips=(replace(first, clip=clip), *lineup.clips[1:]))
    report = sort_clips(lineup, tmp_path / "trip", tmp_path / "out", OSLO)
    assert any("caf\ufffd" in name for name in report.linked)
    assert sort_clips(lineup, tmp_path / "trip", tmp_path / "out", OSLO).linked == ()
    assert len(undo_sort(tmp_path / "out").removed) == len(report.linked)
