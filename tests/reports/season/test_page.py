"""The page: self-contained, escaped, three sentences first, every part there."""

from __future__ import annotations

import datetime as dt
import re
from html.parser import HTMLParser

import pytest

from panbudget import replay
from panbudget.reports.canvas import svg_text
from panbudget.reports.season import figures
from panbudget.reports.season.page import three_sentences
from panbudget.reports.writing import as_page
from panbudget.scenario.garden import scenario_from
from tests.small_weather import heat_wave, weather_csv
from tests.test_laws import VALVE, nested


def page(season):
    """The page with its figures in outline."""
    return as_page(season, dict.fromkeys(figures.SEASON_FIGURES, "<svg/>"))


@pytest.fixture(scope="module")
def season(make_shared_garden):
    return replay(make_shared_garden(weather=heat_wave()))


@pytest.fixture(scope="module")
def text(season):
    """The season's page as it is written."""
    return as_page(season, {name: svg_text(season.plot(name)) for name in figures.SEASON_FIGURES})


class Outline(HTMLParser):
    """Headings in order, ids, and a check that tags close."""

    def __init__(self):
        super().__init__()
        self.open, self.headings, self.ids = [], [], []

    def handle_starttag(self, tag, attrs):
        self.ids += [value for key, value in attrs if key == "id"]
        if tag not in {"meta", "br", "link", "hr", "img"}:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.ids += [value for key, value in attrs if key == "id"]

    def handle_endtag(self, tag):
        assert self.open, tag
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] in {"h1", "h2"}:
            self.headings.append(data)


def test_the_page_stands_alone_and_is_well_formed(text):
    assert not re.search(r'(src|href)="(?!#)', text)
    assert "http" not in text
    assert "@import" not in text
    outline = Outline()
    outline.feed(text)
    assert outline.open == []
    assert len(outline.ids) == len(set(outline.ids))
    assert outline.headings == [
        *("Test garden", "Do this first", "Findings, gravest first", "Figures", "Words used here", "Beds"),
        *("Beside exact refill, and beside a timer", "Valves and pans", "Supplies"),
        *("The largest uncertainty: how much the pan evaporates", "Filled and assumed", "The garden"),
        *("Method, and where it ends", "Made from"),
    ]


def test_three_sentences_come_first(season, text):
    said = three_sentences(season)
    assert len(said) == 3
    places = [text.index(sentence.split(":")[0][:30]) for sentence in said]
    assert places == sorted(places)
    assert places[-1] < text.index("Findings, gravest first")
    openings = season.totals["controllers"]["upper"]["openings"]
    assert re.match(rf"The valve upper opened {openings}\stimes", said[0])


def test_dates_have_one_style_in_sentences_and_headings(text):
    """3 July 2025; ISO 8601 is for tables."""
    text = re.sub(r"<td.*?</td>", "", text, flags=re.DOTALL)
    assert not re.search(r"\d{4}-\d{2}-\d{2}|>[^<]*\b\d{2}-\d{2}\b", text)
    assert "1 to 30 May 2025" in text


def test_plants_without_a_yield_are_named_with_the_reason(text, make_garden):
    assert "No yield is given" not in text
    herbs = {"controller": {"upper": {"bed": {"tomatoes": {"plants": "mint"}}}}}
    without = "No yield is given for upper/tomatoes (mint): no yield response factor (Ky) is known"
    assert without in page(replay(make_garden(herbs, weather=heat_wave())))
    late = {"controller": {"upper": {"bed": {"tomatoes": {"planted": dt.date(2025, 5, 31)}}}}}
    assert "upper/tomatoes (tomato): nothing of it grew in these days" in page(
        replay(make_garden(late, weather=heat_wave()))
    )


def test_cautions_are_there(text):
    for word in ("backflow", "children", "mosquitoes", "pacemakers", "heavy", "local code"):
        assert word in text


def test_a_users_words_are_text_and_not_markup(make_garden):
    garden = make_garden(days=3)
    raw = dict(garden.described)
    raw["title"] = "<script>alert(1)</script> & co"
    raw["note"] = "<b>bold</b>"
    text = page(replay(scenario_from(raw, garden.path)))
    assert "<script>alert" not in text
    assert "&lt;script&gt;" in text
    assert "&lt;b&gt;bold&lt;/b&gt;" in text


def test_the_beds_table_has_the_totals(season, text):
    text = text.replace("\u202f", "").replace("\u00a0", " ")
    bed = season.totals["beds"]["upper/tomatoes"]
    assert f">{bed['litres']:.0f}<" in text
    assert f">{bed['irrigation_mm']:.0f}<" in text
    assert f">{100 * bed['supply_over_demand']:.0f} %<" in text


def plain(text):
    return re.sub(r"\s", " ", text)


def test_a_valve_that_never_opens_is_said_to(make_garden):
    season = replay(make_garden(nested(VALVE, {"swing": "9 kg"}), days=3))
    first, _, last = map(plain, three_sentences(season))
    assert first == "The valve upper never opened in 3 days."
    assert last.startswith("Look first at upper (first on 1 May 2025): the valve never opened")


def test_many_beds_are_counted_and_not_listed(make_garden):
    garden = make_garden(weather=weather_csv(60))
    raw = dict(garden.described)
    bed = raw["controller"]["upper"]["bed"]["tomatoes"]
    raw["controller"]["upper"]["bed"] = {f"bed-{i}": bed for i in range(8)}
    second = plain(three_sentences(replay(scenario_from(raw, garden.path)))[1])
    assert second.startswith("Of 8 beds, ")


def test_nothing_grave_is_said_so(make_garden):
    overlay = {
        "controller": {
            "upper": {
                "bed": {
                    "tomatoes": {
                        "plants": {"kc": 0.9, "root_depth": "60 cm", "depletion": 0.5},
                        "emitters": {"count": 50},
                    }
                }
            }
        }
    }
    garden = make_garden(overlay, weather=weather_csv(60, radiation=26.0))
    assert three_sentences(replay(garden))[2].startswith("Nothing grave was found")


def test_what_a_float_valve_draws_stands_under_the_supply_whose_water_it_is(make_garden):
    """As on the statement: nothing passes the creek's own valves, for it has none."""
    top_up = {"below": "150 L", "rate": "500 L/h", "from": "creek"}
    tank = {"kind": "tank", "volume": "200 L", "footprint": "1 m^2", "outlet_height": "2 m", "top_up": top_up}
    creek = {"kind": "mains", "pressure": "100 kPa"}
    garden = make_garden(weather=weather_csv(30))
    described = {**garden.described, "supply": {"spring": tank, "creek": creek}}
    season = replay(scenario_from(described, garden.path))
    drawn = f"{season.totals['supplies']['spring']['tank']['topped_l']:,.0f}".replace(",", "\u202f")
    rows = re.findall(r"<tr>(?:(?!</tr>).)*</tr>", page(season), re.DOTALL)
    (months,) = (row for row in rows if ">2025-05<" in row)
    (of_creek,) = (row for row in rows if ">creek<" in row and drawn in row)
    assert of_creek.count("–") == 2
    assert drawn in months
