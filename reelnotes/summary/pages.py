"""summary.html and summary.md. The templates only lay out: every text comes ready from the story."""

import re
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from reelnotes.media.writing import write_text
from reelnotes.summary.palette import DARK, LIGHT
from reelnotes.summary.told import Story

_MARKDOWN = re.compile(r"([\\`*_{}\[\]#|~])")


def write_pages(story: Story, post: Path) -> tuple[Path, Path]:
    """Write summary.html (one file, nothing loaded from elsewhere) and summary.md; return their paths."""
    pages = _environment()
    html = pages.get_template("summary.html.j2").render(story=story, light=LIGHT, dark=DARK)
    markdown = pages.get_template("summary.md.j2").render(story=story)
    write_text(post / "summary.html", html)
    write_text(post / "summary.md", re.sub(r"\n{3,}", "\n\n", markdown).strip() + "\n")
    return post / "summary.html", post / "summary.md"


def _environment() -> Environment:
    pages = Environment(
        loader=PackageLoader("reelnotes.summary", "templates"),
        autoescape=select_autoescape(enabled_extensions=("html.j2", "svg.j2", "css.j2"), default=False),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    pages.filters["md"] = in_markdown
    pages.filters["kind"] = lambda kind: kind.replace(" ", "-")  # a leg's kind as a class name
    return pages


def in_markdown(text: str) -> str:
    """Free text as plain text in CommonMark: nothing in it is taken for markup, and line ends become spaces."""
    text = _MARKDOWN.sub(r"\\\1", " ".join(text.replace("\u202f", "\u00a0").split(" ")))
    text = " ".join(text.splitlines())
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
