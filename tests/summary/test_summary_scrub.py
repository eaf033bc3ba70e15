"""Positions in free text: however they are written they go, and what is no position stays."""

import re
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelnotes.summary.scrub import GAP, scrubbed

# One invented place off an invented skerry, 62.21043 N 5.00080 E, in the notations of the standards that name them.
POSITIONS = [
    # common practice, no source: what is copied from pages and jotted by hand
    "62.\u200b2105, 5.\u200b0123",
    "62·2105 5·0123",
    "62 12' 37\" 5 0' 44\"",
    "Lat 62 12.6 Long 5 0.1",
    # source: ISO 6709:2008, annex H (representation for interchange) and annex D (at the human interface)
    "+62.2104+005.0008/",
    "+6212.626+00500.048/",
    "+621237.5+0050002.9/",
    "+62.2104+005.0008+12.5CRSWGS_84/",
    "-33.8567+151.2153/",
    "62°12′37.5″N 5°0′2.9″E",
    "62° 12′ 37.5″ N, 005° 00′ 02.9″ E",
    "62°12'37.5\"N, 5°00'02.9\"E",
    "62°12.626′N 005°00.048′E",
    "62.2104°N 5.0008°E",
    # source: NMEA 0183, fields ddmm.mmmm,N,dddmm.mmmm,E
    "6212.6260,N,00500.0480,E",
    "6212.626N 00500.048E",
    "6212.626N, 00500.048E",
    "6212.626 00500.048",
    "$GPGGA,041220.00,6212.6260,N,00500.0480,E,1,08,0.9,1.2,M,45.0,M,,*47",
    # source: NGA.STND.0037 (universal grids: UTM and MGRS)
    "32V 354000 6928000",
    "32 V 354000 6928000",
    "32V 354000E 6928000N",
    "32V 354000mE 6928000mN",
    "32 354000E 6928000N",
    "32N 354000 6928000",
    "UTM 32V 0354000 6928000",
    "UTM 354000 6928000",
    "354000, 6928000",
    "354000.5 6928000.5",
    "6928000 354000",
    "E354000 N6928000",
    "E 354 000 N 6 928 000",
    "354 000 m E, 6 928 000 m N",
    "32VLQ5400028000",
    "32V LQ 54000 28000",
    "32VLQ 540 280",
    "32VLQ5428",
    "32vlq5400028000",
    # source: the Open Location Code specification (full, short, padded)
    "9FGG6226+5X",
    "9fgg6226+5x",
    "9FGG6226+5XG",
    "6226+5X",
    "9FGG0000+",
    # source: IARU Region 1, the Maidenhead locator system (six, eight and ten characters)
    "JP22mf",
    "JP22MF",
    "JP22mf01",
    "JP22mf01ab",
    # source: RFC 5870, geo URIs
    "geo:62.2104,5.0008",
    "geo:62.2104,5.0008;u=35",
    "geo:62.21,5.00",
    # links, of maps and others
    "https://maps.example/?q=62.21,5.00",
    "https://maps.example/@62.2104,5.0008,15z",
    "http://map.example/#map=15/62.21/5.00",
    "maps.example.org/place/62.21,5.00",
    "www.maps.example/62.21/5.00",
    "comgmap://?center=62.21,5.00",
    # source: ICAO Annex 15 / Doc 8126, positions in one word
    "621238N0050003E",
    "6212N00500E",
    "N6212626 E00500048",
    "N621238 E0050003",
    "N62126E005000",
    # common practice, no source: what people type
    "62.21043, 5.00080",
    "62.21043 5.00080",
    "62,21043 5,00080",
    "62,2104 N 5,0008 Ø",
    "62.2104N 5.0008E",
    "N62.2104 E5.0008",
    "N 62.2104° E 5.0008°",
    "62.21N 5.00E",
    "62.21 N, 5.00 E",
    "62.2104 north 5.0008 east",
    "62.2104 North, 5.0008 East",
    "E 5.0008, N 62.2104",
    "5.0008E 62.2104N",
    "62.2104n 5.0008e",
    "62 12.626 N 5 0.048 E",
    "62 12.626N 005 00.048E",
    "62 12,626 N 5 0,048 Ø",
    "N 62 12.626 E 005 00.048",
    "N62 12.626, E5 0.048",
    "62 12.626, 5 00.048",
    "62-12.626N 5-00.048E",
    "62:12.626N 5:00.048E",
    "62 12 37 N 5 0 3 E",
    "62 12 37.5 N, 5 0 2.9 E",
    "N 62 12 37 E 5 0 3",
    "62-12-37N 005-00-03E",
    "62:12:37N 5:00:03E",
    "62d12m37s N",
    "62d12m37s N 5d0m3s E",
    "62d 12m 37s N, 5d 0m 3s E",
    "62d12.626m N 5d0.048m E",
    "62 deg 12.626 min N, 5 deg 0.048 min E",
    "62 degrees 12 minutes 37 seconds north, 5 degrees 0 minutes 3 seconds east",
    "62 grader 12 minutter nord, 5 grader 0 minutter øst",
    "62*12.626'N 5*00.048'E",
    "62° 12.626, 5° 0.048",
    "62° 12, 5° 00",
    "62°12 5°00",
    "lat 62.21 lon 5.00",
    "lat: 62.21043, long: 5.00080",
    "Lat 62 12.626 Lon 5 00.048",
    "latitude=62.21&longitude=5.00",
    "breddegrad 62.21 lengdegrad 5.00",
    "lat. N 62° 12' lon. E 5° 0'",
    "NN 16670 71280",
    "NN166712",
    # one number alone: the other one may stand in the next note
    "62.21043",
    "62.210",
    "62,21043",
    "62.2104 N",
    "N 62.2104",
    "62°12.626'",
    "62° 12' 37\"",
    "62 12.626 N",
    "N 62 12.626",
    "N 62 12 37",
    "62 12 37 N",
    "6212.626N",
]

INNOCENT = [
    "06:42-07:10 N wind",
    "73.0 cm",
    "73.0 cm, 3.10 kg, kept",
    "73.05 cm and 71.20 cm",
    "63.5 x 12.25 cm",
    "at 06:12",
    "06:12 to 07:33, slack at 06:45:30",
    "06:12 N 4, 07:30 NE 5",
    "wind N 06:12 to 07:00",
    "wind N 5 06:12",
    "wind N 4, E 5 later",
    "wind N 4.5, E 5.5 later",
    "wind S 4.5 m/s, gusts 9",
    "wind W 4 to 5, then SW 12 m/s",
    "12.5 m deep, bottom at 14 m",
    "depth 7-9 m",
    "7 m, 12 °C",
    "12.4°C at 3 m, 9.8 °C at 12 m",
    "water 12.5° 3 m down",
    "heading 120° 5 min before the strike",
    "turned to 120 degrees, 5 minutes later a strike",
    "course 045, 2.4 kn",
    "size 4 spoon 28 g",
    "28 g spoon, size 4/0 hook, no. 10 swivel",
    "0.12 mm line",
    "0.125 mm line",
    "0.250 mm and 0.125 mm line",
    "3.125 kg",
    "2,5 m leader of 0,35 mm",
    "20 lb braid, 12 lb leader",
    "7 lb 3 oz, 25 1/4 in",
    "5' 6\" rod",
    "11'6\" rod, 3-piece",
    "1.250 kg",
    "10.125 in",
    "2.500 s",
    "1013.25 hPa",
    "1013 hPa and falling",
    "VHF 156.800 MHz",
    "12 V battery at 12.64 V",
    "12.4 V, 3.2 A",
    "12 V DC, 40 Ah",
    "2026-05-09",
    "09-05-2026",
    "9.5.2026",
    "09.05.2026 06:12",
    "May 9, 2026",
    "2026-05-09T06:12:37+02:00",
    "1,250 rpm",
    "1,250 casts",
    "40 hp at 5500 rpm",
    "1200 W motor",
    "fish 1-3 of 10",
    "10+2 hooks",
    "3 m at 10 15",
    "no 12 on the list",
    "rods 1, 2 and 3",
    "ISO 400, f/2.8, 1/500 s",
    "4 of 5, 80 %, 60/40",
    "lure no. 7, 14 cm, 38 g",
    "SR11 and DT16 lures",
    "model X4 9.5 g",
    "60 cm long, 12 m down",
    "the long 2.75 m rod",
    "Länge 73 cm, Gewicht 3,1 kg",
    "lengde 73,5 cm, bredde 12 cm",
    "lengde: 73",
    "north of the point, 200 m east of the stake",
    "5 south of 12 fish",
    "tide 0.52 m at 03:38, 1.31 m at 09:51",
    "drift 250 m N of the buoy",
    "birds working, left of us",
    "see p. 12-14",
    "and/or a spoon",
    "€ 12.50",
    "$12.50, 3 for $30",
    "phone at 100 %",
    "Grå morgen: 2.5 kn og 14.5 m",
]


@pytest.mark.parametrize("text", POSITIONS)
@pytest.mark.parametrize("around", ["Good spot: {} at slack water", "Two fish ({}).", "{}", "{}.", "took it at {}, then left"])
def test_a_position_goes_in_any_notation(text: str, around: str) -> None:
    cleaned = scrubbed(around.format(text))
    assert GAP in cleaned
    assert not re.search(r"\d", cleaned), cleaned
    first, last = around.split("{}")
    assert cleaned.startswith(first)
    assert cleaned.endswith(last.lstrip("."))


def written(lat: float, lon: float) -> list[str]:
    """One place, far from whole degrees or near, in the notations that are made from numbers."""
    out = [f"{lat:+08.4f}{lon:+09.4f}/", f"{lat:.5f}, {lon:.5f}", f"geo:{lat:.4f},{lon:.4f}"]
    ns, ew, (a, b) = "NS"[lat < 0], "EW"[lon < 0], (abs(lat), abs(lon))
    out += [f"{ns} {a:.4f} {ew} {b:.4f}", f"{a:.4f}{ns} {b:.4f}{ew}", f"{a:.2f}° {ns}, {b:.2f}° {ew}"]
    (d, m), (e, n) = divmod(a * 60, 60), divmod(b * 60, 60)
    d, e, m, n = int(d), int(e), min(m, 59.999), min(n, 59.999)
    out += [
        f"{d} {m:.3f} {ns} {e} {n:.3f} {ew}",
        f"{ns}{d} {m:06.3f} {ew}{e:03d} {n:06.3f}",
        f"{d}°{m:.3f}'{ns} {e}°{n:.3f}'{ew}",
    ]
    out += [f"{d:02d}{m:07.4f},{ns},{e:03d}{n:07.4f},{ew}", f"{d:02d}{m:06.3f}{ns} {e:03d}{n:06.3f}{ew}"]
    (i, s), (j, t) = divmod(m * 60, 60), divmod(n * 60, 60)
    i, j, s, t = int(i), int(j), min(s, 59.9), min(t, 59.9)
    out += [f"{d}°{i}'{s:.1f}\"{ns} {e}°{j}'{t:.1f}\"{ew}", f"{d} {i} {s:.0f} {ns} {e} {j} {t:.0f} {ew}"]
    out += [f"{ns}{d:02d}{i:02d}{int(s):02d} {ew}{e:03d}{j:02d}{int(t):02d}", f"{d}d{i}m{int(s)}s {ns}, {e}d{j}m{int(t)}s {ew}"]
    return out


@given(st.floats(-85, 85), st.floats(-179.9, 179.9))
def test_no_figure_of_any_place_survives(lat: float, lon: float) -> None:
    for text in written(lat, lon):
        cleaned = scrubbed(f"Good spot: {text} at slack water")
        assert cleaned == f"Good spot: {GAP} at slack water", (text, cleaned)


@pytest.mark.parametrize("text", INNOCENT)
@pytest.mark.parametrize("around", ["{}", "Cod, {} in all", "{}."])
def test_what_is_no_position_stays(text: str, around: str) -> None:
    assert scrubbed(around.format(text)) == around.format(text)


def test_what_holds_no_position_keeps_marks_that_nobody_sees() -> None:
    assert scrubbed("a\u200bcod, 3*2 of them") == "a\u200bcod, 3*2 of them"


def test_a_long_text_of_numbers_takes_no_time() -> None:
    for text in ("1 " * 5000, "12.5 N " * 2000, "1234567890" * 500, "N 1 2 3 " * 1500, "a." * 5000, "5° 12 " * 1500):
        begun = time.monotonic()
        scrubbed(text)
        assert time.monotonic() - begun < 5.0, text[:10]
