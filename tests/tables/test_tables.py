"""The tables themselves: complete, in sense, each row with its source, and as published where they say so."""

from __future__ import annotations

from pathlib import Path

import pytest

import panbudget.tables
from panbudget.tables import UnknownName, read_table
from panbudget.tables.plants import find_plant, known_plants, landscape_level
from panbudget.tables.soils import find_soil, known_soils, own_soil


@pytest.mark.parametrize("name", ["plants", "soils", "pan_coefficients", "wetted_fraction", "curve_numbers"])
def test_every_row_has_its_source(name):
    rows = read_table(name)
    assert rows
    for row in rows:
        assert list(row)[-1] == "source"
        assert any(said in row["source"] for said in ("FAO-56", "S623", "TR-55", "landscape coefficient method")), row


def test_there_are_plants_enough_and_each_makes_sense():
    assert len(known_plants()) >= 25
    for name in known_plants():
        plant = find_plant(name)
        assert 0.0 < plant.kc_ini <= 1.3, name
        assert 0.0 < plant.kc_mid <= 1.3, name
        assert plant.kcb_mid <= plant.kc_mid, name
        assert plant.kcb_ini <= plant.kc_ini, name
        assert 0.0 < plant.root_depth_start <= plant.root_depth <= 2.0, name
        assert 0.1 <= plant.depletion <= 0.8, name
        assert 0.05 <= plant.height <= 5.0, name
        assert plant.stages is None or (min(plant.stages) > 0 and sum(plant.stages) <= 366), name
        assert plant.needs_date == (plant.stages is not None and not plant.evergreen), name


@pytest.mark.parametrize(
    ("name", "kc", "root_depth", "p"),
    [
        # FAO-56 (1998), Tables 12 and 22, looked up by hand; root depth is the range's lower end
        ("tomato", (0.6, 1.15, 0.8), 0.7, 0.40),
        ("lettuce", (0.7, 1.0, 0.95), 0.3, 0.30),
        ("potato", (0.5, 1.15, 0.75), 0.4, 0.35),
        ("mint", (0.6, 1.15, 1.10), 0.4, 0.40),
        ("strawberry", (0.4, 0.85, 0.75), 0.2, 0.20),
        ("citrus", (0.7, 0.65, 0.70), 1.2, 0.50),
    ],
)
def test_rows_are_as_published(name, kc, root_depth, p):
    plant = find_plant(name)
    assert (plant.kc_ini, plant.kc_mid, plant.kc_end) == kc
    assert (plant.root_depth, plant.depletion) == (root_depth, p)


@pytest.mark.parametrize(
    ("factor", "names"),
    [  # landscape coefficient method, from memory: low users of water 0.1 to 0.3, moderate ones 0.4 to 0.6
        (0.3, ("lavender", "rosemary", "thyme", "sage")),
        (0.5, ("roses", "figs")),
        (None, ("grape", "olive", "citrus", "strawberry", "squash", "beans", "onions", "lawn")),
    ],
)
def test_what_grows_in_dry_gardens_is_known_by_name(factor, names):
    assert [find_plant(name).plant_factor for name in names] == [factor and (factor,)] * len(names)


def test_names_are_nobodys_twice():
    taken = {}
    for row in read_table("plants"):
        for name in [row["name"], *row["also"].split(";"), *row["stands_for"].split(";")]:
            assert not name or name not in taken, f"{name}: {row['name']} and {taken.get(name)}"
            taken[name] = row["name"]


def test_soils_lie_within_their_published_ranges_and_hold_more_the_finer_they_are():
    """FAO-56 (1998), Table 19; three textures that it lacks: Saxton and Rawls (2006), from memory."""
    assert len(known_soils()) == 12
    for row in read_table("soils"):
        for key in ("field_capacity", "wilting_point"):
            low, high = map(float, row[f"{key}_range"].split("-"))
            assert low < float(row[key]) < high
    held = [find_soil(name).field_capacity - find_soil(name).wilting_point for name in known_soils()]
    assert held[0] == min(held)
    assert find_soil("loam").field_capacity == pytest.approx(0.25)
    named = ("sandy clay loam", "clay loam", "sandy clay")
    assert [(find_soil(name).field_capacity, find_soil(name).wilting_point) for name in named] == [
        (0.27, 0.17),
        (0.36, 0.22),
        (0.36, 0.25),
    ]


def test_the_pan_table_is_the_papers():
    """FAO-56 (1998), Table 5: green fetch 10 m, wind under 2 m/s, humidity under 40 %: Kp 0.65."""
    rows = read_table("pan_coefficients")
    assert len(rows) == 96
    chosen = [
        row["kp"]
        for row in rows
        if (row["siting"], row["fetch_m"], row["wind_class_m_s"], row["rh_class_pct"])
        == ("A_green", "10", "u<2", "<40")
    ]
    assert chosen == ["0.65"]


def test_soils_are_found_whatever_their_spelling():
    assert find_soil("Sandy-Loam") is find_soil("sandy loam")
    assert find_soil("silty clay loam").name == "silt clay loam"
    with pytest.raises(UnknownName, match='unknown soil "lome"; expected: one of sand, .*; did you mean "loam"'):
        find_soil("lome")


def test_an_unknown_plant_is_told_with_the_nearest():
    with pytest.raises(UnknownName, match='unknown plant "tomatto"; did you mean "tomato"'):
        find_plant("tomatto")
    with pytest.raises(UnknownName, match='unknown plant "xyzzy"; expected: one of tomato, sweet pepper'):
        find_plant("xyzzy")


@pytest.mark.parametrize("name", ["Tomatoes", "aubergine", "COURGETTE", "sweet-corn", "peach", "lawn"])
def test_common_names_are_found(name):
    assert find_plant(name).name in known_plants()


def test_a_soil_of_ones_own_has_a_loams_surface():
    """FAO-56 (1998), Table 19 (REW 8 to 10 mm for loam) and chapter 7 (Ze 0.10 to 0.15 m)."""
    soil = own_soil(0.28, 0.13)
    assert (soil.rew, soil.ze, soil.field_capacity, soil.wilting_point) == (8.0, 0.10, 0.28, 0.13)


def test_landscape_levels_are_the_middles_of_their_ranges():
    assert landscape_level("species", "Very-Low") == 0.05
    assert landscape_level("microclimate", "high") == 1.25


def test_what_rests_on_memory_is_listed_and_stands_where_it_says():
    """Each module and table that says "from memory" is in the list, and each line of the list names one that is there."""
    package = Path(panbudget.tables.__file__).parents[1]
    listed = {row["used_in"] for row in read_table("from_memory")}
    assert all((package / f"{name}.py").exists() or (package / f"{name}.csv").exists() for name in listed), listed
    for folder in ("physics", "engine", "tables"):
        for path in sorted((package / folder).glob("*.*")):
            if (
                path.suffix in (".py", ".csv")
                and path.stem != "from_memory"
                and "from memory" in path.read_text("utf-8")
            ):
                assert f"{folder}/{path.stem}" in listed
