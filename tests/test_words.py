"""Numbers as a person reads them."""

from __future__ import annotations

import re

import pytest

from panbudget import words


def plain(text):
    return re.sub(r"\s", " ", text)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (words.litres(12345.6), "12 346 L"),
        (words.litres(3.21), "3.2 L"),
        (words.mm(0.04), "0.0 mm"),
        (words.mm(-3.0), "−3.0 mm"),
        (words.hours(0.5), "30 min"),
        (words.hours(26.0), "26.0 h"),
        (words.hours(99.9), "99.9 h"),
        (words.hours(100.0), "100 h"),
        (words.percent(1.274), "127 %"),
        (words.percent(None), "–"),
        (words.count(1, "day"), "1 day"),
        (words.count(0, "day"), "0 days"),
        (words.days_long(0.25), "6.0 h"),
        (words.days_long(6.04), "6.0 days"),
        (words.signed(12.4), "+12"),
        (words.signed(-12.4), "−12"),
        (words.signed(0.04), "0"),
    ],
)
def test_numbers(text, said):
    assert plain(text) == said
