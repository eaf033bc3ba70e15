"""Thousands of bad lines told as one problem: what, how many, and where the first ones are."""

from reelnotes.records.problems import Problem

NAMED_LINES = 5  # enough to find the pattern, few enough to read


class Tally:
    """Counts what was wrong, by kind, with the first few line numbers of each."""

    def __init__(self) -> None:
        self._lines: dict[str, list[int]] = {}
        self._count: dict[str, int] = {}

    def add(self, what: str, line: int | None = None) -> None:
        """One more case of ``what``, on ``line`` (from 1) where the format has lines."""
        self._count[what] = self._count.get(what, 0) + 1
        lines = self._lines.setdefault(what, [])
        if line is not None and len(lines) < NAMED_LINES:
            lines.append(line)

    def count(self, what: str) -> int:
        """How many cases of ``what`` so far."""
        return self._count.get(what, 0)

    def problem(
        self, where: str, what: str, sentence: str, *, serious: bool = True, done: str = "skipped"
    ) -> tuple[Problem, ...]:
        """The one problem for ``what``, or nothing. ``{n}`` in the sentence becomes the count with its noun's number."""
        n = self.count(what)
        if not n:
            return ()
        return (Problem(where + self._places(what), sentence.format(n=f"{n}", s="" if n == 1 else "s"), done, serious=serious),)

    def _places(self, what: str) -> str:
        lines, n = self._lines.get(what, []), self._count[what]
        if not lines:
            return ""
        text = ", ".join(map(str, lines))
        more = f" and {n - len(lines)} more" if n > len(lines) else ""
        return f" line{'s' if n > 1 else ''} {text}{more}"
