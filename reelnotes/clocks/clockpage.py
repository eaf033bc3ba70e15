"""The clock page: one HTML file, shown on a phone, that tells every camera the time.

It shows UTC to a tenth of a second as text and as a QR code with payload ``reelnotes-clock:<ISO 8601 UTC with ms>``. The
code is made in the page itself (ISO/IEC 18004, version 3-M, byte mode), so it works without any network.
"""

from importlib.resources import files
from pathlib import Path

from reelnotes.media.writing import write_text


def clock_page() -> str:
    """The page's HTML."""
    return files("reelnotes.clocks").joinpath("clockpage.html").read_text(encoding="utf-8")


def write_clock_page(path: Path) -> Path:
    """Write the page to ``path`` (a folder: as ``clock.html`` in it); returns where it lies."""
    target = path / "clock.html" if path.is_dir() else path
    write_text(target, clock_page())
    return target
