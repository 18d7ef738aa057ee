"""
Which reader a file gets, and that a tie is refused instead of guessed.
"""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from panbudget.errors import WeatherError
from panbudget.weather.formats import readers
from panbudget.weather.text.source import Source
from tests.weather.formats import test_epw, test_isd_lite, test_logger, test_tmy3
from tests.weather.test_broken_files import SOUND as DAILY

HEADS = {
    "table": DAILY,
    "logger": test_logger.SOUND,
    "isd-lite": test_isd_lite.SOUND,
    "tmy3": test_tmy3.SOUND[:9000],
    "epw": test_epw.SOUND[:9000],
}


def source(text):
    return Source(text, "station.csv", "0" * 64, "utf-8")


@pytest.mark.parametrize(("name", "text"), HEADS.items(), ids=HEADS.keys())
def test_each_format_is_recognised_and_no_other_reader_is_as_sure(name, text):
    reader, why = readers.choose_reader(source(text), file_format="auto")
    assert name == reader.NAME
    assert why
    head = "\n".join(text.split("\n")[:60])
    assert [other for other in readers.READERS.values() if other.sniff(head)[0] >= reader.sniff(head)[0]] == [reader]


def test_every_reader_bears_its_name_and_says_where_its_format_is_described():
    for name, reader in readers.READERS.items():
        assert name == reader.NAME
        assert reader.SOURCE
        assert callable(reader.sniff) and callable(reader.read)


def test_a_tie_is_refused_and_both_are_named(monkeypatch):
    """Two readers that are equally sure."""
    sure = {
        name: SimpleNamespace(NAME=name, sniff=lambda head: (0.9, "sure"), read=None)
        for name in ("one-format", "two-format")
    }
    monkeypatch.setattr(readers, "READERS", sure)
    with pytest.raises(WeatherError) as caught:
        readers.choose_reader(source("a,b\n1,2\n"), file_format="auto")
    message = str(caught.value)
    assert 'may be in the format "one-format" or "two-format"' in message
    assert 'format = "one-format" or format = "two-format"' in message
    assert caught.value.key == "weather.format"
