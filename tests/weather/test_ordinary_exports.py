"""
Ordinary exports: names, days, marks and head lines as people's files have them. Layouts are general, every number is invented (`styles`).
"""

from __future__ import annotations

import pytest

from tests.weather.styles import at_five, comma, daily, hourly
from tests.weather.test_far_styles import agrees, read_pasted, written

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
    "year, day of the year and hour": hourly(
        "Year,DOY,Hour,AirT_C,RH_%,WS_ms,Rain_mm",
        lambda t, d, c: [t.year, t.timetuple().tm_yday, f"{t.hour * 100:04d}", c, d.rh, d.wind, at_five(t, d)],
    ),
    "names over groups": hourly(
        "Time,Indoor,,Outdoor,,Wind,Rainfall\nTime,Temperature(℃),Humidity(%),Temperature(℃),Humidity(%),Wind Speed(m/s),Hourly(mm)",
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
