"""The house stays a house: one-way doors, no cupboard called utils, files that fit a reader's patience."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import doors


def test_doors_are_one_way() -> None:
    for room, others in doors.imports().items():
        if room in ("__init__", "__main__"):
            continue
        too_far = set(others) - doors.allowed(room)
        assert not too_far, f"{room} imports {sorted(too_far)}: {[sorted(others[o]) for o in sorted(too_far)]}"


def test_commands_enter_rooms_by_the_front_door() -> None:
    for other, modules in doors.imports()["cli"].items():
        if other not in ("records", "media", "pipeline", "workbench"):
            inner = {m for m in modules if m.count(".") > 2}
            assert not inner, f"cli reaches past the door of {other}: {sorted(inner)}"


def test_the_map_in_the_developers_page_is_fresh() -> None:
    page = doors.PAGE.read_text(encoding="utf-8")
    assert doors.refreshed(page) == page, "stale map: run  python tests/doors.py --write"


def test_every_room_is_known_and_none_is_a_cupboard() -> None:
    found = {p.name for p in doors.PACKAGE.iterdir() if p.is_dir() and next(p.rglob("*.py"), None)}
    assert found == {*doors.ROOMS, "cli"}
    names = [p.stem for p in doors.PACKAGE.rglob("*.py")]
    assert not [n for n in names if n in ("utils", "util", "helpers", "misc", "common")]
