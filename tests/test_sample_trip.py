"""The real command on the real sample trip: the record is checked, not just the exit code.

The sample morning is simulated, so what is true of it is known. The figures below were written down
by whoever made the morning; the product never sees them.
"""

import csv
import datetime as dt
import hashlib
import json
import subprocess
import sys
import time
from fractions import Fraction
from pathlib import Path

import jsonschema
import opentimelineio as otio
import pytest

from reelnotes.ledger.schema import trip_schema
from reelnotes.records.rates import timecode_to_frames

SAMPLE = Path(__file__).resolve().parent.parent / "sample_inputs" / "skerry-morning"

# The instant of each clip's first frame
TRUE_START = {
    "clips/chest/CLIP0002.mp4": "2026-05-09T04:21:29.664Z",
    "clips/chest/CLIP0003.mp4": "2026-05-09T04:31:19.835Z",
    "clips/chest/CLIP0004.mp4": "2026-05-09T04:36:05.471Z",
    "clips/chest/CLIP0005.mp4": "2026-05-09T04:38:54.938Z",
    "clips/chest/CLIP0007.mp4": "2026-05-09T04:46:36.666Z",
    "clips/chest/CLIP0012.mp4": "2026-05-09T05:09:36.229Z",
    "clips/chest/CLIP0013.mp4": "2026-05-09T05:12:23.282Z",
    "clips/stern/STERN0007_01.mp4": "2026-05-09T04:22:20.493Z",
    "clips/stern/STERN0008_01.mp4": "2026-05-09T04:31:31.551Z",
    "clips/stern/STERN0009_01.mp4": "2026-05-09T04:35:22.026Z",
    "clips/stern/STERN0009_02.mp4": "2026-05-09T04:36:42.026Z",
    "clips/stern/STERN0009_03.mp4": "2026-05-09T04:38:02.027Z",
    "clips/stern/STERN0011_01.mp4": "2026-05-09T04:46:15.407Z",
    "clips/stern/STERN0014_01.mp4": "2026-05-09T05:09:02.086Z",
    "clips/stern/STERN0016_01.mp4": "2026-05-09T05:32:22.893Z",
}
SOUND_PAIRS = [
    ("clips/chest/CLIP0002.mp4", "clips/stern/STERN0007_01.mp4"),
    ("clips/chest/CLIP0003.mp4", "clips/stern/STERN0008_01.mp4"),
    ("clips/chest/CLIP0004.mp4", "clips/stern/STERN0009_02.mp4"),
    ("clips/chest/CLIP0007.mp4", "clips/stern/STERN0011_01.mp4"),
    ("clips/chest/CLIP0012.mp4", "clips/stern/STERN0014_01.mp4"),
]
# Fish on the board as laid: clip -> (total, fork) in mm
TRUE_LENGTH = {"clips/chest/CLIP0005.mp4": (731.26, 685.39), "clips/chest/CLIP0013.mp4": (574.30, 568.50)}
SPOTS = [(62.2105, 5.0010), (62.2108, 5.0102), (62.2069, 5.0284), (62.1875, 5.0262)]


def command(out: Path) -> list[str]:
    return [sys.executable, "-m", "reelnotes", "run", str(SAMPLE), "--out", str(out), "--json"]


def fingerprint(folder: Path) -> dict[str, str]:
    files = (p for p in sorted(folder.rglob("*")) if p.is_file())
    return {p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest() for p in files}


def table(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as handle:
        return list(csv.DictReader(handle))


def instant(text: str) -> float:
    return dt.datetime.fromisoformat(text.replace("Z", "+00:00")).timestamp()


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory):
    out = tmp_path_factory.mktemp("sample") / "out"
    before = fingerprint(SAMPLE)
    done = subprocess.run(command(out), capture_output=True, text=True, timeout=900, check=False)
    return out, done, before


def test_it_ends_well_and_tells_what_it_took_for_what(run) -> None:
    _, done, _ = run
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr
    assert "'lsot' is no known event" in done.stderr
    json.loads(done.stdout)  # nothing else on stdout


def test_the_trip_folder_is_untouched(run) -> None:
    assert fingerprint(SAMPLE) == run[2]


def test_every_promised_file_is_there(run) -> None:
    wanted = ["trip.json", "clips.csv", "catches.csv", "lengths.csv", "cuts.csv", "cuts.edl", "cuts.otio", "cuts.vtt"]
    wanted += [f"post/{name}" for name in ("summary.html", "summary.md", "card.png", "chapters.txt", "track.geojson")]
    for name in wanted:
        assert (run[0] / name).stat().st_size > 0, name
    assert list((run[0] / "sorted").rglob("*.mp4"))
    assert not [p for p in run[0].rglob("*") if ".part-" in p.name]


def test_the_record_follows_its_schema(run) -> None:
    jsonschema.validate(json.loads((run[0] / "trip.json").read_text(encoding="utf-8")), trip_schema())


def test_every_clip_is_placed(run) -> None:
    rows = {row["clip"]: row for row in table(run[0] / "clips.csv")}
    assert set(rows) == set(TRUE_START)
    for name, row in rows.items():
        assert not row["set_aside"]
        off = instant(row["start_utc"]) - instant(TRUE_START[name])
        sigma = float(row["clock_sigma_s"])
        assert row["placed"] == "utc" and abs(off) < 5 * sigma, (name, off, sigma)
        assert abs(off) < 1.25, (name, off)  # what one-second stamps and a start delay allow


def test_clips_that_heard_the_same_are_exact_against_each_other(run) -> None:
    start = {row["clip"]: row["start_utc"] for row in table(run[0] / "clips.csv")}
    for a, b in SOUND_PAIRS:
        off = (instant(start[a]) - instant(start[b])) - (instant(TRUE_START[a]) - instant(TRUE_START[b]))
        assert abs(off) < 0.0167, (a, b, off)  # half a frame; the microphones lie a boat's length apart


def test_the_filmed_clock_places_its_camera(run) -> None:
    row = next(row for row in table(run[0] / "clips.csv") if row["clip"] == "clips/chest/CLIP0003.mp4")
    assert abs(instant(row["start_utc"]) - instant(TRUE_START[row["clip"]])) < 0.06
    assert "filmed clock" in row["clock_from"]


def test_lengths_hold_the_truth(run) -> None:
    rows = {row["clip"]: row for row in table(run[0] / "lengths.csv") if row["verdict"] == "measured"}
    for clip, (total, _) in TRUE_LENGTH.items():
        row = rows[clip]
        assert float(row["total_length_mm"]) == pytest.approx(total, rel=0.015)
        assert float(row["low_mm"]) <= total <= float(row["high_mm"])
        assert row["catch"]
    assert len(list((run[0] / "frames").glob("*.png"))) + len(list((run[0] / "frames").glob("*.jpg"))) >= 2


def test_catches(run) -> None:
    rows = table(run[0] / "catches.csv")
    assert [(row["species"], row["outcome"]) for row in rows] == [("cod", "landed"), ("pollack", "lost"), ("sea trout", "landed")]
    landed = [row for row in rows if row["outcome"] == "landed"]
    assert [float(row["measured_length_mm"]) for row in landed] == pytest.approx([731.26, 574.30], rel=0.015)
    assert all(row["lat"] and row["clips"] for row in rows)
    # The clip that measured a fish is among its clips, in all that is written.
    of_json = {c["catch"]: c for c in json.loads((run[0] / "trip.json").read_text(encoding="utf-8"))["catches"]}
    for row, clip in zip(landed, ("clips/chest/CLIP0005.mp4", "clips/chest/CLIP0013.mp4"), strict=True):
        assert clip in row["clips"].split("; ") and of_json[row["catch"]]["clips"] == row["clips"].split("; ")
        links = [p for p in (run[0] / "sorted").rglob("*") if p.name.endswith(clip.rpartition("/")[2])]
        assert [p.parent.name for p in links] == [f"{row['catch']} {row['species']} landed"]


def test_sorting_alone_lays_the_clips_as_a_whole_run_does(run, tmp_path) -> None:
    words = ["sort", str(SAMPLE), "--out", str(tmp_path)]
    subprocess.run([sys.executable, "-m", "reelnotes", *words], check=True, capture_output=True)

    def laid(out: Path) -> list[str]:
        return sorted(str(p.relative_to(out)) for p in (out / "sorted").rglob("*") if not p.is_dir())

    assert laid(tmp_path) == laid(run[0])
    assert not (tmp_path / "frames").exists()


def test_the_edit_list_agrees_with_itself(run) -> None:
    rows = table(run[0] / "cuts.csv")
    timeline = otio.adapters.read_from_file(str(run[0] / "cuts.otio"))
    shots = list(timeline.video_tracks()[0].find_clips())
    assert len(shots) == len(rows) > 5
    for row, shot in zip(rows, shots, strict=True):
        rate = Fraction(row["rate"])
        frames = int(row["out_frame"]) - int(row["in_frame"])
        assert timecode_to_frames(row["out_tc"], rate) - timecode_to_frames(row["in_tc"], rate) == frames
        assert shot.source_range.duration.value == frames
    total = sum((int(r["out_frame"]) - int(r["in_frame"])) / Fraction(r["rate"]) for r in rows)
    assert float(total) == pytest.approx(240.0, rel=0.03)


def test_what_is_posted_gives_no_place_away(run) -> None:
    for path in (run[0] / "post").iterdir():
        text = path.read_bytes().decode("utf-8", "replace")
        for lat, lon in SPOTS:
            assert f"{lat:.2f}" not in text and f"{lon:.3f}" not in text, path.name
    features = json.loads((run[0] / "post" / "track.geojson").read_text(encoding="utf-8"))["features"]
    assert not [f for f in features if f["geometry"] and f["geometry"]["type"] in ("Point", "LineString")]


def test_killed_and_run_again_ends_as_if_never_killed(run, tmp_path: Path) -> None:
    out = tmp_path / "out"
    killed = subprocess.Popen(command(out), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    time.sleep(8.0)
    killed.kill()
    killed.wait()
    subprocess.run(command(out), capture_output=True, timeout=900, check=False)
    once, again = fingerprint(run[0]), fingerprint(out)
    assert set(once) == set(again)
    # The undo journal of sorted/ names absolute places; all else is the same to the byte.
    assert [n for n in once if once[n] != again[n] and not n.startswith("sorted/")] == []


def test_a_broken_clip_is_set_aside_by_name_and_the_rest_goes_on(tmp_path: Path) -> None:
    trip = tmp_path / "trip"
    (trip / "clips/chest").mkdir(parents=True)
    whole = (SAMPLE / "clips/chest/CLIP0003.mp4").read_bytes()
    (trip / "clips/chest/CLIP0003.mp4").write_bytes(whole)
    (trip / "clips/chest/CLIP0004.mp4").write_bytes(b"")
    (trip / "clips/chest/CLIP0005.mp4").write_bytes(whole[: len(whole) // 3])
    told = [sys.executable, "-m", "reelnotes", "run", str(trip), "--out", str(tmp_path / "out")]
    done = subprocess.run(told, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 1 and "Traceback" not in done.stderr
    rows = {row["clip"]: row for row in table(tmp_path / "out" / "clips.csv")}
    assert rows["clips/chest/CLIP0003.mp4"]["placed"] == "utc"  # a clock was filmed in it
    for name in ("CLIP0004.mp4", "CLIP0005.mp4"):
        assert rows[f"clips/chest/{name}"]["set_aside"] and name in done.stderr
