"""cuts.csv: one row a shot."""

import csv
import io
from pathlib import Path

from reelnotes.media.writing import write_text
from reelnotes.records.cuts import EditList

COLUMNS = (
    *("cut", "clip", "in_frame", "out_frame", "rate", "in_tc", "out_tc", "record_in_tc", "why", "catch"),
    *("record_out_tc", "kind"),
)


def csv_text(edit: EditList) -> str:
    """The edit list as CSV (RFC 4180, LF line ends). out_frame is exclusive; rate is what the frames count, ``30000/1001``.

    A reason that a spreadsheet would take for a formula is led by an apostrophe.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for c in edit.cuts:
        rate = f"{c.rate.numerator}/{c.rate.denominator}"
        source = [c.number, c.clip, c.in_frame, c.out_frame, rate, c.in_tc, c.out_tc]
        writer.writerow([*source, c.record_in_tc, _plain(c.why), c.catch, c.record_out_tc, c.kind])
    return out.getvalue()


def write_csv(edit: EditList, target: Path) -> None:
    """Write :func:`csv_text` safely."""
    write_text(target, csv_text(edit))


def _plain(text: str) -> str:
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t") else text
