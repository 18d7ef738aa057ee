"""What is known by name: every topic is a table of one shape, whose rows say where they are from."""

from __future__ import annotations

import pytest

from panbudget.studies.known import TOPICS, known
from panbudget.tables import read_table
from panbudget.weather.formats.readers import READERS


@pytest.mark.parametrize("topic", TOPICS)
def test_a_topic_is_a_table_with_names_first_and_sources_last(topic):
    rows = known(topic)
    assert rows
    for row in rows:
        assert list(row) == list(rows[0])
        assert next(iter(row)) == "name"
        assert list(row)[-1] == "source"
        assert row["name"]
        assert row["source"]


def test_what_rests_on_memory_is_listed_whole_with_where_it_is_used():
    rows = known("from-memory")
    assert [row["name"] for row in rows] == [row["name"] for row in read_table("from_memory")]
    assert all(row["used in"] for row in rows)


def test_every_reader_and_every_plant_is_known():
    assert [row["name"] for row in known("readers")] == list(READERS)
    assert {row["name"] for row in known("plants")} == {row["name"] for row in read_table("plants")}


def test_plants_stand_in_a_gardeners_order():
    """FAO-56 (1998): tomato's Tables 22 (roots, p), 11 (30 + 40 days) and 12 (Kc mid)."""
    by_name = {row["name"]: list(row.values())[2:-1] for row in known("plants")}
    assert by_name["tomato"] == ["0.7", "40", "70", "1.15"]
    assert by_name["lavender"] == ["0.5", "60", "all year", "0.3"]
