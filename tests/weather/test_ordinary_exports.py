"""
Ordinary exports: names, days, marks and head lines as people's files have them. Layouts are general, every number is invented (`styles`).
"""

from __future__ import annotations

import datetime as dt

import pytest

from panbudget.errors import WeatherError
from panbudget.weather import read_weather
from tests.weather.styles import TRUTH, at_five, comma, daily, day, f, hourly, inches
from tests.weather.test_far_styles import agrees, read_pasted, written
from tests.weather.test_styles import SITE, pasted
from tests.weather.text.test_workbook import workbook

READINGS = [7, 14, 21]
DAYS = {
    "Turkish words of a day's parts, and ÷": daily(
        "Yıl;Ay;Gün;Minimum Sıcaklık (°C);Maksimum Sıcaklık (°C);Ortalama Nem (%);Ortalama Rüzgar Hızı (m÷sn);Yağış (mm=kg÷m²)",
        lambda d: [d.date.year, d.date.month, d.date.day, d.tmin, d.tmax, d.rh, d.wind, d.rain],
        separator=";",
    ).encode("cp1254"),
    "Swedish days of the week before words": daily(
        "Dag\tLägsta temp (°C)\tHögsta temp (°C)\tNederbörd (mm)\tLuftfuktighet (%)\tMedelvind (m/s)",
        lambda d: [
            f"{['mån', 'tis', 'ons', 'tors', 'fre', 'lör', 'sön'][d.date.weekday()]} {d.date.day} juni {d.date.year}",
            *map(comma, (d.tmin, d.tmax, d.rain, d.rh, d.wind)),
        ],
        separator="\t",
    ),
    "days of the week before short years": daily(
        "Tag;Temp. Min. [°C];Temp. Max. [°C];Niederschlag [mm];Rel. Feuchte Mittel [%];Wind Mittel [m/s]",
        lambda d: [
            f"{['Mo', 'Di', 'Mi', 'Do', 'Fr', 'Sa', 'So'][d.date.weekday()]} {d.date:%d.%m.%y}",
            *map(comma, (d.tmin, d.tmax, d.rain, d.rh, d.wind)),
        ],
        separator=";",
    ),
    "a spreadsheet's numbers under Day": daily(
        "Day;Min °C;Max °C;Rain mm;RH %;Wind m/s",
        lambda d: [d.date.toordinal() - 693594, d.tmin, d.tmax, d.rain, d.rh, d.wind],
        separator=";",
    ),
    "three readings with decimal commas, whole ones between": daily(
        "Datum;Tmin;Tmax;Niederschlag;Feuchte 7h;Feuchte 14h;Feuchte 21h;Wind 7h;Wind 14h;Wind 21h\n;°C;°C;mm;%;%;%;m/s;m/s;m/s",
        lambda d: [
            *(f"{d.date:%d.%m.%Y}", comma(d.tmin), comma(d.tmax), comma(d.rain), d.rh + 5, d.rh - 8, d.rh + 3),
            *(comma(d.wind), comma(d.wind + 1), comma(d.wind - 1)),
        ],
        separator=";",
    ),
    "day and night": daily(
        "Date,Day max °C,Night min °C,Day RH %,Night RH %,Day wind m/s,Night wind m/s,Day rain mm,Night rain mm",
        lambda d: [
            *(d.date, d.tmax, d.tmin, d.rh - 5, d.rh + 5, d.wind + 0.5, d.wind - 0.5),
            *(round(d.rain - 0.2, 1) if d.rain else 0.0, 0.2 if d.rain else 0.0),
        ],
    ),
    "days across": "\n".join(
        ",".join(map(str, (name, unit, *(cell(d) for d in TRUTH))))
        for name, unit, cell in (
            ("Element", "Unit", lambda d: d.date),
            ("Minimum temperature", "°C", lambda d: d.tmin),
            ("Maximum temperature", "°C", lambda d: d.tmax),
            ("Rainfall", "mm", lambda d: d.rain),
            ("Mean humidity", "%", lambda d: d.rh),
            ("Wind speed", "m/s", lambda d: d.wind),
        )
    ),
    "rain of two readings": daily(
        "Date,Min °C,Max °C,Rain 9am (mm),Rain 9pm (mm),RH %,Wind m/s",
        lambda d: [
            d.date,
            d.tmin,
            d.tmax,
            0.2 if d.rain else 0.0,
            round(d.rain - 0.2, 1) if d.rain else 0.0,
            d.rh,
            d.wind,
        ],
    ),
    "day and night in German, and readings at eight with an h": daily(
        "Zeit;Max. Tag °C;Min. Nacht °C;Luftfeuchte %;Niederschlag Tag mm;Niederschlag Nacht mm;Wind m/s",
        lambda d: [
            *(f"{d.date:%d.%m.%Y} 08h00", comma(d.tmax), comma(d.tmin), d.rh),
            *(comma(round(d.rain - 0.2, 1) if d.rain else 0.0), "0,2" if d.rain else "0,0", comma(d.wind)),
        ],
        separator=";",
    ),
    "decimal commas in quotation marks, with units": daily(
        ",Tag,Tiefstwert,Höchstwert,Luftfeuchte,Wind,Regen",
        lambda d: [
            *("", f'"{d.date:%d.%m.%Y}"', f'"{comma(d.tmin)} °C"', f'"{comma(d.tmax)} °C"', f"{d.rh} %"),
            *(f'"{comma(d.wind)} m/s"', f'"{comma(d.rain)} mm"'),
        ],
    ),
}


@pytest.mark.parametrize("content", DAYS.values(), ids=DAYS.keys())
def test_days_of_ordinary_exports_are_read_once_what_is_suggested_is_pasted(tmp_path, content):
    agrees(read_pasted(written(tmp_path, content)), ("tmin", "tmax", "rain", "rh_mean", "wind"))


HOURS = {
    "Greek words": hourly(
        "Ημερομηνία\tΏρα\tΘερμοκρασία (°C)\tΥγρασία (%)\tΤαχύτητα ανέμου (m/s)\tΒροχή (mm)",
        lambda t, d, c: [
            f"{t.day}/{t.month}/{t.year}",
            f"{t:%H:%M}",
            comma(c),
            d.rh,
            comma(d.wind),
            comma(at_five(t, d)),
        ],
        separator="\t",
    ),
    "Greek halves of the day": hourly(
        "Ημερομηνία;Ώρα;Θερμοκρασία (°C);Υγρασία (%);Ταχύτητα ανέμου (m/s);Βροχή (mm)",
        lambda t, d, c: [
            *(f"{t.day}/{t.month}/{t.year}", f"{t.hour % 12 or 12}:00 {'πμ'[t.hour // 12]}.μ."),
            *map(comma, (c, d.rh, d.wind, at_five(t, d))),
        ],
        separator=";",
    ),
    "Korean halves of the day": hourly(
        "일시,기온(°C),습도(%),풍속(m/s),강수량(mm)",
        lambda t, d, c: [
            f"{t:%Y-%m-%d} {['오전', '오후'][t.hour // 12]} {t.hour % 12 or 12}:00",
            c,
            d.rh,
            d.wind,
            at_five(t, d),
        ],
    ),
    "statistics, a quantity a row": hourly(
        "time,entity,unit,mean,min,max,sum",
        lambda t, d, c: [
            "\n".join(
                f"{t:%Y-%m-%d %H:%M},{of}"
                for of in (
                    f"temperature,°C,{c / 2 + 10},{min(c, c / 2 + 9.7)},{max(c, c / 2 + 10.3)},",
                    f"humidity,%,{d.rh},{d.rh - 9},{d.rh + 9},",
                    f"wind speed,m/s,{d.wind},0,{2 * d.wind},",
                    f"hourly rain,mm,,,,{at_five(t, d)}",
                )
            )
        ],
    ),
    "a spreadsheet's empty row below the header": hourly(
        "time,temp (°C),RH (%),wind (m/s),rain (mm)\n,,,,",
        lambda t, d, c: [f"{t:%Y-%m-%d %H:%M}", c, d.rh, d.wind, at_five(t, d)],
    ),
    "year, day of the year and hour": hourly(
        "Year,DOY,Hour,AirT_C,RH_%,WS_ms,Rain_mm",
        lambda t, d, c: [t.year, t.timetuple().tm_yday, f"{t.hour * 100:04d}", c, d.rh, d.wind, at_five(t, d)],
    ),
    "Danish times with points": hourly(
        "Dato;Klokken;Lufttemperatur [°C];Relativ luftfugtighed [%];Middelvind [m/s];Nedbør [mm]",
        lambda t, d, c: [f"{t:%d-%m-%Y}", f"{t:%H.%M}", comma(c), d.rh, comma(d.wind), comma(at_five(t, d))],
        separator=";",
    ),
    "Croatian hours by the number of their end": hourly(
        "Datum\tSat\tTemperatura zraka (°C)\tRelativna vlažnost (%)\tBrzina vjetra (m/s)\tOborina (mm)",
        lambda t, d, c: [f"{t:%d.%m.%Y.}", t.hour + 1, comma(c), comma(d.rh), comma(d.wind), comma(at_five(t, d))],
        separator="\t",
    ),
    "names over groups": hourly(
        "Time,Indoor,,Outdoor,,Wind,Rainfall\nTime,Temperature(℃),Humidity(%),Temperature(℃),Humidity(%),Wind Speed(m/s),Hourly(mm)",
        lambda t, d, c: [f"{t:%Y-%m-%d %H:%M}", 21.5, 44, c, d.rh, d.wind, at_five(t, d)],
    ),
    "names of groups, each said again": hourly(
        "Time,Indoor,Indoor,Outdoor,Outdoor,Wind,Rainfall\n"
        "Time,Temperature(℃),Humidity(%),Temperature(℃),Humidity(%),Wind Speed(m/s),Hourly(mm)",
        lambda t, d, c: [f"{t:%Y-%m-%d %H:%M}", 21.5, 44, c, d.rh, d.wind, at_five(t, d)],
    ),
    "a logger's names, units and kinds": hourly(
        "TIMESTAMP,RECORD,BattV_Min,AirTC_Avg,RH,WS_ms_Avg,Rain_mm_Tot\nTS,RN,Volts,Deg C,%,meters/second,mm\n,,Min,Avg,Smp,Avg,Tot",
        lambda t, d, c: [f"{t:%Y-%m-%d %H:%M:%S}", t.hour, 12.6, c, d.rh, d.wind, at_five(t, d)],
        above="Farm,LX1\n",
    ),
    "thousands marks in quotes": hourly(
        "Date,Time,Temp (°C),RH (%),Wind (m/s),Rain (mm),Solar (W/m^2)",
        lambda t, d, c: [
            *(f"{t:%d-%b-%Y}", f"{t:%I:%M %p}", c, d.rh, d.wind, at_five(t, d)),
            '"1,006.9"' if t.hour == 12 else "0.0",
        ],
    ),
    "a decimal day of the year": hourly(
        "year,decimal_doy,AirT_C,RH_%,WS_ms,Rain_mm",
        lambda t, d, c: [t.year, f"{t.timetuple().tm_yday + t.hour / 24:.4f}", c, d.rh, d.wind, at_five(t, d)],
    ),
    "a decimal day of the year in French": hourly(
        "Année;Jour julien;Température (°C);Humidité (%);Vent (m/s);Pluie 1h (mm)",
        lambda t, d, c: [
            *(t.year, comma(f"{t.timetuple().tm_yday + t.hour / 24:.4f}"), comma(c), d.rh, comma(d.wind)),
            comma(at_five(t, d)),
        ],
        separator=";",
    ),
    "hours with an h": hourly(
        "Date et heure;Température (°C);Humidité relative (%);Vent moyen (m/s);Pluie 1h (mm)",
        lambda t, d, c: [f"{t:%d/%m/%Y %H}h00", comma(c), d.rh, comma(d.wind), comma(at_five(t, d))],
        separator=";",
    ),
    "milliseconds since 1970 of a database": hourly(
        "created_at_ms,temp_c,humidity,wind_ms,rain_mm",
        lambda t, d, c: [f"{t.replace(tzinfo=dt.UTC).timestamp() * 1000:.0f}", c, d.rh, d.wind, at_five(t, d)],
    ),
}


@pytest.mark.parametrize("content", HOURS.values(), ids=HOURS.keys())
def test_hours_of_ordinary_exports_are_read_as_they_come(tmp_path, content):
    agrees(read_pasted(written(tmp_path, content), times=0), ("tmin", "tmax", "rain", "rh_mean", "wind"))


def test_a_file_a_quantity_below_its_description_is_read(tmp_path):
    """A line of names, words about them and units stands above; the words are no name of the quantity."""

    def of(name, about, unit, figure):
        head = f"Namn;Beskrivning;Enhet\n{name};{about};{unit}\n\n"
        return hourly(
            f"Datum;Tid (UTC);{name};Kvalitet",
            lambda t, d, c: [f"{t:%Y-%m-%d}", f"{t:%H:%M:%S}", figure(t, d, c), "G"],
            above=head,
            separator=";",
        )

    files = [
        of("Lufttemperatur", "momentanvärde, 1 gång/tim", "celsius", lambda t, d, c: c),
        of("Vindhastighet", "medelvärde 10 min, 1 gång/tim", "meter per sekund", lambda t, d, c: d.wind),
        of("Nederbördsmängd", "summa 1 timme", "millimeter", lambda t, d, c: at_five(t, d)),
    ]
    paths = [written(tmp_path, content, f"{i}.csv") for i, content in enumerate(files)]
    agrees(read_pasted(paths, times=0), ("tmin", "tmax", "rain", "wind"))


WORDED = {
    "temperatures of low and high": "All temperatures in Fahrenheit, rain in inches, wind in mph.",
    "a line each": "temperature: °F\nrain: in\nwind: mph",
}


@pytest.mark.parametrize("above", WORDED.values(), ids=WORDED.keys())
def test_units_that_words_above_a_table_name_are_of_its_columns(tmp_path, above):
    content = daily(
        "Date,Low,High,Rain,Avg wind,Avg humidity",
        lambda d: [d.date, f(d.tmin), f(d.tmax), inches(d.rain), round(d.wind / 0.44704, 2), d.rh],
        above=f"{above}\n\n",
    )
    agrees(read_pasted(written(tmp_path, content)), ("tmin", "tmax", "rain", "rh_mean", "wind"))


def plain(tmp_path, *, above="", header="date,tmin,tmax,rh_mean,wind,rain"):
    rows = lambda d: [d.date, d.tmin, d.tmax, d.rh, d.wind, d.rain]  # noqa: E731
    return written(tmp_path, daily(header, rows, above=above))


CONTRADICTED = {
    "a row of units, and words above": ("Wind speed in m/s\n\n", "date,tmin,tmax,rh_mean,wind,rain\n,°C,°C,%,mph,mm"),
    "words above, and the header": ("wind: mph\n\n", "date,tmin,tmax,rh_mean,wind (m/s),rain"),
    "the header, and a row of units": ("", "date,tmin,tmax,rh_mean,wind (m/s),rain\n,°C,°C,%,mph,mm"),
}


@pytest.mark.parametrize(("above", "header"), CONTRADICTED.values(), ids=CONTRADICTED.keys())
def test_a_column_of_which_the_file_states_two_units_is_asked_about(tmp_path, above, header):
    path = plain(tmp_path, above=above, header=header)
    with pytest.raises(WeatherError, match=r"two units of .*, (m/s and mph|mph and m/s)") as caught:
        read_weather(path, SITE)
    assert pasted(str(caught.value))["wind"]["unit"] == "?"
    name = "wind (m/s)" if "(m/s)" in header else "wind"
    agrees(read_weather(path, SITE, columns={"wind": {"column": name, "unit": "m/s"}}), ("wind",))


def test_a_unit_that_header_and_row_of_units_write_otherwise_is_one(tmp_path):
    agrees(
        read_weather(plain(tmp_path, header="date,tmin (°C),tmax,rh_mean,wind (mps),rain\n,C,C,%,m/s,mm"), SITE),
        ("wind",),
    )


CELSIUS = {
    "a row of units": ("", "\n,°F,°F,%,m/s,mm"),
    "words above": ("temperatures in deg F; wind in m/s; rain in mm\n\n", ""),
}


@pytest.mark.parametrize(("above", "below"), CELSIUS.values(), ids=CELSIUS.keys())
def test_figures_in_celsius_that_the_file_calls_fahrenheit_are_refused(tmp_path, above, below):
    """A June of −3 °C that is 20 °C if the figures stand as they are."""
    days = [day(i) for i in range(40)]
    header = f"date,tmin,tmax,rh_mean,wind,rain{below}"
    rows = lambda d: [d.date, d.tmin, d.tmax, 60, d.wind, d.rain]  # noqa: E731
    path = written(tmp_path, daily(header, rows, above=above, days=days))
    with pytest.raises(WeatherError, match="looks like °C in the file and not °F") as caught:
        read_weather(path, SITE)
    weather = read_weather(path, SITE, columns=pasted(str(caught.value)))
    assert weather.daily["tmax"].to_list() == [d.tmax for d in days]


@pytest.mark.parametrize(
    ("above", "header", "said"),
    [
        ("Anemometer height: 10 m\n\n", "date,tmin,tmax,rh_mean,wind,rain", None),
        (
            "Anemometer height: 2 m\n\n",
            "date,tmin,tmax,rh_mean,wind 10m,rain",
            "from a gauge at 10 m, and the file says that it is measured at 2 m",
        ),
        ("Wind speed (m/s) at 10 m\n\n", "date,tmin,tmax,rh_mean,wind_10m,rain", None),
        ("Height of the wind gauge: 10 m\n\n", "date,tmin,tmax,rh_mean,wind,rain", None),
        ("Altura del anemómetro;10 metros;\n\n", "date,tmin,tmax,rh_mean,wind,rain", None),
        ("Anemometerhöhe: 10 m über Grund\n\n", "date,tmin,tmax,rh_mean,wind,rain", None),
    ],
    ids=["above alone", "above and header", "alike", "height first", "Spanish", "one word"],
)
def test_the_height_of_the_gauge_is_read_above_the_table_and_doubted_where_the_header_has_another(
    tmp_path, above, header, said
):
    weather = read_pasted(plain(tmp_path, above=above, header=header))
    agrees(weather, ("wind",), height=10.0)
    assert not any(str(remark).endswith(";") for remark in weather.notes)  # cells without anything
    found = [caution.sentence for caution in weather.cautions if caution.name == "gauge-height"]
    assert (said is None and not found) or said in found[0]


def test_a_gauge_at_another_height_than_the_scenario_says_is_doubted(tmp_path):
    weather = read_pasted(plain(tmp_path, header="date,tmin,tmax,rh_mean,wind_10m,rain"), wind_height=2.0)
    doubted = next(caution for caution in weather.cautions if caution.name == "gauge-height")
    assert "(-" in doubted.worth


@pytest.mark.parametrize(
    ("above", "doubts"),
    [
        ("Latitude: 34.9 N, Longitude: 0.2 E", 1),
        ("Latitude: 35.1 N", 0),
        ("LATITUDE:;38,2", 0),
        ("Latitude (decimal degrees):\t-38.1", 1),
        ("Geogr. Breite: 33°50' N", 1),
        ("Geogr. Breite: 38°10' N", 0),
        ("Breite des Gartens: 12 m", 0),
        ("Id;Lat\n12;38.2", 0),
        ("Longitude: 3.1", 0),
    ],
)
def test_a_latitude_above_the_table_that_is_not_the_sites_is_a_doubt(tmp_path, above, doubts):
    """The site lies at 38: 3° and less are near."""
    weather = read_weather(plain(tmp_path, above=f"{above}\n\n"), SITE)
    assert len(weather.doubts) == doubts, weather.doubts


def test_suspect_figures_with_a_letter_behind_are_read_and_noted(tmp_path):
    def row(t, d, c):
        mark = "s" if t.hour == 9 else "*" if t.hour == 10 else ""
        return [f"{t:%Y-%m-%dT%H}:53:00", f"{c}{mark}", d.rh, d.wind, at_five(t, d)]

    content = hourly("DATE,Temp (°C),RH (%),Wind (m/s),Rain (mm)", row)
    weather = read_pasted(written(tmp_path, content), times=0)
    agrees(weather, ("tmin", "tmax", "rain", "wind"))
    assert "48 figures with s or * behind, as services mark what is suspect, are read as they stand" in weather.notes


@pytest.mark.parametrize("columns", [{}, {"vapour_pressure": {"column": "VPD (hPa)"}}], ids=["found", "named"])
def test_a_days_deficit_of_vapour_pressure_is_subtracted_from_saturation(tmp_path, columns):
    """FAO-56 eq 12: of 18 °C and 30 °C the mean is 3.1535 kPa (annex 2, table 2.3: 2.064 and 4.243), less 1.2 kPa."""
    rows = lambda d: [d.date, 18.0, 30.0, 12.0, d.wind, d.rain]  # noqa: E731
    path = written(tmp_path, daily("date,tmin,tmax,VPD (hPa),wind,rain", rows))
    weather = read_weather(path, SITE, columns=columns)
    assert weather.daily["vapour_pressure"].to_list() == pytest.approx([1.9535] * 24, abs=0.001)
    assert any("is a deficit" in each for each in weather.notes)


def test_a_deficit_beside_a_humidity_is_not_used(tmp_path):
    rows = lambda d: [d.date, d.tmin, d.tmax, d.rh, 12.0, d.wind, d.rain]  # noqa: E731
    path = written(tmp_path, daily("date,tmin,tmax,rh_mean,VPD (hPa),wind,rain", rows))
    agrees(read_weather(path, SITE), ("rh_mean",))


def test_a_workbook_with_a_sheet_a_month_and_days_by_their_number_is_one_table(tmp_path):
    def month(name, days):
        head = [[f"Garden weather {name}"], ["Day", "High (°C)", "Low (°C)", "Rain (mm)", "Notes"]]
        return [*head, *([*figures] for figures in days), ["Avg/Tot", 28.1, 14.2, 9.9]]

    before = [(n, 25.5, 12.5, 0.0) for n in range(1, TRUTH[0].date.day)]
    june = [*before, *((d.date.day, d.tmax, d.tmin, d.rain) for d in TRUTH)]
    may = [(n, 25.5, 12.5, 0.0) for n in range(1, 32)]
    sheets = {name: month(name, days) for name, days in (("May 2025", may), ("June 2025", june))}
    agrees(read_pasted(written(tmp_path, workbook(sheets), "log.xlsx")), ("tmin", "tmax", "rain"))


@pytest.mark.parametrize("across", [True, False], ids=["a row a month", "a row a day"])
def test_a_workbook_with_a_sheet_a_quantity_is_one_table(tmp_path, across):
    names = {"teplota maximální": "tmax", "teplota minimální": "tmin", "úhrn srážek": "rain"}
    units = {"tmax": "°C", "tmin": "°C", "rain": "mm"}

    def sheet(title, name):
        head = [[f"{title} ({units[name]})"], ["stanice: Lhota"]]
        if not across:
            return [*head, ["Datum", "Hodnota"], *([d.date, getattr(d, name)] for d in TRUTH)]
        figures = [None] * (TRUTH[0].date.day - 1) + [getattr(d, name) for d in TRUTH]
        return [*head, ["rok", "měsíc", *(f"{n}." for n in range(1, 32))], [2025, 6, *figures]]

    sheets = {title: sheet(title, name) for title, name in names.items()}
    agrees(read_pasted(written(tmp_path, workbook(sheets), "data.xlsx")), ("tmin", "tmax", "rain"))


def test_sheets_of_two_stations_are_still_refused(tmp_path):
    rows = [["date", "tmin", "tmax", "rain"], *([d.date, d.tmin, d.tmax, d.rain] for d in TRUTH)]
    with pytest.raises(WeatherError, match="on 2 sheets"):
        read_weather(written(tmp_path, workbook({"Lhota": rows, "Horka": rows}), "two.xlsx"), SITE)


def test_figures_in_celsius_under_kelvin_are_read_once_that_is_pasted(tmp_path):
    """The unit of the header can't be right then, and nothing is computed by it."""
    weather = read_pasted(plain(tmp_path, header="date,Tmin [K],Tmax [K],rh_mean,wind,rain"))
    agrees(weather, ("tmin", "tmax"))
    assert not [caution for caution in weather.cautions if caution.name == "header-unit"]


@pytest.mark.parametrize("below", ["mm/h", "Bft", "fraction", "°C"])
def test_a_row_of_units_of_another_kind_is_passed_over(tmp_path, below):
    """Two units are compared only where both are of a quantity that days have."""
    path = plain(tmp_path, header=f"date,tmin,tmax,rh_mean,wind,rain (mm)\n,°C,°C,%,m/s,{below}")
    agrees(read_weather(path, SITE), ("rain",))


def test_names_of_two_lines_over_columns_that_only_blanks_part_are_put_together(tmp_path):
    head = "                Temp   Hi     Out   Wind\n  Date   Time    Out   Speed  Hum   Speed  Rain\n" + "-" * 46
    rows = "\n".join(
        f"{d.date:%d/%m/%y} {hour:2}:00 {f(d.tmin):6} {9.9:6} {d.rh:5} {d.wind:6} {inches(d.rain / 24):6.3f}"
        for d in TRUTH
        for hour in range(24)
    )
    with pytest.raises(WeatherError, match='"Wind Speed" names no unit'):
        read_weather(written(tmp_path, f"{head}\n{rows}\n"), SITE)


@pytest.mark.parametrize("second", ["date,tmin,soil,tmax,rain,battery", "date,rain,tmax,tmin,note,battery"])
def test_rows_under_a_second_header_are_read_by_its_names(tmp_path, second):
    first = daily("date,tmin,tmax,rain", lambda d: [d.date, d.tmin, d.tmax, d.rain], days=TRUTH[:9])
    figures = lambda d: {"date": d.date, "tmin": d.tmin, "tmax": d.tmax, "rain": d.rain}  # noqa: E731
    rest = daily(second, lambda d: [figures(d).get(name, 3.9) for name in second.split(",")], days=TRUTH[9:])
    agrees(read_weather(written(tmp_path, first + rest), SITE), ("tmin", "tmax", "rain"))


@pytest.mark.parametrize("times", [1, 2])
def test_months_over_rows_that_have_their_date_are_passed_over(tmp_path, times):
    rows = [f"{d.date},{d.tmin},{d.tmax},{d.rain}" for d in TRUTH]
    for i in range(times):
        rows.insert(8 * (i + 1), "June 2025")
    weather = read_weather(written(tmp_path, "\n".join(["date,tmin,tmax,rain", *rows, ""])), SITE)
    agrees(weather, ("tmin", "tmax", "rain"))


def test_rows_read_at_nine_are_said_to_be_so_where_the_file_is_named(tmp_path):
    content = daily("time,tmin,tmax,rain,RH 0900", lambda d: [f"{d.date} 09:00", d.tmin, d.tmax, d.rain, d.rh])
    weather = read_weather(written(tmp_path, content), SITE)
    assert "the time 09:00: its figures are taken for that day" in weather.provenance["recognised"]
    assert not any("RH 0900" in note and "rh_mean" in note for note in weather.notes)


@pytest.mark.parametrize(
    ("header", "row", "said"),
    [
        (
            "Hour,Temp °C,RH %,Rain mm",
            "{hour:02}:00,20.1,60,0",
            'line 2: "Hour" has times of day or numbers of hours, as 00:00, and no column',
        ),
        ("t,time,WaterTemp,RH,Rain", "{n},{day} {hour:02}:00,18.1,60,0", "no column is an air temperature"),
        ("date,T. mín. (°C),T. máx. (°C),H.R. máx. (%)", "{day},14,28,90", 'rh_max = { column = "H.R. máx. (%)"'),
    ],
    ids=["times without dates", "rows numbered under t", "letters with points"],
)
def test_what_is_said_of_columns_is_what_is_wrong(tmp_path, header, row, said):
    rows = [row.format(n=24 * i + hour, day=d.date, hour=hour) for i, d in enumerate(TRUTH) for hour in range(24)]
    with pytest.raises(WeatherError) as refusal:
        read_weather(written(tmp_path, "\n".join([header, *rows, ""])), SITE)
    assert said in str(refusal.value)
    assert "0.1 degC" not in str(refusal.value)
