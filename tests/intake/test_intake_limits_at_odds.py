"""Limits that contradict themselves or one another are said; what is in order is not."""

import pytest

from reelnotes.intake.limits import read_limits


def said(tmp_path, *tables: str, units: str = "metric") -> list[str]:
    (tmp_path / "limits.toml").write_text("".join(f"[[limit]]\n{t}\n" for t in tables))
    limits, problems = read_limits(tmp_path, units)
    assert len(limits) == len(tables)  # which one holds is not for the program to choose: none is left out
    assert not any(p.serious for p in problems)
    return [str(p) for p in problems]


COD = 'species = "cod"\n'


@pytest.mark.parametrize(
    ("tables", "says"),
    [
        ((COD + 'minimum = "40 cm"', 'species = " Cod"\nminimum = "45 cm"'), "two minima, 40.0 cm and 45.0 cm"),
        ((COD + 'maximum = "80 cm"', COD + 'maximum = "85 cm"'), "two maxima, 80.0 cm and 85.0 cm"),
        ((COD + "bag = 2", COD + 'measure = "fork"\nbag = 3'), "two bags, 2 and 3"),
        ((COD + 'minimum = "40 cm"', COD + 'maximum = "30 cm"'), "no cod is within both the minimum of 40.0 cm"),
        ((COD + 'maximum = "30 cm"', COD + 'minimum = "40 cm"'), "and the maximum of 30.0 cm"),
        ((COD + 'minimum = "40 cm"\nmaximum = "60 cm"\nslot = ["40 cm", "60 cm"]',), "leaves no fish"),
        ((COD + 'minimum = "40 cm"\nslot = ["20 cm", "30 cm"]',), "protects nothing more"),
        ((COD + 'maximum = "60 cm"', COD + 'slot = ["70 cm", "80 cm"]'), "protects nothing more"),
    ],
)
def test_what_contradicts(tmp_path, tables, says):
    (problem,) = said(tmp_path, *tables)
    assert says in problem and "look up what holds" in problem
    assert problem.startswith("limits.toml, limits 1 and 2" if len(tables) == 2 else "limits.toml, limit 1")


@pytest.mark.parametrize(
    "tables",
    [
        (COD + 'minimum = "40 cm"\nbag = 3', COD + 'minimum = "400 mm"\nbag = 3'),
        (COD + 'minimum = "40 cm"', COD + 'measure = "fork"\nminimum = "37 cm"'),
        (COD + 'minimum = "40 cm"', 'species = "ling"\nminimum = "60 cm"\nbag = 1'),
        (COD + 'minimum = "40 cm"\nmaximum = "90 cm"\nslot = ["60 cm", "75 cm"]', COD + "bag = 3"),
        (COD + 'slot = ["30 cm", "40 cm"]', COD + 'slot = ["60 cm", "75 cm"]'),
    ],
)
def test_what_does_not(tmp_path, tables):
    assert said(tmp_path, *tables) == []


def test_it_is_said_in_the_trips_units(tmp_path):
    (problem,) = said(tmp_path, COD + 'minimum = "15 3/4 in"', COD + 'minimum = "18 in"', units="imperial")
    assert "15.75 in and 18.00 in" in problem
