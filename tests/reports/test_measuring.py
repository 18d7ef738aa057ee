"""What measuring first would be worth is said where it pays, and nowhere else."""

import pytest

from panbudget import replay
from panbudget.reports import measuring
from panbudget.reports.writing import as_json, as_page, sentences
from panbudget.studies.fit.tub import Worth


@pytest.mark.parametrize(("after", "pays", "days"), [(0.09, True, 3), (0.303, True, 4), (0.305, False, 5)])
def test_a_measurement_is_named_where_it_takes_a_fifth_off_the_range(make_garden, monkeypatch, after, pays, days):
    # of seasons that differ: what is made of one is kept with it
    monkeypatch.setattr(measuring, "worth_of_ruler_test", lambda season, days: {"upper": Worth("ruler", 0.38, after)})
    season = replay(make_garden(days=days))
    data = as_json(season)["measure_first"]
    if pays:
        line = f"narrow the season's litres of upper from ±38\u00a0% to ±{100 * after:.0f}\u00a0%."
        assert sentences(season)[-1].endswith(line)
        assert line.replace("'", "&#39;") in as_page(season)
        assert data == {"upper": {"before": 0.38, "after": after}}
    else:
        assert (len(sentences(season)), data) == (3, {})
