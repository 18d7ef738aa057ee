"""Plans: what is wrong with one comes out at once, a line each, with what to do."""

from __future__ import annotations

import pandas as pd
import pytest

from panbudget.errors import ScenarioError
from panbudget.studies.sweep.plan import load_plan
from tests.studies.sweep.district import DESIGNS, GARDEN, make_plan


def _lines(path):
    with pytest.raises(ScenarioError) as caught:
        load_plan(path)
    return caught.value.text().splitlines()


def test_the_example_plan_is_sound_once_its_weather_is_made(tmp_path):
    from tests.studies.sweep.district import ROOT, write_district

    write_district(tmp_path / "weather_samples" / "district", first=2014, last=2014)
    (tmp_path / "scenarios").mkdir()
    for name in ("district.toml", "district-garden.toml"):
        (tmp_path / "scenarios" / name).write_bytes((ROOT / "scenarios" / name).read_bytes())
    plan = load_plan(tmp_path / "scenarios" / "district.toml")
    assert len(plan.places) == 30
    assert plan.years() == list(range(2014, 2026))


def test_a_table_of_sites_that_is_yet_to_be_made_says_where_to_look_how(tmp_path):
    path = make_plan(tmp_path)
    (tmp_path / "weather" / "places.csv").unlink()
    (line,) = _lines(path)
    assert 'sites.table = "weather/places.csv": there is no such table of sites' in line
    assert line.endswith("check the path, or make the table first: the first lines of an example's plan say how")


def test_all_mistakes_of_a_plan_come_at_once(tmp_path):
    path = make_plan(
        tmp_path,
        years="[years]\nfirst = 2021\nlast = 2020\nmiddle = 1\n",
        more="[output]\nfigures = 1\n",
    )
    lines = _lines(path)
    assert any("years.middle is no known key" in line for line in lines)
    assert any("output.figures = 1" in line for line in lines)
    assert all(line.startswith(f"{path}: ") for line in lines)


def test_years_out_of_order_are_refused(tmp_path):
    assert "is before the first, 2021" in _lines(make_plan(tmp_path, years="[years]\nfirst = 2021\nlast = 2020\n"))[0]


def test_one_end_of_the_years_is_not_enough(tmp_path):
    assert "both first and last" in _lines(make_plan(tmp_path, years="[years]\nfirst = 2021\n"))[0]


def test_each_designs_mistakes_are_named_with_it(tmp_path):
    designs = """
[design.deep]
controller.yard.pan.depth = "3 L/h"

[design.elsewhere]
site.latitude = 10

[design.typo]
controller.yard.pan.freebord = "2 cm"

[design.other-bed]
controller.yard.bed.tomatos.area = "5 m^2"
"""
    lines = _lines(make_plan(tmp_path, designs=designs))
    assert len(lines) == 4
    assert lines[3].endswith('bed.tomatos changes nothing that the file has; did you mean "tomatoes"?')
    assert 'design.deep: controller.yard.pan.depth = "3 L/h"' in lines[0]
    assert "design.elsewhere: site can't differ between designs" in lines[1]
    assert 'did you mean "freeboard"' in lines[2]


def test_designs_whose_names_differ_by_capitals_alone_are_refused(tmp_path):
    lines = _lines(make_plan(tmp_path, designs="[design.wide]\n[design.Wide]\n[design.wider]\n"))
    assert [line.partition(": ")[2] for line in lines] == ["design.Wide and wide look alike; rename one"]


def test_a_table_and_a_grid_are_one_too_many(tmp_path):
    path = make_plan(tmp_path)
    path.write_text(path.read_text(encoding="utf-8").replace("[years]", 'grid = "x.nc"\n[years]'), encoding="utf-8")
    assert "sites: takes a table or a grid" in _lines(path)[0] or "takes a table or a grid" in _lines(path)[0]


def test_a_made_heat_wave_has_no_place_in_a_sweep(tmp_path):
    garden = GARDEN + '\n[what_if.heat]\nstart = 2020-05-10\nwarmer = "+5 K"\n'
    assert "[what_if.heat]" in _lines(make_plan(tmp_path, garden=garden))[0]


def test_what_a_sweep_leaves_to_replay_is_refused_in_a_design_too(tmp_path):
    """A fault or a salinity in a design, and wishes of its own, changed nothing and were not told."""
    designs = """
[design.leak]
fault = [{ kind = "leak", loss = "1 L/day" }]

[design.salty]
supply.tap.salinity = "1 dS/m"

[design.wish]
wishes.stress_days = 9
"""
    lines = [line.split(": ", 1)[1] for line in _lines(make_plan(tmp_path, designs=designs))]
    assert len(lines) == 3
    assert lines[0].startswith("design.leak: fault can't differ between designs")
    assert lines[1].startswith("design.salty has a supply with salinity, and a sweep takes sound gardens")
    assert lines[2].startswith("design.wish: wishes can't differ between designs; expected: supply, controller")


def test_a_missing_scenario_or_plan_is_said_in_a_line(tmp_path):
    path = make_plan(tmp_path)
    (tmp_path / "garden.toml").unlink()
    assert f'{path}: scenario = "garden.toml": there is no such file' in _lines(path)[0]
    assert "there is no such file" in _lines(tmp_path / "none.toml")[0]


def test_a_plan_is_limited_to_one_site_at_least(tmp_path):
    plan = load_plan(make_plan(tmp_path))
    assert plan.limited(1).places == plan.places[:1]
    for sites in (0, -1):
        with pytest.raises(ScenarioError, match=f"limit = {sites} is no number of sites; expected: 1 or more"):
            plan.limited(sites)


def test_every_bad_row_of_the_table_has_a_line(tmp_path):
    path = make_plan(tmp_path)
    (tmp_path / "weather" / "places.csv").write_text(
        "name,latitude,longitude,elevation,weather,climate\n"
        "A,95,0,10,a.csv,auto\n"
        "A,45,0,10,a.csv,auto\n"
        "B,45,east,10,b.csv,wet\n"
        'C,45,,"800 L/h",,\n'
        "b,45,0,10,b.csv,auto\n",
        encoding="utf-8",
    )
    lines = _lines(path)
    assert len(lines) == 7
    assert any('line 6: name = "b" stands in line 4 too' in line for line in lines)
    assert "line 2: latitude = 95.0 must be at most 90" in lines[0]
    assert 'line 3: name = "A" stands in line 2 too' in lines[1]
    assert 'line 4: climate = "wet"' in lines[2] or 'line 4: climate = "wet"' in lines[3]
    assert any("line 5: weather is empty" in line for line in lines)


def test_a_sites_name_has_at_most_120_letters(tmp_path):
    path, table = make_plan(tmp_path), tmp_path / "weather" / "places.csv"
    table.write_text(f"name,latitude,elevation,weather\n{'a' * 120},38.2,10,place-01.csv\n", encoding="utf-8")
    assert len(load_plan(path).places[0].name) == 120
    table.write_text(f"name,latitude,elevation,weather\n{'a' * 121},38.2,10,place-01.csv\n", encoding="utf-8")
    assert "expected: 1 to 120 printable characters" in _lines(path)[0]


def test_a_table_without_a_needed_column_says_which(tmp_path):
    path = make_plan(tmp_path)
    (tmp_path / "weather" / "places.csv").write_text("name,latitud,elevation,weather\nA,4,5,a.csv\n", encoding="utf-8")
    assert "has no column latitude; expected: a table of sites with name" in _lines(path)[0]
    assert _lines(path)[0].endswith('if latitude is "latitud", write sites.columns = { latitude = "latitud" }')
    (tmp_path / "weather" / "places.csv").write_text(
        "station,breadth,elevation,weather\nA,4,5,a.csv\n", encoding="utf-8"
    )
    for line, own in zip(_lines(path), ('name = "station"', 'latitude = "breadth"'), strict=True):
        assert "it has station, breadth, elevation, weather;" in line and f"write sites.columns = {{ {own} }}" in line
    (tmp_path / "weather" / "places.csv").write_text("name,latitude,weather\nA,4,a.csv\n", encoding="utf-8")
    assert _lines(path)[0].endswith("add it to the table, which has name, latitude, weather")
    headers = ",".join(f"{'k' * 5000}{i}" for i in range(30))
    (tmp_path / "weather" / "places.csv").write_text(f"{headers}\n{',' * 29}\n", encoding="utf-8")
    assert len(_lines(path)[0]) < 1000 and "and 10 more; if name is" in _lines(path)[0]


def test_own_headers_and_heights_with_a_unit_are_read(tmp_path):
    path = make_plan(tmp_path)
    (tmp_path / "weather" / "places.csv").write_text(
        'station,latitude,elevation,weather\nA,38.2,"1000 ft",place-01.csv\n', encoding="utf-8"
    )
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("[years]", 'columns = { name = "station" }\n[years]'), encoding="utf-8")
    place = load_plan(path).places[0]
    assert place.name == "A"
    assert place.elevation == pytest.approx(304.8)
    assert place.longitude is None


@pytest.mark.parametrize(
    ("header", "metres"),
    [
        ("elevation", 1000.0),
        ("height_m", 1000.0),
        ("Elev. [m]", 1000.0),
        ("elev ft", 304.8),
        ("ELEV_FT", 304.8),
        ("elevation in feet", 304.8),
        ("elevationFt", 304.8),
        ("altitude/yd", 914.4),
        ("Height (ft)", 304.8),
        ("left of the road", 1000.0),
    ],
)
def test_a_height_is_in_the_unit_that_its_header_names(tmp_path, header, metres):
    """A header that named feet in a word of its own gave metres, without a word."""
    path = make_plan(tmp_path)
    table = f"name,latitude,{header},weather\nA,38.2,1000,place-01.csv\n"
    (tmp_path / "weather" / "places.csv").write_text(table, encoding="utf-8")
    text = path.read_text(encoding="utf-8").replace("[years]", f'columns = {{ elevation = "{header}" }}\n[years]')
    path.write_text(text, encoding="utf-8")
    assert load_plan(path).places[0].elevation == pytest.approx(metres)


@pytest.mark.parametrize("figure", ["3_8.2", "３８.2", "38.2 N", "nan", "infinity", "38,2", "0x26"])
def test_a_latitude_is_a_plain_number(tmp_path, figure):
    path = make_plan(tmp_path)
    table = f'name,latitude,elevation,weather\nA,"{figure}",10,place-01.csv\n'
    (tmp_path / "weather" / "places.csv").write_text(table, encoding="utf-8")
    assert _lines(path)[0].startswith(f'weather/places.csv: line 2: latitude = "{figure}" is not a plain number')


def test_two_columns_of_one_name_are_refused_and_others_may_stand_twice(tmp_path):
    """The last of two heights was taken, with a warning of pandas'."""
    path, table = make_plan(tmp_path), tmp_path / "weather" / "places.csv"
    table.write_text("name,latitude,elevation,elevation,weather\nA,38.2,10,20,place-01.csv\n", encoding="utf-8")
    assert _lines(path)[0].startswith(
        "weather/places.csv: has more than one column elevation: elevation and elevation;"
    )
    table.write_text("name,latitude,elevation,weather,note,note\nA,38.2,10,place-01.csv,x,y\n", encoding="utf-8")
    assert load_plan(path).places[0].elevation == 10.0
    table.write_text("name,latitude,elevation,height,weather\nA,38.2,10,20,place-01.csv\n", encoding="utf-8")
    plain = path.read_text(encoding="utf-8")
    for columns, said in (
        (
            'name = "nam"',
            'plan.toml: sites.columns.name = "nam" is not in the table of sites; expected: its columns: name, ',
        ),
        (
            'latitude = "height", elevation = "height"',
            'sites.columns.elevation = "height" is sites.columns.latitude too;',
        ),
    ):
        path.write_text(plain.replace("[years]", f"columns = {{ {columns} }}\n[years]"), encoding="utf-8")
        assert said in _lines(path)[0]
    path.write_text(plain, encoding="utf-8")
    text = path.read_text(encoding="utf-8").replace("[years]", 'columns = { elevation = "height" }\n[years]')
    path.write_text(text, encoding="utf-8")
    assert "has more than one column elevation: elevation and height" in _lines(path)[0]


def test_a_parquet_table_gives_the_same_places_as_the_csv(tmp_path):
    pytest.importorskip("pyarrow")
    path = make_plan(tmp_path)
    as_csv = load_plan(path).places
    pd.read_csv(tmp_path / "weather" / "places.csv", comment="#").to_parquet(tmp_path / "weather" / "places.parquet")
    path.write_text(path.read_text(encoding="utf-8").replace("places.csv", "places.parquet"), encoding="utf-8")
    assert load_plan(path).places == as_csv
    table = pd.read_parquet(tmp_path / "weather" / "places.parquet")
    table.assign(name=table["name"].str.encode("utf-8")).to_parquet(tmp_path / "weather" / "places.parquet")
    assert load_plan(path).places == as_csv
    for cell, said in (
        (b"\xff", "holds bytes that are no text in UTF-8"),
        ({"a": 1}, "holds several values"),
        ([1], "several"),
    ):
        table.assign(name=[cell] * len(table)).to_parquet(tmp_path / "weather" / "places.parquet")
        assert (
            "places.parquet: can't be read as a table of sites (a cell holds" in _lines(path)[0]
            and said in _lines(path)[0]
        )


def test_a_column_that_a_table_of_sites_never_has_is_the_plans_mistake(tmp_path):
    path = make_plan(tmp_path)
    text = path.read_text(encoding="utf-8").replace("[years]", 'columns = { soil = "soil" }\n[years]')
    path.write_text(text, encoding="utf-8")
    assert _lines(path)[0].startswith(
        f'{path}: sites.columns.soil = "soil" is an unknown column; expected: one of name, lat'
    )


def test_the_fingerprint_follows_plan_scenario_and_table_but_no_weather(tmp_path):
    path = make_plan(tmp_path)
    first = load_plan(path).fingerprint
    (tmp_path / "weather" / "place-01.csv").write_text("other", encoding="ascii")
    assert load_plan(path).fingerprint == first
    path = make_plan(tmp_path, designs=DESIGNS + "[design.more]\n")
    assert load_plan(path).fingerprint != first
    path = make_plan(tmp_path, garden=GARDEN + "\n# a remark\n", more="\n# another\n")
    assert load_plan(path).fingerprint == first
    path = make_plan(tmp_path, garden=GARDEN.replace('swing = "0.9 kg"', 'swing = "1.0 kg"'))
    assert load_plan(path).fingerprint != first


def test_a_plan_may_say_its_units_and_that_starts_no_sweep_again(tmp_path):
    as_the_garden = load_plan(make_plan(tmp_path))
    asked = load_plan(make_plan(tmp_path, more='[show]\nunits = "US"\n'))
    assert (as_the_garden.base.units, asked.base.units) == ("metric", "US")
    assert asked.fingerprint == as_the_garden.fingerprint
    assert any("show.units" in line for line in _lines(make_plan(tmp_path, more='[show]\nunits = "imperial"\n')))
