"""What went wrong reads as one sentence."""

import pytest

from reelnotes.records.problems import Problem


@pytest.mark.parametrize(
    ("what", "said"),
    [
        ("it is no clip", "a.mp4: it is no clip (copy it again)"),
        ("it cannot be read (no such file)", "a.mp4: it cannot be read (no such file); copy it again"),
    ],
)
def test_what_to_do_stands_in_brackets_unless_the_reason_does(what: str, said: str) -> None:
    assert str(Problem("a.mp4", what, advice="copy it again")) == said


def test_without_advice_nothing_hangs() -> None:
    assert str(Problem("a.mp4", "it is no clip", "it was set aside")) == "a.mp4: it is no clip; it was set aside"
