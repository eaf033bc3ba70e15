import datetime as dt
import os
import shutil
from fractions import Fraction
from pathlib import Path

import pytest

from reelnotes.intake import Found, Missing, inventory, read_trip
from reelnotes.records.instants import iso_utc
from reelnotes.records.problems import UsageError

# An invented quarter of an hour near an invented skerry. GPX 1.1, topografix.com/GPX/1/1
GPX = (
    '<?xml version="1.0"?><gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
    + "".join(f'<trkpt lat="{62.2 + n * 1e-4:.5f}" lon="5.01"><time>2026-05-09T04:{n:02d}:00Z</time></trkpt>' for n in range(15))
    + "</trkseg></trk></gpx>"
)
LOG = "time,event,species\n06:05,hooked,cod\n06:09,landed,cod\n"


def put(path, content):
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content if isinstance(content, bytes) else content.encode())


@pytest.fixture
def trip(tmp_path, make_clip):
    """A small whole trip: two cameras, a track, a log."""
    root = tmp_path / "dawn session"
    for n in range(2):
        make_clip(root / f"clips/chest/CLIP{n:04d}.mp4", tags={"creation_time": f"2026-05-09T06:0{n}:00Z"}, shade=n)
    make_clip(root / "clips/bow/BOW1.MP4", rate=Fraction(25), shade=9)
    put(root / "track/morning.gpx", GPX)
    put(root / "log/catches.csv", LOG)
    return root


def names(folder):
    return [clip.name for clip in folder.clips if clip.usable]


def test_a_whole_trip(trip):
    shares = []
    folder = read_trip(trip, lambda share, what: shares.append((share, what)))
    assert folder.title == "dawn session"
    assert names(folder) == ["clips/bow/BOW1.MP4", "clips/chest/CLIP0000.mp4", "clips/chest/CLIP0001.mp4"]
    assert [camera.name for camera in folder.cameras] == ["bow", "chest"]
    assert (folder.zone.key, folder.zone_from, folder.date) == ("Europe/Oslo", "the first track position", dt.date(2026, 5, 9))
    assert len(folder.fixes) == 15
    assert [(event.kind, iso_utc(event.time_utc_s, 0)) for event in folder.events] == [
        ("hooked", "2026-05-09T04:05:00Z"),
        ("landed", "2026-05-09T04:09:00Z"),
    ]
    assert folder.problems == ()
    assert [share for share, _ in shares] == sorted(share for share, _ in shares)
    assert shares[-1][0] == 1.0
    assert any("CLIP0001.mp4" in what for _, what in shares)


def test_nothing_is_changed(trip):
    def state():
        return {p: (p.stat().st_mtime_ns, p.stat().st_size) for p in trip.rglob("*")}

    before = state()
    read_trip(trip)
    assert state() == before


def test_settings_win_over_what_is_found(trip):
    put(
        trip / "trip.toml",
        'title = "T"\ndate = 2026-05-08\ntimezone = "Europe/London"\n[[camera]]\nname = "chest"\ntrusted = true\n',
    )
    folder = read_trip(trip)
    assert (folder.title, folder.date, folder.zone.key) == ("T", dt.date(2026, 5, 8), "Europe/London")
    assert folder.camera("chest").trusted
    assert not folder.camera("bow").trusted


def test_the_mess_of_real_folders(trip, make_clip):
    clip = (trip / "clips/chest/CLIP0000.mp4").read_bytes()
    put(trip / "clips/chest/.DS_Store", b"\0\0\0\1Bud1")
    put(trip / "clips/chest/._CLIP0000.mp4", b"\0\5\x16\7" * 30)
    put(trip / "clips/chest/CLIP0000.THM", b"\xff\xd8\xff\xe0")
    make_clip(trip / "clips/chest/CLIP0000.mp4.tmp.mp4", shade=77).rename(trip / "clips/chest/CLIP0000.LRV")
    make_clip(trip / "x.mp4", shade=78).rename(trip / "clips/chest/AB0777.LRV")
    put(trip / "clips/chest/EMPTY.MP4", b"")
    put(trip / "clips/chest/notes.mp4", b"just words " * 99)
    put(trip / "clips/chest/CLIP0000 (1).mp4", clip)
    put(trip / "outputs/dawn/sorted/CLIP0000.mp4", clip)
    put(trip / "results/trip.json", "{}")
    put(trip / "results/sorted/CLIP0000.mp4", clip)
    put(trip / "__MACOSX/clips/chest/CLIP0000.mp4", clip)
    make_clip(trip / "clips/chest/deep/er/Grå fisk\n2.MOV", shade=50)
    (trip / "clips/loop").symlink_to(trip / "clips", target_is_directory=True)
    (trip / "clips/gone.mp4").symlink_to(trip / "nowhere.mp4")
    put(trip / "readme.csv", "a,b\n1,2\n")
    folder = read_trip(trip)
    aside = {clip.name.rsplit("/", 1)[-1]: clip.set_aside for clip in folder.clips if not clip.usable}
    assert (
        names(folder)
        == [
            "clips/bow/BOW1.MP4",
            "clips/chest/AB0777.LRV",  # its main clip is gone: better a small one than none
            "clips/chest/CLIP0000 (1).mp4",
            "clips/chest/CLIP0001.mp4",
            "clips/chest/deep/er/Grå fisk\n2.MOV",
        ]
        or names(folder)[2] == "clips/chest/CLIP0000.mp4"
    )
    assert set(aside) == {"EMPTY.MP4", "notes.mp4", "CLIP0000 (1).mp4", "gone.mp4"}
    assert aside["EMPTY.MP4"] == "the file is empty (zero bytes)"
    assert aside["CLIP0000 (1).mp4"] == "it is a copy of clips/chest/CLIP0000.mp4"
    told = {problem.where: problem.serious for problem in folder.problems}
    assert told["clips/chest/EMPTY.MP4"]
    assert told["clips/gone.mp4"]
    assert told["readme.csv"] is False
    assert len(folder.problems) == 5
    assert {clip.camera for clip in folder.clips if clip.usable} == {"bow", "chest"}


def test_only_clips(tmp_path, make_clip):
    for n in range(3):
        make_clip(tmp_path / f"DECK_{n:03d}.mp4", tags={"creation_time": f"2026-05-09T0{n + 1}:00:00Z"}, shade=n)
    make_clip(
        tmp_path / "20260509_062210.mov",
        tags={"make": "Invented", "model": "Pocket 5"},
        options={"movflags": "use_metadata_tags"},
    )
    folder = read_trip(tmp_path)
    assert {clip.name: clip.camera for clip in folder.clips} == {
        "DECK_000.mp4": "deck",
        "DECK_001.mp4": "deck",
        "DECK_002.mp4": "deck",
        "20260509_062210.mov": "Pocket 5",
    }
    assert (folder.zone.key, folder.date) == ("UTC", dt.date(2026, 5, 9))
    assert [(p.where, p.serious) for p in folder.problems] == [("trip.toml, timezone", False)]
    missing = {row.what for row in inventory(folder) if isinstance(row, Missing)}
    assert {"track", "catch log", "board", "time zone"} <= missing


def test_two_equal_devices_in_two_folders_are_two_cameras(tmp_path, make_clip):
    for n, side in enumerate(("left card", "right card")):
        for number in (1, 2):
            make_clip(tmp_path / side / f"DECK_{number:03d}.mp4", shade=10 * n + number)
    folder = read_trip(tmp_path)
    assert [clip.camera for clip in folder.clips] == ["left card"] * 2 + ["right card"] * 2


def test_one_device_over_two_folders_is_one_camera(tmp_path, make_clip):
    make_clip(tmp_path / "card/100MEDIA/DECK_001.mp4", shade=1)
    make_clip(tmp_path / "later/DECK_002.mp4", shade=2)
    assert [camera.name for camera in read_trip(tmp_path).cameras] == ["deck"]


def test_a_camera_folder_anywhere_and_a_camera_that_is_not_there(tmp_path, make_clip):
    make_clip(tmp_path / "cards/A/X1.mp4")
    put(
        tmp_path / "trip.toml",
        '[[camera]]\nname = "chest"\nfolder = "cards/A/"\nlens = "lenses/no.toml"\n[[camera]]\nname = "bow"\n',
    )
    folder = read_trip(tmp_path)
    assert [clip.camera for clip in folder.clips] == ["chest"]
    assert folder.camera("chest").lens is None
    told = " | ".join(str(problem) for problem in folder.problems)
    assert "there is no usable lens file 'lenses/no.toml'" in told
    assert "camera 'bow': no clip is from this camera" in told


def test_names_in_another_case(trip):
    (trip / "clips").rename(trip / "Clips")
    put(trip / "TRIP.toml", '[[camera]]\nname = "Chest"\ntrusted = true\n')
    put(trip / "chest.toml", "")
    folder = read_trip(trip)
    assert [(camera.name, camera.trusted) for camera in folder.cameras] == [("Chest", True), ("bow", False)]
    assert [(problem.where, problem.serious) for problem in folder.problems] == [("chest.toml", False)]


def test_a_wild_first_fix_does_not_choose_the_zone(trip):
    wild = '<trkpt lat="-33.86" lon="151.21"><time>2026-05-09T03:59:00Z</time></trkpt>'
    put(trip / "track/morning.gpx", GPX.replace("<trkseg>", "<trkseg>" + wild))
    assert read_trip(trip).zone.key == "Europe/Oslo"


def test_stamps_with_an_offset_make_a_camera_of_known_clock(tmp_path, make_clip):
    tags = {"com.apple.quicktime.creationdate": "2026-05-09T06:23:36+0200"}
    make_clip(tmp_path / "a.mov", tags=tags, options={"movflags": "use_metadata_tags"})
    folder = read_trip(tmp_path)
    assert folder.clips[0].stamp_is_utc
    assert iso_utc(folder.clips[0].stamp_s, 0) == "2026-05-09T04:23:36Z"
    assert folder.cameras[0].clock == "utc"


def test_the_zone_from_a_clip_with_a_place(tmp_path, make_clip):
    make_clip(tmp_path / "a.mov", tags={"location": "-33.8600+151.2100/"}, options={"movflags": "use_metadata_tags"})
    folder = read_trip(tmp_path)
    assert (folder.zone.key, folder.zone_from) == ("Australia/Sydney", "the place written in a.mov")


def test_chapters_in_a_folder(tmp_path, make_clip):
    for n, frames in enumerate((60, 60, 20), 1):
        make_clip(
            tmp_path / f"clips/stern/S0009_{n:02d}.mp4",
            rate=Fraction(25),
            frames=frames,
            shade=n,
            tags={"creation_time": "2026-05-09T06:00:00Z"},
        )
    make_clip(tmp_path / "clips/stern/S0010_01.mp4", rate=Fraction(25), frames=50, tags={"creation_time": "2026-05-09T07:00:00Z"})
    clips = read_trip(tmp_path).clips
    assert [(clip.chapter, clip.lead_s) for clip in clips] == [
        (1, 0.0),
        (2, pytest.approx(2.4)),
        (3, pytest.approx(4.8)),
        (0, 0.0),
    ]


def test_tables_are_told_apart_by_what_they_hold(tmp_path, make_clip):
    make_clip(tmp_path / "a.mp4")
    put(tmp_path / "one.csv", "time,lat,lon\n2026-05-09T04:00:00Z,62.2,5.01\n2026-05-09T04:00:01Z,62.2001,5.01\n")
    put(tmp_path / "two.csv", "time,event\n2026-05-09T06:05:00+02:00,hooked\n")
    put(tmp_path / "TIDE.CSV", "time,height,unit\n2026-05-09T06:04:00Z,0.58,m\n")
    folder = read_trip(tmp_path)
    assert (len(folder.fixes), len(folder.events), len(folder.tide)) == (2, 1, 1)


def test_a_track_file_that_is_none_is_set_aside(trip):
    put(trip / "track/broken.gpx", "<gpx")
    put(trip / "track/photo.jpg", b"\xff\xd8")
    put(trip / "log/empty.csv", b"")
    folder = read_trip(trip)
    assert len(folder.fixes) == 15
    assert len(folder.events) == 2
    assert sorted(problem.where.split(",")[0].split(" line")[0] for problem in folder.problems) == [
        "log/empty.csv",
        "track/broken.gpx",
    ]


def test_a_time_mark_on_a_clip_that_is_not_there(trip):
    put(trip / "trip.toml", '[[time_mark]]\nclip = "clips/chest/CLIP9.mp4"\nframe = 3\ntime = 2026-05-09T06:31:24+02:00\n')
    assert "there is no usable clip 'clips/chest/CLIP9.mp4'" in str(read_trip(trip).problems[0])


def test_nothing_usable(tmp_path):
    for root, says in ((tmp_path / "no", "no such folder"), (tmp_path, "it holds no clip, track or log")):
        with pytest.raises(UsageError, match=says):
            read_trip(root)
    put(tmp_path / "file.mp4", b"")
    with pytest.raises(UsageError, match=r"none of its 1 clips can be used.*zero bytes"):
        read_trip(tmp_path)
    with pytest.raises(UsageError, match="it is a file"):
        read_trip(tmp_path / "file.mp4")


def test_a_folder_that_may_not_be_read(trip, monkeypatch):
    allowed = Path.iterdir

    def iterdir(self):
        if self.name == "bow":
            raise PermissionError(13, "Permission denied")
        return allowed(self)

    monkeypatch.setattr(Path, "iterdir", iterdir)
    folder = read_trip(trip)
    assert [problem.where for problem in folder.problems] == ["clips/bow"]
    assert len(names(folder)) == 2


def test_the_inventory_counts_what_is_there(trip):
    rows = {row.what: row for row in inventory(read_trip(trip))}
    assert rows["clips"] == Found("clips", 3, "0.0 min (bow 1, chest 2)")
    assert rows["track fixes"].count == 15
    assert rows["logged events"].words == "hooked 1, landed 1"
    assert rows["time zone"].words == "Europe/Oslo, from the first track position"
    assert rows["board"].costs == "no lengths from footage"
    shutil.rmtree(trip / "track")
    rows = {row.what: row for row in inventory(read_trip(trip))}
    assert rows["track"].costs.startswith("no positions, speeds, legs or map")


def test_a_time_mark_past_its_clips_end_moves_no_clock(trip):
    mark = '[[time_mark]]\nclip = "clips/chest/CLIP0000.mp4"\n{}\ntime = 2026-05-09T06:31:24+02:00\n'
    for place, kept in (("at_s = 0.2", 1), ("frame = 3", 1), ("at_s = 1e9", 0), ("frame = 10000", 0)):
        put(trip / "trip.toml", mark.format(place))
        folder = read_trip(trip)
        assert len(folder.settings.time_mark) == kept
        assert any("past the end of clips/chest/CLIP0000.mp4" in str(problem) for problem in folder.problems) == (not kept)


def test_a_track_without_positions_is_told(trip):
    put(trip / "track/morning.gpx", '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg/></trk></gpx>')
    assert "track/morning.gpx: it holds no positions" in [str(problem).partition(";")[0] for problem in read_trip(trip).problems]


def test_a_name_that_is_no_utf8_can_be_written(trip, make_clip):
    made = make_clip(trip / "clips/chest/plain.mp4", shade=40)
    made.rename(trip / os.fsdecode(b"clips/chest/caf\xe9.mp4"))  # "cafe" with its accent, in Latin-1
    assert "clips/chest/caf\ufffd.mp4" in names(read_trip(trip))


def test_a_link_to_a_clip_that_is_gone_is_listed(trip):
    (trip / "clips/chest/GONE.mp4").symlink_to(trip / "nowhere.mp4")
    (trip / "clips/chest/ROUND.mp4").symlink_to("ROUND.mp4")
    reasons = {clip.name: clip.set_aside for clip in read_trip(trip).clips if clip.set_aside}
    assert list(reasons) == ["clips/chest/GONE.mp4", "clips/chest/ROUND.mp4"]
    assert all("cannot be read" in reason for reason in reasons.values())


def night_track(first, last):
    """A track with a fix each minute between two local instants at +02:00."""
    start, end = (dt.datetime.fromisoformat(moment + "+02:00") for moment in (first, last))
    fixes = "".join(
        f'<trkpt lat="62.2{n:04d}" lon="5.01"><time>{start + dt.timedelta(minutes=n):%Y-%m-%dT%H:%M:%S%z}</time></trkpt>'
        for n in range(int((end - start).total_seconds() // 60))
    )
    head = '<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
    return head + fixes + "</trkseg></trk></gpx>"


@pytest.mark.parametrize(
    ("first", "last", "date"),
    [
        ("2026-08-14T20:30", "2026-08-15T05:40", dt.date(2026, 8, 14)),  # a night: the evening it began, as one says it
        ("2026-08-14T09:00", "2026-08-15T16:30", dt.date(2026, 8, 15)),  # left on since the day before: the commonest date
        ("2026-08-14T05:10", "2026-08-14T13:00", dt.date(2026, 8, 14)),
    ],
)
def test_a_night_is_dated_by_its_evening(tmp_path, first, last, date):  # common practice, no source
    put(tmp_path / "track/night.gpx", night_track(first, last))
    put(tmp_path / "log/catches.csv", f"time,event,species\n{last[11:]},landed,eel\n")
    folder = read_trip(tmp_path)
    assert (folder.zone.key, folder.date) == ("Europe/Oslo", date)


def test_a_log_that_passes_midnight_is_read_from_its_evening(tmp_path):
    put(tmp_path / "track/night.gpx", night_track("2026-08-14T22:00", "2026-08-15T05:00"))
    put(tmp_path / "log/catches.csv", "time,event,species\n23:10,landed,eel\n01:20,landed,eel\n")
    assert [iso_utc(event.time_utc_s, 0)[:16] for event in read_trip(tmp_path).events] == ["2026-08-14T21:10", "2026-08-14T23:20"]
