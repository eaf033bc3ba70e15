"""What the user sees: progress and problems on stderr, results on stdout, one place for exit codes."""

import json
import logging
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from rich.console import Console
from rich.logging import RichHandler
from rich.markup import escape
from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeElapsedColumn

from reelnotes.records.problems import Problem

DONE, DONE_WITH_SOME_SET_ASIDE, UNUSABLE = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Voice:
    """How much to say: ``as_json`` puts one JSON object on stdout and nothing else there."""

    as_json: bool = False
    quiet: bool = False
    verbose: bool = False

    @property
    def out(self) -> Console:
        """Results for people; silent when machines read stdout."""
        return Console(quiet=self.as_json or self.quiet, soft_wrap=True, highlight=False)

    @property
    def err(self) -> Console:
        """Progress and problems."""
        return Console(stderr=True, quiet=self.quiet, soft_wrap=True, highlight=False)

    def set_up_logging(self) -> None:
        """Library messages go to stderr, warnings only unless --verbose."""
        level = logging.DEBUG if self.verbose else logging.ERROR
        handler = RichHandler(console=Console(stderr=True), show_path=False, rich_tracebacks=False)
        logging.basicConfig(level=level, format="%(name)s: %(message)s", handlers=[handler], force=True)
        for name in ("fontTools", "PIL", "fpdf", "matplotlib", "numba", "h5py"):
            logging.getLogger(name).setLevel(logging.ERROR)

    @contextmanager
    def progress(self) -> Iterator["Steps"]:
        """A progress display on stderr, for the length of the block."""
        name, what = TextColumn("{task.description:<24}"), TextColumn("{task.fields[what]}")
        silent = self.quiet or not sys.stderr.isatty()
        shown = Progress(
            name, BarColumn(bar_width=24), TimeElapsedColumn(), what, console=Console(stderr=True), transient=True, disable=silent
        )
        with shown:
            yield Steps(shown)

    def result(self, facts: dict[str, Any]) -> None:
        """With --json: the facts as one JSON object on stdout."""
        if self.as_json:
            text = json.dumps(facts, ensure_ascii=False, indent=1)
            try:
                text.encode(sys.stdout.encoding or "ascii")
            except UnicodeEncodeError:  # a terminal of few letters, or a path that is no UTF-8
                text = json.dumps(facts, indent=1)
            sys.stdout.write(text + "\n")

    def tell(self, problems: Iterable[Problem]) -> int:
        """Say each problem once on stderr; the exit code that follows from them."""
        code = DONE
        for problem in problems:
            if problem.serious:
                code = DONE_WITH_SOME_SET_ASIDE
            colour = "yellow" if problem.serious else "dim"
            self.err.print(f"[{colour}]{'!' if problem.serious else '-'}[/] {escape(str(problem))}")
        return code


def bold(path: object) -> str:
    """A path as rich markup; brackets in it stay what they are."""
    return f"[bold]{escape(str(path))}[/]"


class Steps:
    """Hands each long step its own bar; a step reports (share 0..1, what it works on)."""

    def __init__(self, shown: Progress) -> None:
        self._shown = shown

    def __call__(self, name: str) -> Callable[[float, str], None]:
        """Start the bar of one step and return its reporter."""
        task: TaskID = self._shown.add_task(name, total=1.0, what="")

        def report(share: float, what: str = "") -> None:
            self._shown.update(task, completed=min(max(share, 0.0), 1.0), what=what[-48:])

        return report
