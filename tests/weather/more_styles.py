"""
More styles: weather as stations and services of many languages write it, and in ways that few do. All is invented, as in `styles`.
"""

from __future__ import annotations

import datetime as dt

from tests.weather.styles import (
    BASE,
    HUMID,
    SUN,
    TRUTH,
    WIND,
    Style,
    at_five,
    comma,
    daily,
    f,
    hourly,
    inches,
    kmh,
)

MORE_STYLES = {
    "French words": Style(
        daily(
            "Date;Température minimale (°C);Température maximale (°C);Précipitations (mm);Vent moyen (km/h);"
            "Rayonnement global (J/cm²);Humidité moyenne (%)",
            lambda d: [
                *(f"{d.date:%d/%m/%Y}", comma(d.tmin), comma(d.tmax), comma(d.rain), comma(kmh(d.wind))),
                *(round(d.radiation * 100), d.rh),
            ],
            separator=";",
        ).encode("latin-1"),
        (*BASE, *WIND, *SUN, *HUMID),
    ),
    "Czech words in their own code page": Style(
        daily(
            "Datum;Minimální teplota (°C);Maximální teplota (°C);Srážky (mm);Průměrná rychlost větru (m/s);Relativní vlhkost (%)",
            lambda d: [f"{d.date.day}.{d.date:%m.%Y}", *map(comma, (d.tmin, d.tmax, d.rain, d.wind)), d.rh],
            separator=";",
        ).encode("cp1250"),
        (*BASE, *WIND, *HUMID),
    ),
    "Dutch words": Style(
        daily(
            "Datum;Minimumtemperatuur (°C);Maximumtemperatuur (°C);Neerslag (mm);Gemiddelde windsnelheid (m/s);"
            "Windstoot (m/s);Globale straling (J/cm²);Relatieve luchtvochtigheid (%)",
            lambda d: [
                *(f"{d.date.day}-{d.date.month}-{d.date.year}", *map(comma, (d.tmin, d.tmax, d.rain, d.wind))),
                *(9, round(d.radiation * 100), d.rh),
            ],
            separator=";",
        ),
        (*BASE, *WIND, *SUN, *HUMID),
    ),
    "Portuguese words under a station's lines": Style(
        daily(
            "Data Medição;PRECIPITAÇÃO TOTAL, DIÁRIO(mm);TEMPERATURA MAXIMA, DIARIA(°C);TEMPERATURA MINIMA, DIARIA(°C);"
            "UMIDADE RELATIVA DO AR, MEDIA DIARIA(%);VENTO, VELOCIDADE MEDIA DIARIA(m/s);",
            lambda d: [d.date, *map(comma, (d.rain, d.tmax, d.tmin)), d.rh, comma(d.wind), ""],
            above="Nome: INVENTADO\nAltitude: 100\n\n",
            separator=";",
        ),
        (*BASE, *WIND, *HUMID),
    ),
    "Polish words, year, month and day apart": Style(
        daily(
            '"Rok","Miesiąc","Dzień","Maksymalna temperatura dobowa [°C]","Minimalna temperatura dobowa [°C]",'
            '"Suma dobowa opadów [mm]","Rodzaj opadu"',
            lambda d: [d.date.year, d.date.month, d.date.day, d.tmax, d.tmin, d.rain, ""],
        ),
    ),
    "Danish words": Style(
        daily(
            "DateTime;Laveste temperatur (°C);Højeste temperatur (°C);Nedbør (mm);Middelvind (m/s)",
            lambda d: [f"{d.date} 00:00:00", *map(comma, (d.tmin, d.tmax, d.rain, d.wind))],
            separator=";",
        ),
        (*BASE, *WIND),
    ),
    "German station, indoors and rain since midnight": Style(
        hourly(
            "Zeit;Außentemperatur(°C);Innentemperatur(°C);Außenluftfeuchtigkeit(%);Windgeschwindigkeit(km/h);Böe(km/h);Regen Tag(mm)",
            lambda when, d, t: [
                *(f"{when:%d.%m.%Y %H:%M}", comma(t), "23,1", d.rh, comma(kmh(d.wind)), 30),
                comma(d.rain if when.hour >= 5 else 0.0),
            ],
            separator=";",
        ),
        (*BASE, *WIND),
    ),
    "Swedish words of one piece, a gust alone": Style(
        daily(
            "Datum;Maxtemperatur (°C);Mintemperatur (°C);Regn (mm);Vindby (m/s)",
            lambda d: [d.date, *map(comma, (d.tmax, d.tmin, d.rain, round(2.0 * d.wind, 1)))],
            separator=";",
        ),
    ),
    "insolation in hours, behind a comma": Style(
        daily(
            "Jour;Insolation, h;Rayonnement solaire, J/cm²;Température maximale, °C;Température minimale, °C;Pluie, mm",
            lambda d: [d.date, "8,1", round(100.0 * d.radiation), *map(comma, (d.tmax, d.tmin, d.rain))],
            separator=";",
        ),
        (*BASE, *SUN),
    ),
    "German station, rain of a spell and in all": Style(
        hourly(
            "Zeit;Außentemperatur(°C);Außenluftfeuchte(%);Windgeschwindigkeit(km/h);Regenereignis(mm);Regen gesamt(mm)",
            lambda when, d, t: [
                *(f"{when:%d.%m.%Y %H:%M}", comma(t), d.rh, comma(kmh(d.wind)), comma(d.rain * (5 <= when.hour < 20))),
                comma(round(sum(o.rain for o in TRUTH if o.date < d.date) + d.rain * (when.hour >= 5), 1)),
            ],
            separator=";",
        ),
        (*BASE, *WIND),
    ),
    "rain since midnight, in English": Style(
        hourly(
            "Time,Temperature (°C),Humidity (%),Wind Speed (km/h),Rain since midnight (mm)",
            lambda when, d, t: [f"{when:%Y-%m-%d %H:%M}", t, d.rh, kmh(d.wind), d.rain if when.hour >= 5 else 0.0],
        ),
        (*BASE, *WIND),
    ),
    "year, day of the year, hours and minutes in one": Style(
        hourly(
            "Year,DOY,HourMin,AirTC_Avg,RH,WS_ms_Avg,Rain_mm_Tot",
            lambda when, d, t: [
                when.year,
                when.timetuple().tm_yday,
                100 * when.hour,
                t,
                d.rh,
                d.wind,
                at_five(when, d),
            ],
        ),
        (*BASE, *WIND),
    ),
    "Spanish station, a. m. and p. m.": Style(
        hourly(
            "Fecha y hora;Temp. exterior (°C);Hum. exterior (%);Vel. viento (km/h);Lluvia (mm)",
            lambda when, d, t: [
                f"{when.day}/{when.month}/{when.year} {(when.hour - 1) % 12 + 1}:00:00 {'ap'[when.hour > 11]}. m.",
                *(comma(t), d.rh, comma(kmh(d.wind)), comma(at_five(when, d))),
            ],
            separator=";",
        ),
        (*BASE, *WIND),
    ),
    "rainfall of 24 hours, days of a service at midnight UTC": Style(
        daily(
            "Date,Lowest Temp (°C),Highest Temp (°C),24h Rainfall (mm),Mean Windspeed (kt)",
            lambda d: [f"{d.date}T00:00+00:00", d.tmin, d.tmax, d.rain, round(d.wind / 0.514444, 2)],
        ),
        (*BASE, *WIND),
    ),
    "codes explained above by two spaces": Style(
        daily(
            "stn;time;tre200dn;tre200dx;rre150d0;ure200d0",
            lambda d: ["XYZ", f"{d.date:%Y%m%d}", d.tmin, d.tmax, d.rain, d.rh],
            above=(
                "tre200dn  [°C]  Lufttemperatur 2 m über Boden; Tagesminimum\n"
                "tre200dx  [°C]  Lufttemperatur 2 m über Boden; Tagesmaximum\nrre150d0  [mm]  Niederschlag; Tagessumme\n"
                "ure200d0  [%]  Relative Luftfeuchtigkeit 2 m über Boden; Tagesmittel\n\n"
            ),
            separator=";",
        ),
        (*BASE, *HUMID),
    ),
    "seconds since 1970": Style(
        hourly(
            "dateTime,interval,outTemp (°C),outHumidity (%),rain (mm)",
            lambda when, d, t: [round(when.replace(tzinfo=dt.UTC).timestamp()), 60, t, d.rh, at_five(when, d)],
        ),
    ),
    "console's memory, names over each column": Style(
        hourly(
            "\t\tTemp\tHi\tOut\tWind\tWind\tTHW\t\t\tRain\tIn\n"
            "Date\tTime\tOut\tTemp\tHum\tSpeed\tDir\tIndex\tBar\tRain\tRate\tTemp",
            lambda when, d, t: [
                f"{when.day}/{when:%m/%y}",
                f"{when:%H:%M}",
                *(t, t, d.rh, d.wind, "NW", t, 1013.2, at_five(when, d), 0.0, 22.0),
            ],
            separator="\t",
        ),
    ),
    "groups over names, the sun's with another": Style(
        hourly(
            ",Outdoor,,Indoor,Solar and UVI,,Rainfall\nTime,Temperature(℃),Humidity(%),Temperature(℃),Solar(W/m²),UVI,Hourly(mm)",
            lambda when, d, t: [when, t, d.rh, 21.0, d.radiation / 0.0864, 3, at_five(when, d)],
        ),
        (*BASE, *SUN),
    ),
    "names over the first of three columns": Style(
        daily(
            "年月日,最高気温(℃),最高気温(℃),最低気温(℃),最低気温(℃),降水量の合計(mm),降水量の合計(mm)\n,,,,,,\n,,品質情報,,品質情報,,品質情報",
            lambda d: [f"{d.date.year}/{d.date.month}/{d.date.day}", d.tmax, 8, d.tmin, 8, d.rain, 8],
            above=",架空,架空,架空,架空,架空,架空\n",
        ).encode("cp932"),
    ),
    "days across with a point behind": Style(
        "stanice;prvek;rok;měsíc;"
        + ";".join(f"{i}." for i in range(1, 32))
        + "\n"
        + "".join(
            f"X;{name};2025;06;" + ";".join([""] * 3 + [comma(getattr(d, key)) for d in TRUTH] + [""] * 4) + "\n"
            for name, key in (
                ("Teplota maximální (°C)", "tmax"),
                ("Teplota minimální (°C)", "tmin"),
                ("Úhrn srážek (mm)", "rain"),
            )
        ),
    ),
    "times with a point": Style(
        hourly(
            "Data;Ora;Temperatura aria (°C);Precipitazione (mm)",
            lambda when, d, t: [f"{when:%d/%m/%Y}", f"{when:%H.%M}", comma(t), comma(at_five(when, d))],
            separator=";",
        ),
    ),
    "sensor after sensor": Style(
        "entity_id,state,last_changed\n"
        + "".join(
            f"sensor.garden_{name},{value},{d.date}T{hour:02}:00:00.000Z\n"
            for name in ("temperature", "rain")
            for d in TRUTH
            for hour in range(24)
            for value in [(d.rain if hour == 5 else 0.0) if name == "rain" else d.tmax if hour == 14 else d.tmin]
        ).replace(f"{TRUTH[4].tmin},{TRUTH[4].date}T20", f"unavailable,{TRUTH[4].date}T20"),
    ),
    "pressure in inches by its cells": Style(
        daily(
            "Date,Temperature High,Temperature Low,Pressure,Pressure Low,Rain Total",
            lambda d: [d.date, f"{f(d.tmax)} °F", f"{f(d.tmin)} °F", "29.61 in", "29.60 in", f"{inches(d.rain)} in"],
        ),
    ),
    "national service in capitals, J/cm²": Style(
        daily(
            "AAAAMMJJ;RR;TN;TX;FFM;UN;UX;GLOT (J/cm2);QGLOT",
            lambda d: [
                f"{d.date:%Y%m%d}",
                d.rain,
                d.tmin,
                d.tmax,
                d.wind,
                d.rh - 10,
                d.rh + 10,
                round(d.radiation * 100),
                1,
            ],
            separator=";",
        ),
        (*BASE, *WIND, *SUN, *HUMID),
    ),
    "humidity as hr, wind in a language's one word": Style(
        daily(
            "fecha;tmin;tmax;prec;Keskituulen nopeus [m/s];hrMedia",
            lambda d: [d.date, *map(comma, (d.tmin, d.tmax, d.rain, d.wind, d.rh))],
            separator=";",
        ),
        (*BASE, *WIND, *HUMID),
    ),
    "a month's means and sums among the rows": Style(
        daily("Date,Max Temp (C),Min Temp (C),Rain (mm),Sun (hrs)", lambda d: [d.date, d.tmax, d.tmin, d.rain, 8])
        + "June mean/total,30.1,14.0,40.2,240\nTotal 2025,30.1,14.0,40.2,240\n",
    ),
    "a line of units with a form of dates, rF, a mean below": Style(
        daily(
            "Tag;Tmax;Tmin;rF mittel;Wind 2 m;Niederschlag;Globalstrahlung",
            lambda d: [f"{d.date:%d.%m.%y}", *map(comma, (d.tmax, d.tmin, d.rh, d.wind, d.rain, d.radiation))],
            above="",
            separator=";",
            below="Mittel;29,9;14,0;70;2,0;;22\n",
        ).replace("strahlung\n", "strahlung\nTT.MM.JJ;°C;°C;%;m/s;mm;MJ/m²\n"),
        (*BASE, *WIND, *SUN, *HUMID),
    ),
    "names of one word, a remark below": Style(
        daily(
            "Navn;Tid;Minimumstemperatur (døgn);Maksimumstemperatur (døgn);Nedbør (døgn);Soltimer (døgn)",
            lambda d: ["Oppdiktet", f"{d.date:%d.%m.%Y}", *map(comma, (d.tmin, d.tmax, d.rain, 8.5))],
            separator=";",
            below="Data er gyldig per 27.11.2025, en oppdiktet tjeneste;;;;;\n",
        ),
        BASE,
    ),
    "hours of digits under their form, a service's short names": Style(
        hourly(
            "POSTE;AAAAMMJJHH;RR1;T;U;GLO",
            lambda when, d, t: [99, f"{when:%Y%m%d%H}", at_five(when, d), t, d.rh, round(d.radiation * 100 / 24, 1)],
            separator=";",
        ),
        (*BASE, *SUN, *HUMID),
        near=0.11,
    ),
    "time of four digits as HoraMin": Style(
        hourly(
            "Fecha;HoraMin;TempMedia (ºC);Precipitación (mm)",
            lambda when, d, t: [f"{when:%d/%m/%Y}", f"{when:%H%M}", comma(t), comma(at_five(when, d))],
            separator=";",
        ),
    ),
    "from and to in one column": Style(
        hourly(
            "Periode;Luchttemperatuur (°C);Neerslag (mm)",
            lambda when, d, t: [
                f"{when:%d-%m-%Y %H:%M} - {when + dt.timedelta(hours=1):%d-%m-%Y %H:%M}",
                comma(t),
                comma(at_five(when, d)),
            ],
            separator=";",
        ),
    ),
    "a word behind the hour, a unit of relative humidity": Style(
        hourly(
            "Datum/Zeit;Temperatur;Feuchte;Regen\n;°C;% rF;mm",
            lambda when, d, t: [f"{when:%d.%m.%Y, %H:%M} Uhr", comma(t), d.rh, comma(at_five(when, d))],
            separator=";",
        ),
        (*BASE, *HUMID),
    ),
    "times of day with points": Style(
        hourly(
            "Data e ora;Temperatura aria (°C);Precipitazione (mm)",
            lambda when, d, t: [f"{when:%d/%m/%Y %H.%M}", comma(t), comma(at_five(when, d))],
            separator=";",
        ),
    ),
    "cells in apostrophes": Style(
        daily(
            "'Datum';'Temp. min. (°C)';'Temp. max. (°C)';'Niederschlag (mm)'",
            lambda d: [f"'{d.date:%d.%m.%Y}'", *(f"'{each}'" for each in (d.tmin, d.tmax, d.rain))],
            separator=";",
        ),
    ),
    "an hour by its beginning and end, without a blank between": Style(
        hourly(
            "Date,Hour,Dry bulb (°C),Rain (mm)",
            lambda when, d, t: [
                f"{when:%d/%m/%Y}",
                f"{when.hour}:00-{when.hour + 1}:00",
                t,
                at_five(when, d),
            ],
        ),
    ),
    "an hour by two numbers": Style(
        hourly(
            "Date,Temperature (°C),Rain (mm)",
            lambda when, d, t: [f"{when:%d/%m/%Y} {when.hour:02d}-{when.hour + 1:02d}", t, at_five(when, d)],
        ),
    ),
    "days numbered below their month, under a header that comes again": Style(
        "Weather 2025\n"
        + "".join(
            f"{name},,,\nDay,Max °C,Min °C,Rain mm\n"
            + "".join(f"{d.date.day},{d.tmax},{d.tmin},{d.rain}\n" for d in TRUTH if d.date.month == month)
            + f"Total,,,{sum(d.rain for d in TRUTH if d.date.month == month):.1f}\n\n"
            for month, name in ((6, "June"), (7, "July"))
        ),
    ),
    "Beaufort": Style(
        daily("date,tmin,tmax,rain,Wind (Bft)", lambda d: [d.date, d.tmin, d.tmax, d.rain, 2]),
        (*BASE, *WIND),
        near=0.51,  # Beaufort 2 is 1.6 to 3.3 m/s
        wind_height=10.0,
    ),
    "rain of 24 hours that is read in the morning": Style(
        daily(
            "Date,Min temp °C,Max temp °C,Rainfall in 24 hours to 9 am (mm)", lambda d: [d.date, d.tmin, d.tmax, d.rain]
        ),
    ),
    "a row a reading at fixed hours, with the day's extremes": Style(
        "Date,Hour,RH (%),Wind (m/s),tmax,tmin,Rain (mm)\n"
        + "".join(
            f"{d.date},7,{d.rh + 9},1.0,,{d.tmin},{d.rain / 2:.2f}\n{d.date},14,{d.rh - 14},3.5,,,\n"
            f"{d.date},21,{d.rh + 5},1.5,{d.tmax},,{d.rain / 2:.2f}\n"
            for d in TRUTH
        ),
        (*BASE, *WIND, *HUMID),
    ),
    "a column a reading at fixed hours": Style(
        daily(
            "Datum;Tmax;Tmin;RF 7 h;RF 14 h;RF 21 h;Regen\n;°C;°C;%;%;%;mm",
            lambda d: [
                f"{d.date:%d.%m.%Y}",
                *map(comma, (d.tmax, d.tmin)),
                *(comma(d.rh + more) for more in (9.5, -14.5, 5)),
                comma(d.rain),
            ],
            separator=";",
        ),
        (*BASE, *HUMID),
    ),
    "wind as a day's run": Style(
        daily(
            "Tag;Tmax °C;Tmin °C;Wind Run (km);Niederschlag mm",
            lambda d: [f"{d.date:%d.%m.%Y}", d.tmax, d.tmin, round(d.wind * 86.4, 1), d.rain],
            separator=";",
        ),
        (*BASE, *WIND),
    ),
    "days across, a row a quantity": Style(
        "\n".join(
            ",".join(map(str, row))
            for row in zip(
                ["Parameter", "Max temp (°C)", "Min temp (°C)", "Rain (mm)"],
                *((d.date, d.tmax, d.tmin, d.rain) for d in TRUTH),
                strict=True,
            )
        )
    ),
    "a month named on its first day's row": Style(
        "Month,Day,Max (°C),Min (°C),Rain (mm)\n"
        + "".join(
            f"{'June 2025' if i == 0 else ''},{d.date.day},{d.tmax},{d.tmin},{d.rain}\n" for i, d in enumerate(TRUTH)
        ),
    ),
    "tenths in a legend": Style(
        daily(
            "DATE,TX,TN,RR",
            lambda d: [f"{d.date:%Y%m%d}", *(round(10 * value) for value in (d.tmax, d.tmin, d.rain))],
            above="TX = maximum temperature (in 0.1 degrees Celsius)\nTN = minimum temperature (in 0.1 degrees Celsius)\n"
            "RR = precipitation amount (in 0.1 mm)\n\n",
        ),
    ),
    "thousands with commas beside decimal points, and names with a height": Style(
        daily(
            "date,tmax_2m (°C),tmin_2m (°C),Solar (Wh/m²),rain",
            lambda d: [d.date, d.tmax, d.tmin, f'"{d.radiation / 0.0036:,.0f}"', d.rain],
        ),
        (*BASE, *SUN),
    ),
    "days that all have one time of day": Style(
        daily(
            "Date;Max temp (°C);Min temp (°C);Rain (mm)",
            lambda d: [f"{d.date:%d/%m/%Y} 23:59", d.tmax, d.tmin, d.rain],
            separator=";",
        ),
    ),
    "a year in the title alone": Style(
        daily(
            "Tag;Max °C;Min °C;Regen mm;Wind (km/u)",
            lambda d: [f"{d.date:%d.%m.}", d.tmax, d.tmin, d.rain, kmh(d.wind)],
            above="Garten 2025;;;;\n",
            separator=";",
        ),
        (*BASE, *WIND),
    ),
    "days in English with their endings, wind with its direction": Style(
        daily(
            "Day,Min °C,Max °C,Rain mm,Wind mph",
            lambda d: [
                f'"{d.date:%B} {d.date.day}{ {1: "st", 2: "nd", 3: "rd"}.get(d.date.day % 10, "th") }, 2025"',
                *(d.tmin, d.tmax, d.rain, f"SSW {d.wind / 0.44704:.2f}"),
            ],
        ),
        (*BASE, *WIND),
    ),
    "days in Spanish words, and months' sums without a word": Style(
        daily(
            "Día;Mínima (°C);Máxima (°C);Lluvia (mm)",
            lambda d: [f"{d.date.day} de junio de 2025", *map(comma, (d.tmin, d.tmax, d.rain))],
            separator=";",
            below=";;;35,2\n",
        ),
    ),
    "days in signs": Style(
        daily(
            "日期\t最低气温(℃)\t最高气温(℃)\t降水量(mm)",
            lambda d: [f"{d.date.year}年{d.date.month}月{d.date.day}日", d.tmin, d.tmax, d.rain],
            separator="\t",
        ).encode("utf-16"),
    ),
    "days with blanks, year first": Style(
        daily(
            "Nap;Min. hőm. (°C);Max. hőm. (°C);Csapadék (mm)",
            lambda d: [f"{d.date:%Y. %m. %d.}", *map(comma, (d.tmin, d.tmax, d.rain))],
            separator=";",
        ),
    ),
    "days by ISO weeks, highest and lowest in one cell": Style(
        daily(
            "Week,Max/Min °C,Rain (mm)",
            lambda d: ["{}-W{:02d}-{}".format(*d.date.isocalendar()), f"{d.tmax}/{d.tmin}", d.rain],
        ),
    ),
    "two figures in a cell under one name, a unit below": Style(
        daily(
            "Datum;Temperatur;Regen",
            lambda d: [f"{d.date:%d.%m.%Y}", f"{comma(d.tmin)} / {comma(d.tmax)}", comma(d.rain)],
            above="",
            separator=";",
        ).replace("Regen\n", "Regen\n;°C;mm\n"),
    ),
    "a word before the time of day": Style(
        hourly(
            "Aika;Lämpötila (°C);Sademäärä (mm)",
            lambda when, d, t: [
                f"{when.day}.{when.month}.{when.year} klo {when:%H:%M}",
                comma(t),
                comma(at_five(when, d)),
            ],
            separator=";",
        ),
    ),
    "units in a remark above": Style(
        daily(
            "Date,Minimum temperature,Maximum temperature,Rainfall,Wind speed",
            lambda d: [d.date, f(d.tmin), f(d.tmax), inches(d.rain), round(d.wind / 0.44704, 2)],
            above="# temperatures in °F, rainfall in inches, wind speed in mph, by hand\n",
        ),
        (*BASE, *WIND),
    ),
    "tenths in a remark with as many commas": Style(
        daily(
            "Datum,Minimum temperatuur,Maximum temperatuur,Neerslag",
            lambda d: [f"{d.date:%Y%m%d}", *(round(10 * value) for value in (d.tmin, d.tmax, d.rain))],
            above="# temperatuur in 0,1 graden Celsius, neerslag in 0,1 mm\n",
        ),
    ),
    "bars with a rule below the names": Style(
        "| Date | Min °C | Max °C | Rain mm |\n|---|---|---|---|\n"
        + "".join(f"| {d.date} | {d.tmin} | {d.tmax} | {d.rain} |\n" for d in TRUTH),
    ),
    "units in words and underscores": Style(
        daily(
            "date,tmin_degrees_celsius,tmax_degrees_celsius,precipitation_millimetres,wind_speed_2m_m_s,"
            "global_radiation_megajoules_per_square_metre",
            lambda d: [d.date, d.tmin, d.tmax, d.rain, d.wind, d.radiation],
        ),
        (*BASE, *WIND, *SUN),
    ),
    "days across with decimal commas": Style(
        "\n".join(
            ";".join(row)
            for row in zip(
                ["", "Tmax (°C)", "Tmin (°C)", "Regen (mm)"],
                *((f"{d.date:%d.%m.%Y}", comma(d.tmax), comma(d.tmin), comma(d.rain)) for d in TRUTH),
                strict=True,
            )
        )
    ),
    "blanks between columns, a line of units without one for the day": Style(
        "A GARDEN, DAYS\n\n  DATE        TMAX   TMIN   RAIN\n               (C)    (C)   (mm)\n"
        + "".join(f"  {d.date:%d/%m/%Y} {d.tmax:6.1f} {d.tmin:6.1f} {d.rain:6.1f}\n" for d in TRUTH),
    ),
    "days of the week in German, months over their rows": Style(
        daily(
            "Tag;Tiefstwert (°C);Höchstwert (°C);Niederschlag (mm)",
            lambda d: [
                f"{['Mo', 'Di', 'Mi', 'Do', 'Fr', 'Sa', 'So'][d.date.weekday()]}, {d.date:%d.%m.%Y}",
                *map(comma, (d.tmin, d.tmax, d.rain)),
            ],
            separator=";",
        ).replace("Fr, 06", "Juni 2025;;;\nFr, 06"),
    ),
    "marks between thousands that are none of decimals": Style(
        daily(
            "Date;Min (°C);Max (°C);Rain (mm);Global radiation (kJ/m²)",
            lambda d: [
                f"{d.date:%d.%m.%Y}",
                d.tmin,
                d.tmax,
                d.rain,
                f"{d.radiation * 1000:,.0f}".replace(",", "' "[d.date.day % 2]),
            ],
            separator=";",
        ),
        (*BASE, *SUN),
    ),
    "a model's units below": Style(
        daily(
            "time,t2m_min,t2m_max,total_precipitation,wind_speed_2m,surface_solar_radiation",
            lambda d: [
                *(d.date, d.tmin + 273.15, d.tmax + 273.15, d.rain / 1000, d.wind, round(d.radiation * 1e6)),
            ],
        ).replace("radiation\n", "radiation\n,K,K,m,m s**-1,J m**-2\n"),
        (*BASE, *WIND, *SUN),
    ),
    "a day in three columns beside a clock of more words than one, in Finnish": Style(
        hourly(
            "Havaintoasema,Vuosi,Kuukausi,Päivä,Aika [Paikallinen aika],Lämpötilan keskiarvo [°C],"
            "Suhteellisen kosteuden keskiarvo [%],Keskituulen nopeus keskiarvo [m/s],Tunnin sademäärä [mm]",
            lambda t, d, c: ["Mäki", t.year, t.month, t.day, f"{t:%H:%M}", c, d.rh, d.wind, at_five(t, d)],
        ),
        (*BASE, *WIND, *HUMID),
    ),
    "a year, a day of it, and hours and minutes in one number": Style(
        hourly(
            "Year,Day,HrMn,AirTC_Avg,RH,WS_ms_Avg,Rain_mm_Tot",
            lambda t, d, c: [t.year, t.timetuple().tm_yday, t.hour * 100, c, d.rh, d.wind, at_five(t, d)],
        ),
        (*BASE, *WIND, *HUMID),
    ),
}
