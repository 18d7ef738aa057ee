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


# the layouts' published descriptions, from memory; every figure is invented
FOREIGN = {
    "METAR": "METAR KXYZ 250051Z 18008KT 10SM CLR 13/07 A3005\n",
    "(METAR)": "station,valid,metar\nXYZ,2023-04-25 00:51,KXYZ 250051Z AUTO VRB03G15KT 10SM 13/07\n",
    "in full": "0158722999999992007010100477+40000-100000FM-15+0056KXYZ V0309999C000052200059N0112655N5+01505+00895102115\n",
    "Summary of the Day": "STN--- WBAN   YEARMODA    TEMP       DEWP\n722999 99999  20070101    56.0 24    43.7 24\n",
    "BSRN": "*U0001\n 21  6 2016  1\n",
    "(TRY)": "Station: nowhere\n\n RG IS MM DD HH  N  WR   WG    t\n*** \n  4  1  1  1  1  8 240  5.5  2.1\n",
    "(Modelica)": "#1\ndouble tab1(8760,30)\n#LOCATION,Nowhere\n0\t1.1\t-3.2\n",
    "(TRNSYS)": "<userdefined>\n<longitude>\t-8.0\n<data>\n0.2\t0.97\n",
    "(AKTERM)": "* a series\nAK 99999 2000 01 01 00 00 2 3 193  39 1 3 1 -999 9\n",
    "(dmna)": 'form\t"te%20lt" "ra%5.0f"\nmode\t"text"\n*\n  2000-01-01.01:00:00   205\n',
    "(SRW)": "9,nowhere,XX\nmade up\nTemperature,Pressure,Speed,Direction\nC,atm,m/s,Degrees\n",
    "(line protocol)": "weather,station=x temp=2.5,wind=1 1617264000000000000\nweather,station=x temp=2.4 1617267600000000000\n",
    "reports of an airport": "202304250051 METAR KXYZ 250051Z 18008KT 10SM CLR 13/07 A3005\n",
    "(MQTT)": "2025-06-01T00:00:00+0000 home/garden/temperature 0.6\n2025-06-01T00:00:00+0000 home/garden/rain 0\n",
    "(ZRXP)": "#SANR0001|*|SNAMEHill|*|CUNITmm|*|\n#LAYOUT(timestamp,value)|*|\n20250601000000 6.4\n",
    "(SQL)": "-- a dump\nINSERT INTO `weather` VALUES\n('2025-06-01',14.5,30,0),\n",
    "YAML": "days:\n- date: 2025-06-01\n  tmin: 14\n- date: 2025-06-02\n  tmin: 15\n",
    "for each year": "Day,Tmax 2024 (°C),Tmax 2025 (°C),Rain 2024,Rain 2025\n01-Jan,3,4,0,0\n",
    # of SWAT+ and SWAT 2012, documented in their input/output files' descriptions (from memory)
    "years and days of the year under a line": "rain.pcp: invented\nnbyr     tstep       lat       lon      elev\n"
    "   1         0    66.000    28.000    30.000\n2025  152    2.41740\n2025  153    1.78070\n",
    "figures of fixed width": "Station  a,b,\nLati    66.0 66.1\nLong    28.0 28.1\nElev      30   32\n"
    "2025152002.4001.1\n2025153-99.0000.0\n",
    # of NCEI's documentation of data set 6401, 5-minute observations (from memory)
    "an airport (METAR)": "99999KXYZ XYZ20170108032511501/08/17 03:25:31  5-MIN KXYZ 081125Z 11006KT 10SM BKN055 M02/M05 A2990\n",
    # of the description of WEPP's climate input file (from memory)
    "(CLIGEN)": "4.30\n 1 0 0\n Station: NOWHERE\n da mo year  prcp  dur   tp     ip  tmax  tmin  rad\n 1  1  1  0.0 0 0 0 4.1 -3.2 120\n",
    "F-6": "PRELIMINARY LOCAL CLIMATOLOGICAL DATA (WS FORM: F-6)\n\nDY MAX MIN\n",
}


@pytest.mark.parametrize(("says", "text"), FOREIGN.items(), ids=FOREIGN.keys())
def test_a_layout_that_is_known_and_not_read_is_named_with_what_to_take(says, text):
    with pytest.raises(WeatherError, match=r"such files are not read; take ") as refused:
        readers.refuse_foreign(source(text))
    assert says in str(refused.value)


READ = [
    "valid,tmpf,dwpf,metar\n2023-04-25 00:51,55,45,KXYZ 250051Z 18008KT 10SM 13/07\n",
    "date,tmin,tmax,rain,Normal 1961-1990,Normal 1991-2020\n2025-06-01,14,30,0,1,1\n",
    "From 1 June 2024, to 1 June 2025\ndate,tmin,tmax,rain\n2025-06-01,14,30,0\n",
    "date,tmin,tmax,rain,insert into\n2025-06-01,14,30,0,a/b 3\n",
]


@pytest.mark.parametrize("text", READ)
def test_a_table_that_has_some_marks_of_them_is_not_refused(text):
    readers.refuse_foreign(source(text))


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
