"""The pages of compare, away and setup: self-contained, escaped, differences first, every figure right."""

from __future__ import annotations

import dataclasses
import datetime as dt
import io
import math
import re
from types import SimpleNamespace

import pypdf
import pytest

from panbudget import away, compare, setup
from panbudget.reports.away.figures import room_figure
from panbudget.reports.away.page import away_report, away_sentences
from panbudget.reports.canvas import svg_text
from panbudget.reports.compare import page
from panbudget.reports.compare.figures import COMPARE_FIGURES, openings_figure, pan_levels_figure, water_left_figure
from panbudget.reports.compare.page import comparison_sentences
from panbudget.reports.setup.page import setup_report
from panbudget.reports.setup.pan_drawing import HEIGHT, WIDTH, Box, Line, Text, as_svg, pan_drawing
from panbudget.reports.setup.pdf import setup_pdf
from panbudget.reports.writing import as_page
from panbudget.scenario.garden import scenario_from
from panbudget.studies.compare import RULE
from panbudget.studies.fit.tub import Worth
from panbudget.words import units_shown
from tests.reports.season.test_page import Outline
from tests.small_weather import heat_wave, weather_csv
from tests.studies.test_compare import VARIANTS

pytestmark = pytest.mark.usefixtures("few_changes")


@pytest.fixture
def garden(make_garden):
    return make_garden({"variant": VARIANTS}, weather=heat_wave())


_MADE = {}  # what is only looked at, made once


@pytest.fixture
def comparison(garden):
    if "comparison" not in _MADE:
        _MADE["comparison"] = compare(garden, ["wide", "slower"], with_base=True, around_heat=True)
    return _MADE["comparison"]


@pytest.fixture
def alone(make_garden):
    if "alone" not in _MADE:
        few = {"controller": {"upper": {"bed": {"tomatoes": {"emitters": {"count": 12}}}}}}
        garden = make_garden(few, weather=heat_wave())
        _MADE["alone"] = away(garden, dt.date(2025, 5, 8), dt.date(2025, 5, 24))
    return _MADE["alone"]


def comparison_page(comparison):
    return as_page(comparison, {name: svg_text(comparison.plot(name)) for name in COMPARE_FIGURES})


def away_page(found):
    return as_page(found, {"room": svg_text(found.plot("room"))})


def setup_page(garden):
    return as_page(setup(garden))


def sound(text):
    """A page that stands alone: no address of anything outside, tags closed, ids of its own."""
    assert not re.search(r'(src|href)="(?!#)', text)
    assert "http" not in text
    outline = Outline()
    outline.feed(text)
    assert outline.open == []
    assert len(outline.ids) == len(set(outline.ids))
    return outline.headings


def test_the_comparisons_page_says_the_differences_first(comparison):
    text = comparison_page(comparison)
    headings = sound(text)
    parts = (
        "More in words",
        "Do this first",
        "Findings, gravest first",
        "Side by side",
        "Words used here",
        "The days looked at",
    )
    places = [headings.index(part) for part in (*parts, "The whole season", "How this was counted", "The garden")]
    assert headings[0] == "Test garden: 3\u00a0variants compared" and places == sorted(places)
    plain = text.replace("&#39;", "'").replace("\u202f", " ")
    for sentence in comparison_sentences(comparison):
        assert sentence.replace("\u202f", " ") in plain
        assert plain.index(sentence.replace("\u202f", " ")) < plain.index("Side by side")
    assert RULE.replace("'", "&#39;") in text
    assert comparison.definition in plain
    assert "controller.upper.pan.vessels" in text
    assert "[{ diameter = &#34;70 cm&#34; }]" in text


def test_the_bed_that_is_short_most_is_named_beside_all_beds_days(make_garden):
    """Days of all beds together were given, where a person asks which bed."""
    tomatoes = {"emitters": {"count": 14}}
    garden = make_garden(
        {"controller": {"upper": {"bed": {"tomatoes": tomatoes}}}, "variant": VARIANTS}, weather=heat_wave()
    )
    bed = garden.described["controller"]["upper"]["bed"]["tomatoes"]
    for emitters, said in (
        (14, "{both} days short of water ({more} of them on upper/"),
        (400, "(all on upper/tomatoes)"),
    ):
        two = garden.changed(
            {"controller": {"upper": {"bed": {"wet": bed | {"emitters": {**bed["emitters"], "count": emitters}}}}}}
        )
        found = compare(two, ["wide"], with_base=True)
        short = {of: round(found.value("season", "as described", of, "stress_days")) for of in found.beds}
        text = " ".join(comparison_sentences(found)).replace("\u00a0", " ")
        assert said.format(both=sum(short.values()), more=max(short.values())) in text


def test_sentences_name_openings_litres_stress_and_recovery(make_garden):
    few = {"controller": {"upper": {"bed": {"tomatoes": {"emitters": {"count": 14}}}}}, "variant": VARIANTS}
    found = compare(make_garden(few, weather=heat_wave()), ["wide", "hardly", "same"], with_base=True, around_heat=True)
    text = " ".join(comparison_sentences(found)).replace("\u00a0", " ")
    assert text.startswith("The heat wave of 11 to 20 May 2025: 10 days, Tmax up to 41.0 °C.")
    for words in (
        "openings in place of",
        " L in place of ",
        " mm in place of ",
        "short of water",
        "worst depletion",
        "recovered",
    ):
        assert words in text
    assert "wide has fewer days short than as described in 100 of a hundred, more in 0 and as many in 0" in text
    between = dataclasses.replace(found, odds=found.odds.assign(below=0.005, above=0.709))
    assert "0 of a hundred, more in 70 and as many in 30" in " ".join(comparison_sentences(between))
    assert " of them on" not in text and "(all on" not in text  # one bed needs no name
    row = next(found.differences.assign(verdict="swamped").itertuples())
    assert page._part(row, "openings").endswith("openings [too close to call: what is uncertain swamps it]")
    assert page._part(row._replace(verdict="rare"), "openings").endswith("both are mostly equal]")
    assert "same makes no difference to anything compared here." in text


@pytest.mark.parametrize(
    ("below", "above", "low", "first"),
    [
        (
            0.54,
            0.0,
            -300.0,
            "Take wide rather than as described: fewer days short of water in 54 of a hundred, more in 0. Look at its "
            "findings below, and at its water: −300 to −150\u00a0L in 90\u00a0% of the draws.",
        ),
        (0.54, 0.06, -300.0, "Take wide rather than"),  # nine of ten of those that differ
        (0.54, 0.07, 300.0, "Do not choose wide for its days short"),
        (0.06, 0.54, -300.0, "Leave wide: more days short of water than as described in 54 of a hundred, fewer in 6."),
        (
            0.10,
            0.0,
            300.0,
            "Days short do not decide between wide and as described: they have as many in 90 of a hundred.",
        ),
        (0.11, 0.0, 300.0, "Take wide rather than"),
        (0.10, 0.0, -300.0, "Days short do not decide between wide and as described; wide takes less water."),
    ],
)
def test_what_to_take_goes_by_the_draws_in_which_the_two_differ(comparison, below, above, low, first):
    """As the rule on the page has it, nine of ten asked for."""
    odds = comparison.odds.assign(below=below, above=above, low=low, high=0.5 * low)
    assert next(page._choices(dataclasses.replace(comparison, odds=odds))).startswith(first)


def lines(ax):
    return {line.get_label(): line for line in ax.get_lines()}


def test_water_left_is_drawn_variant_by_variant_on_shared_axes(comparison):
    axes = water_left_figure(comparison)
    assert [ax.get_title(loc="left") for ax in axes] == [
        f"{name}: upper/tomatoes" for name in ("as described", "wide", "slower")
    ]
    assert len({ax.get_ylim() for ax in axes}) == 1
    assert axes[0].get_ylim()[0] < 0.0 < axes[0].get_ylim()[1]
    for ax, season in zip(axes, comparison.seasons.values(), strict=True):
        bed = season.beds["upper/tomatoes"].loc[str(comparison.start) : str(comparison.end)]
        drawn = lines(ax)
        for label, column in (("bed mean", "water_left_mm"), ("driest quarter", "driest_water_left_mm")):
            assert drawn[label].get_ydata() == pytest.approx(bed[column].to_numpy())
    assert "water left [mm]" in axes[0].get_ylabel()


def test_openings_are_drawn_on_one_scale_that_holds_them_all(comparison):
    axes = openings_figure(comparison)
    assert len({ax.get_ylim() for ax in axes}) == 1
    for ax, season in zip(axes, comparison.seasons.values(), strict=True):
        part = season.controllers["upper"].loc[str(comparison.start) : str(comparison.end), "openings"]
        (stairs,) = ax.patches
        assert stairs.get_data().values == pytest.approx(part.to_numpy())
        assert part.max() <= ax.get_ylim()[1]
        assert f"{part.sum()} openings" in ax.get_title(loc="left")


def test_pan_levels_stay_between_trip_and_reset_in_mm(comparison):
    axes = pan_levels_figure(comparison)
    assert len({ax.get_ylim() for ax in axes}) == 1
    for ax, season in zip(axes, comparison.seasons.values(), strict=True):
        pan = season.scenario.controller["upper"]
        level = lines(ax)["pan's level"].get_ydata()
        assert min(level) == pytest.approx(0.0, abs=1e-9)
        assert max(level) == pytest.approx(pan.valve.swing_kg / pan.pan.area)
    assert "mm above trip" in axes[0].get_ylabel()


def test_six_variants_stand_in_two_bands(make_garden):
    five = {
        f"swing {grams}": {"controller": {"upper": {"valve": {"swing": f"{grams} g"}}}}
        for grams in (500, 600, 700, 800, 1000)
    }
    found = compare(make_garden({"variant": five}, weather=heat_wave()), list(five), with_base=True)
    for draw in COMPARE_FIGURES.values():
        axes = draw(found)
        assert len(axes) == 6
        rows = {round(ax.get_subplotspec().rowspan.start) for ax in axes}
        assert len(rows) == 2


def test_the_away_page_answers_first_and_shows_each_change(alone):
    text = away_page(alone)
    headings = sound(text)
    assert headings[0] == "Test garden: left alone"
    assert "One change at a time" in headings
    for sentence in away_sentences(alone):
        assert sentence.replace("'", "&#39;") in text
    for change in alone.changes:
        assert change.what in text


def test_the_away_figure_shows_the_water_left_above_the_line_at_which_plants_suffer(alone):
    (ax,) = room_figure(alone)
    worst, heat, zero = ax.get_lines()
    bed = alone.worst.season.beds["upper/tomatoes"]
    assert worst.get_ydata() == pytest.approx((bed["raw_mm"] - bed["driest_morning_depletion_mm"]).to_numpy())
    assert worst.get_xdata().tolist() == list(range(1, 18))
    assert len(heat.get_ydata()) == 17
    assert (list(zero.get_ydata()), zero.get_linewidth()) == ([0.0, 0.0], 2.2)
    low, high = ax.get_ylim()
    assert low < 0.0 < min(max(worst.get_ydata()), high)  # upward, with room below the line
    assert ax.get_ylabel() == "water left [mm]"


@pytest.mark.parametrize("years", [1, 2])
def test_of_one_year_none_is_called_the_worst(years, alone):
    stays = alone.stays + tuple(dataclasses.replace(stay) for stay in alone.stays[: years - 1])
    (legend,) = room_figure(dataclasses.replace(alone, stays=stays))[0].figure.legends
    assert any("the worst year" in text.get_text() for text in legend.get_texts()) is (years == 2)


def test_a_figure_of_a_comparison_is_rounded_once_in_the_unit_shown():
    """17662.8 L are 4666.02 gal (NIST SP 811, appendix B.8), as in the sentence of all the water; 17663 L were 4666.1."""
    with units_shown("US"):
        assert page._figure("upper", "litres", 17662.8275).replace("\u202f", "") == "4666.0"


@pytest.mark.parametrize(("system", "unit", "size"), [("metric", "mm", 1.0), ("US", "in", 25.4)])
def test_every_bed_of_the_away_figure_has_its_marks_in_the_unit_shown(alone, system, unit, size):
    """Four beds stand in two rows; each scale is its bed's, and the inch is 25.4 mm (NIST SP 811, appendix B.8)."""
    bed = alone.worst.season.beds["upper/tomatoes"]
    drier = bed.assign(driest_water_left_mm=bed["driest_water_left_mm"] - 30.0)
    stay = SimpleNamespace(
        name="2025",
        beds=(names := ["a", "b", "c", "d"]),
        season=SimpleNamespace(beds={**dict.fromkeys(names, bed), "b": drier}),
    )
    with units_shown(system):
        axes = room_figure(SimpleNamespace(worst=stay, heat=stay, stays=[stay], days=len(bed)))
        for ax in axes:
            texts = [float(label.get_text().replace("−", "-")) for label in ax.get_yticklabels()]
            assert texts == pytest.approx([mark / size for mark in ax.get_yticks()], abs=1e-9)
    named = f"water left [{unit}]"
    assert [ax.get_ylabel() for ax in axes] == [named, "", "", named]


def test_away_says_of_a_bed_that_nothing_grows_there(alone):
    bare = lambda stay: dataclasses.replace(  # noqa: E731
        stay,
        beds={key: dataclasses.replace(bed, least_room_mm=math.nan) for key, bed in stay.beds.items()},
        season=SimpleNamespace(beds={key: bed.assign(growing=False) for key, bed in stay.season.beds.items()}),
    )
    stays = {"stays": [bare(stay) for stay in alone.stays], "worst": bare(alone.worst), "heat": bare(alone.heat)}
    found = dataclasses.replace(alone, **stays)
    said = "Nothing grows then in upper/tomatoes by the dates of planting"
    assert said in " ".join(away_sentences(found)) and said not in " ".join(away_sentences(alone))
    assert away_report(found, {}).sections[1].table["least_room_mm"].isna().all()
    assert [text.get_text() for text in room_figure(found)[0].texts] == ["nothing grows"]


def test_the_setup_page_has_every_number_that_is_to_be_set(make_garden):
    known = {"uncertainty": {"exposure": [0.95, 1.05]}, "wishes": {"stress_days": 61}}
    plan = setup(make_garden(known, weather=weather_csv(61, rain=[0.0] * 40 + [5.0] + [0.0] * 20)))
    text = as_page(plan)
    sound(text)
    plain = re.sub(r"<[^>]+>", " ", text).replace("\u00a0", " ").replace("\u202f", " ")
    sheet = plan.sheets["upper"]
    for wanted in (
        *(
            "round, 500 mm across",
            "180 mm deep",
            "20.0 mm below the rim",
            "24.6 mm",
            "31.4 kg",
            "900 g",
            "855 to 945 g",
        ),
        *("40.8 mL a minute", "408 mL", "388 to 429 mL", "22.0 minutes", "tomatoes (12 m²) 30 × 40.8 mL/min"),
        *("May", "June", "backflow", "children", "mosquitoes", "pacemakers", "heavy"),
        *map(str, sheet.months["refill"]),
        *(f"{litres:.0f}" for litres in sheet.months["litres_a_week"]),
        "measure 50 mm on paper",
    ):
        assert wanted in plain, wanted


def test_no_tolerance_is_printed_that_does_not_hold_over_what_is_uncertain(make_garden, monkeypatch):
    worth = {"upper": Worth("ruler", 0.38, 0.09)}
    monkeypatch.setattr("panbudget.reports.measuring.worth_of_ruler_test", lambda season, days: worth)
    # an equal season of another test may have its own, which would serve for this one
    monkeypatch.setattr("panbudget.reports.measuring.made_once", lambda owner, key, make: make())
    garden = make_garden({"controller": {"upper": {"bed": {"tomatoes": {"emitters": {"count": 12}}}}}})
    plan = setup(garden)
    sure = plan.sheets["upper"].sure
    assert (sure.share, sure.refill_within, sure.exposure) == (0.0, 0.0, None)
    page = as_page(plan).replace("\u00a0", " ")
    assert "408 mL, and set it as near as you can" in page
    assert (
        "in 0 of a hundred seasons (1 year × 2 draws of what is uncertain) no bed is short of water on more than 3 days"
        in page
    )
    assert f"panbudget fit {garden.path} log.csv" in page
    plain = re.sub("<[^>]*>", "", page)
    assert f"panbudget setup {garden.path} --variant fitted/fitted.toml --out set-up." in plain
    assert "That narrows a season&#39;s litres from ±38 % to ±9 %." in page
    assert "time, controller (upper) and tub_mm, the depth" in plain
    in_us = dataclasses.replace(plan, scenario=plan.scenario.changed({"show": {"units": "US"}}))
    assert "time, controller (upper) and tub (in), the depth" in as_page(in_us).replace("\u00a0", " ")


def test_the_setup_pdf_is_one_sheet_a_valve_and_the_same_bytes(make_garden):
    report = setup_report(setup(make_garden()))
    pdf = setup_pdf(report)
    assert pdf == setup_pdf(report)
    text = pypdf.PdfReader(io.BytesIO(pdf)).pages[0].extract_text()
    assert "□ stands for a letter" not in text
    assert "“panbudget fit" in text  # a command's marks of the page are none on paper
    assert "`" not in text
    lacking = dataclasses.replace(report, pages=[dataclasses.replace(page, title="畑") for page in report.pages])
    assert "□ stands for a letter" in pypdf.PdfReader(io.BytesIO(setup_pdf(lacking))).pages[-1].extract_text()
    assert len(re.findall(rb"/Type /Page\b", pdf)) == 1
    assert b"2000" in pdf  # a fixed date of making
    sentences = report.pages[0].sentences
    assert len(sentences) == 3 and sentences[0].startswith("Fill the pan to ") and "in a hundred" not in sentences[0]
    assert sentences[2].startswith(
        "Or, in place of that one flow, turn the refill each month"
    )  # two figures, one choice
    # more cautions than a sheet has room for: smaller letters, and still one sheet
    crowded = dataclasses.replace(
        report, pages=[dataclasses.replace(report.pages[0], lead=[*report.pages[0].lead] * 3)]
    )
    assert len(re.findall(rb"/Type /Page\b", setup_pdf(crowded))) == 1


@pytest.mark.draws
def test_a_users_words_are_text_on_every_page(make_garden):
    garden = make_garden({"variant": VARIANTS}, weather=heat_wave())
    raw = dict(garden.described)
    raw["title"] = "<script>alert(1)</script>"
    raw["variant"] = {"<b>": VARIANTS["wide"]}
    beds = raw["controller"]["upper"]["bed"]
    raw["controller"]["upper"]["bed"] = {"<i>bed</i>".replace("/", "|"): beds["tomatoes"]}
    nasty = scenario_from(raw, garden.path)
    pages = [
        comparison_page(compare(nasty, ["<b>"], with_base=True)),
        away_page(away(nasty, dt.date(2025, 5, 8), dt.date(2025, 5, 24))),
        setup_page(nasty),
    ]
    for text in pages:
        assert "<script>" not in text
        assert "<b>" not in text
        assert "<i>" not in text


def inside(shape):
    if isinstance(shape, Line):
        return min(shape.x1, shape.x2) >= 0 and max(shape.x1, shape.x2) <= WIDTH and max(shape.y1, shape.y2) <= HEIGHT
    return 0 <= shape.x <= WIDTH and 0 <= shape.y <= HEIGHT


@pytest.mark.parametrize(
    "pan",
    [
        {},
        {"vessels": [{"diameter": "12 cm"}], "depth": "30 cm"},
        {"vessels": [{"length": "3 m", "width": "1 m"}], "depth": "15 cm", "freeboard": "60 mm"},
        {"vessels": [{"area": "0.4 m^2", "count": 3}], "depth": "60 cm"},
    ],
)
def test_the_drawing_keeps_to_its_scale_and_its_frame(make_garden, pan):
    garden = make_garden({"controller": {"upper": {"pan": pan}}} if pan else None)
    sheet = setup(garden).sheets["upper"]
    shapes = pan_drawing(sheet)
    assert all(inside(shape) for shape in shapes)
    (title,) = (s.text for s in shapes if isinstance(s, Text) and "rom the side" in s.text)
    scale = float(title.split(":")[1])
    walls = [s for s in shapes if isinstance(s, Line) and s.width == 0.7 and s.x1 == s.x2]
    assert {"beam", "counterweight", "latch", "refill emitter"} <= {s.text for s in shapes if isinstance(s, Text)}
    assert walls[0].y2 - walls[0].y1 == pytest.approx(sheet.depth_mm / scale)
    assert walls[1].x1 - walls[0].x1 == pytest.approx(1000 * sheet.vessels[0][1] / scale)
    water = next(s for s in shapes if isinstance(s, Box))
    assert water.y - walls[0].y1 == pytest.approx(sheet.freeboard_mm / scale)
    svg = as_svg(shapes)
    # three parts in true size, each narrower than a phone (96 px an inch, 390 px less its margins), and nothing is lost
    widths = [float(width) for width in re.findall(r'<svg width="([\d.]+)mm" height="57mm"', svg)]
    assert sum(widths) == WIDTH and len(widths) == 3 and max(widths) * 96 / 25.4 < 390 - 29
    assert len(re.findall("<(?:line|rect|text) ", svg)) == len(shapes)


@pytest.mark.parametrize(
    ("vessels", "said"),
    [
        ([{"diameter": "50 cm"}], "From the side"),
        ([{"diameter": "30 cm", "count": 3}], "One of 3 alike, from the side"),
        ([{"diameter": "30 cm", "count": 2}, {"area": "0.1 m^2"}], "One of 3 vessels (2 of them alike), from the side"),
        ([{"diameter": "30 cm"}, {"area": "0.1 m^2"}], "One of 2 vessels, the first named, from the side"),
    ],
)
def test_the_drawing_says_which_of_several_vessels_it_shows(make_garden, vessels, said):
    sheet = setup(make_garden({"controller": {"upper": {"pan": {"vessels": vessels}}}})).sheets["upper"]
    texts = [shape.text for shape in pan_drawing(sheet) if isinstance(shape, Text)]
    assert texts[0].startswith(f"{said}, 1 : ")
    assert ("True size, for the rim of each" in texts) is (len(vessels) > 1 or vessels[0].get("count", 1) > 1)


def test_a_jug_and_two_weighings_may_be_a_twentieth_out(make_garden):
    """2 L/h · √1.5 for ten minutes are 408 mL, 388 to 429 of which will do; 900 g, 855 to 945."""
    page = as_page(setup(make_garden(days=5))).replace("\u00a0", " ")
    assert "for 10 minutes with the valve open: 408 mL, and 388 to 429 mL will do" in page
    assert "must differ by 900 g" in page and "855 to 945 g will do" in page


def test_the_strip_is_in_true_size(make_garden):
    shapes = pan_drawing(setup(make_garden()).sheets["upper"])
    levels = sorted(s.y1 - 10.0 for s in shapes if isinstance(s, Line) and s.x2 - s.x1 == 16.0 and s.y1 == s.y2)
    assert levels == pytest.approx([0.0, 20.0, 20.0 + 0.9 / 0.19635], abs=1e-3)
    (bar,) = (s for s in shapes if isinstance(s, Line) and s.x2 - s.x1 == 50.0)
    assert bar.y1 == bar.y2


def test_a_bed_that_only_one_variant_has_is_shown_there_alone(make_garden):
    beans = {
        "area": "4 m^2",
        "emitters": {"count": 8, "flow": "2 L/h", "at": "100 kPa"},
        "soil": "loam",
        "plants": {"kc": 0.9, "root_depth": "60 cm", "depletion": 0.45},
    }
    garden = make_garden(
        {"variant": {"more": {"controller": {"upper": {"bed": {"beans": beans}}}}}}, weather=heat_wave()
    )
    found = compare(garden, ["more"], with_base=True)
    assert found.beds == ["upper/tomatoes", "upper/beans"]
    axes = water_left_figure(found)
    assert [t.get_text() for t in axes[1].texts] == ["not in this variant"]
    assert len(axes[3].get_lines()) == 3
    text = comparison_page(found)
    sound(text)
    assert re.search(r'"name"[^>]*>upper/beans</td><td[^>]*>water \[L\]</td><td[^>]*>–</td><td[^>]*>\d', text)


def test_days_beside_the_season_are_said_to_be(make_garden):
    garden = make_garden({"season": {"end": dt.date(2025, 5, 31)}}, days=45)
    inside = away_sentences(away(garden, dt.date(2025, 5, 10), dt.date(2025, 5, 20)))
    beside = away_sentences(away(garden, dt.date(2025, 6, 4), dt.date(2025, 6, 14)))
    assert not any("outside the season" in text for text in inside)
    assert "outside the season described, 1 May to 31 May" in beside[0]
    assert inside[0].startswith("Yes: ")
    assert not any("Yes" in text for text in beside)
