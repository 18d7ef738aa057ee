"""compare, away and setup through the real program: exit code, what it prints, what it leaves on disk."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest

from panbudget.errors import PanbudgetError, Problem
from panbudget.studies.size import sizing
from tests.cli.test_main import DEMO, run
from tests.garden_file import write_garden, years_csv

COMPARE = ("compare", DEMO, "--with-base", "--variant", "wide-pan", "--around", "heat")
AWAY = ("away", DEMO, "--from", "2025-07-01", "--to", "2025-07-21")
SETUP = ("setup", DEMO)
# the garden that `new` makes: smaller, for what is run twice
GARDEN = Path(__file__).resolve().parents[2] / "simulator" / "panbudget" / "templates" / "garden.toml"
SMALL = [
    ("compare", GARDEN, "--with-base", "--variant", "wide-pan"),
    ("away", "a small garden", "--from", "2021-07-08", "--to", "2021-07-28"),
    ("setup", "a small garden"),
]

pytestmark = pytest.mark.usefixtures("few_changes")


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """A garden of one bed and five weeks, in the place of a call's "a small garden"."""
    folder = tmp_path_factory.mktemp("small")
    lettuce = """\
[controller.upper.bed.lettuce]
area = "4 m^2"
soil = "loam"
plants = { kc = 1.0, root_depth = "30 cm", depletion = 0.3 }
emitters = { count = 12, flow = "2 L/h", at = "100 kPa" }
"""
    garden = write_garden(folder, years_csv(2021, 2021), end="2021-08-04", more=lettuce)
    return lambda call: [garden if part == "a small garden" else part for part in call]


def files(folder):
    return sorted(str(p.relative_to(folder)) for p in Path(folder).rglob("*") if p.is_file())


def test_compare_writes_a_page_a_table_totals_and_figures(tmp_path, capsys):
    code, out, _ = run(capsys, *COMPARE, "--figures", "--out", tmp_path / "c")
    assert code == 0
    out = out.replace("\u00a0", " ")
    assert out.startswith("The heat wave of 8 to 17 July 2025: 10 days, Tmax up to 41.1 °C.")
    assert "wide-pan, upper: 128 openings in place of 73" in out
    assert "A heat wave here is 3 or more days in a row" in out
    assert files(tmp_path / "c") == sorted(
        [
            *("compare.csv", "compare.html", "compare.json"),
            *(f"figures/{name}.{kind}" for name in ("pan-level", "openings", "water-left") for kind in ("png", "svg")),
        ]
    )
    table = pd.read_csv(tmp_path / "c" / "compare.csv")
    row = table[(table["span"] == "window") & (table["where"] == "upper") & (table["measure"] == "openings")].iloc[0]
    assert (row["value"], row["reference"], row["difference"], row["verdict"]) == (128, 73, 55, "clear")
    whole = json.loads((tmp_path / "c" / "compare.json").read_text(encoding="utf-8"))
    assert whole["window"] == {"start": "2025-07-03", "end": "2025-07-31"}
    assert whole["values"]["season"]["wide-pan"]["upper"]["openings"] == 453


@pytest.mark.parametrize(("more", "is_told"), [((), True), (("--json",), True), (("--quiet",), False)])
def test_what_takes_long_says_so_where_no_bar_shows_it(tmp_path, capsys, monkeypatch, more, is_told):
    """On standard error, and before the work begins."""

    def stops(*_):
        raise PanbudgetError(Problem("stopped", "here", "it stops"))

    monkeypatch.setattr(sizing, "seasons_of_record", stops)
    code, out, err = run(capsys, "size", DEMO, "--out", tmp_path / "s", *more)
    assert (code, out) == (2, "")
    assert err.startswith("Trying some hundred settings a valve") is is_told


@pytest.mark.draws
def test_setup_writes_a_page_to_print(tmp_path, capsys):
    code, out, _ = run(capsys, *SETUP, "--out", tmp_path / "s")
    assert code == 0
    assert "upper: fill to 20 mm below the rim; swing 900 g; refill 40.8 mL/min" in out
    assert files(tmp_path / "s") == ["setup.csv", "setup.html", "setup.json", "setup.pdf"]
    assert (tmp_path / "s" / "setup.pdf").read_bytes().startswith(b"%PDF")
    table = pd.read_csv(tmp_path / "s" / "setup.csv")
    assert table["month"].tolist() == [5, 6, 7, 8, 9] * 2
    code, _, err = run(capsys, *SETUP, "--out", tmp_path / "t", "--bed", "upper/tomatos")
    assert code == 2
    assert 'did you mean "upper/tomatoes"' in err
    assert not (tmp_path / "t").exists()


def test_away_says_whether_and_writes_when_asked(tmp_path, capsys, small):
    assert run(capsys, *small(SMALL[1]))[0] == 0
    assert not list(tmp_path.iterdir())
    code, out, _ = run(capsys, *small(SMALL[1]), "--out", tmp_path / "a", "--strict", "--figures")
    assert code == 1
    assert out.startswith("No: from 8 July to 28 July")
    assert "emitters in place of 12 on upper/lettuce" in out
    assert files(tmp_path / "a") == ["away.csv", "away.html", "away.json", "figures/room.png", "figures/room.svg"]
    whole = json.loads((tmp_path / "a" / "away.json").read_text(encoding="utf-8"))
    assert (whole["safe"], whole["days"], whole["worst"]) == (False, 21, 2021)


@pytest.mark.parametrize("call", SMALL, ids=lambda call: call[0])
def test_two_runs_give_the_same_bytes(call, tmp_path, capsys, small):
    for name in ("one", "two"):
        assert run(capsys, *small(call), "--out", tmp_path / name, "--quiet")[:2] == (0, "")
    for file in files(tmp_path / "one"):
        assert (tmp_path / "one" / file).read_bytes() == (tmp_path / "two" / file).read_bytes(), file


@pytest.mark.parametrize("call", SMALL, ids=lambda call: call[0])
def test_json_stands_alone_on_standard_output(call, tmp_path, capsys, small):
    code, out, err = run(capsys, *small(call), "--out", tmp_path / "o", "--json")
    assert code == 0, err
    assert json.loads(out) == json.loads((tmp_path / "o" / f"{call[0]}.json").read_text(encoding="utf-8"))
    assert "Wrote" in err
    assert ("Nothing more is printed until it is done." in err) == (call[0] == "away")


@pytest.mark.parametrize("call", SMALL, ids=lambda call: call[0])
def test_an_earlier_run_is_replaced_only_when_asked(call, tmp_path, capsys, small):
    assert run(capsys, *small(call), "--out", tmp_path / "o", "--quiet")[0] == 0
    code, _, err = run(capsys, *small(call), "--out", tmp_path / "o")
    assert code == 2
    assert "is not empty; choose another folder" in err
    assert "add --overwrite" in err
    assert run(capsys, *small(call), "--out", tmp_path / "o", "--overwrite", "--quiet")[0] == 0
    assert [p.name for p in tmp_path.iterdir()] == ["o"]


@pytest.mark.parametrize(
    ("call", "step"), [(COMPARE, "studies.compare"), (AWAY, "studies.away.judging"), (SETUP, "studies.common")]
)
def test_an_interruption_leaves_nothing_half_made(call, step, tmp_path, capsys, monkeypatch):
    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(f"panbudget.{step}.replay", interrupted)
    code, _, err = run(capsys, *call, "--out", tmp_path / "o")
    assert code == 130
    assert "nothing half-made" in err
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("compare", DEMO, "--variant", "wide-pan"), "takes two to 6 variants and was given 1"),
        (("compare", DEMO), "was given 0"),
        (("compare", DEMO, "--with-base", "--variant", "wide-pam"), 'did you mean "wide-pan"'),
        (("compare", DEMO, "--with-base", "--variant", "ordinary-summer"), "another weather and season"),
        ((*COMPARE[:-1], "cold"), '--around "cold" is unknown; expected: heat'),
        ((*SETUP, "--paper", "A5"), '--paper "A5" is unknown; expected: A4 or Letter'),
        ((*COMPARE, "--hot-above", "35"), '--hot-above "35" has no unit; expected: a temperature'),
        (
            (*COMPARE, "--hot-above", "35 K"),
            "--hot-above -238.15 °C is no limit of heat; give a Tmax from 15 °C to 60 °C",
        ),
        ((*COMPARE, "--hot-above", "60.1 degC"), "--hot-above 60.1 °C is no limit of heat"),
        ((*COMPARE, "--hot-above", "60 degC"), "the weather has no heat wave from 2025-05-01"),
        ((*COMPARE, "--hot-above", "45 degC"), "the weather has no heat wave from 2025-05-01"),
        (
            (*COMPARE[:5], "--hot-above", "35 degC"),
            "--hot-above 35 °C is for the heat wave to look at",
        ),
        ((*AWAY[:2], "--from", "1 July", "--to", "2025-07-21"), '--from "1 July" is not a date as expected'),
        ((*COMPARE, "--start", "2025-07-01"), "leave out start and end"),
        ((*COMPARE[:5], "--start", "2024-07-01"), "lies outside the weather file"),
    ],
)
def test_what_can_t_be_compared_is_one_line_and_leaves_nothing(arguments, said, tmp_path, capsys):
    code, out, err = run(capsys, *arguments, "--out", tmp_path / "o")
    assert (code, out) == (2, "")
    assert said in err
    hint = "--hot-above names the limit, such as" if "no heat wave" in said else ""
    assert len(err.strip().splitlines()) == 1 + bool(hint) and hint in err
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("first", "last", "said"),
    [
        ("2025-12-01", "2025-12-20", "no year of the weather file"),
        ("2025-07-20", "2025-07-01", "before they start"),
        ("2025-07-20", "2027-07-01", "more than a year"),
    ],
)
def test_days_away_that_can_t_be_are_one_line(first, last, said, capsys):
    code, out, err = run(capsys, "away", DEMO, "--from", first, "--to", last)
    assert (code, out) == (2, "")
    assert said in err
    assert len(err.strip().splitlines()) == 1


@pytest.mark.parametrize("verb", ["compare", "away", "setup"])
def test_help_has_an_example(verb, capsys):
    code, text, _ = run(capsys, verb, "--help")
    assert code == 0
    assert f"Example:  panbudget {verb}" in text
