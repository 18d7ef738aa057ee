"""
Check page: what a weather file holds, and what a trial replay remarked on; and the same for a terminal.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from panbudget.reports.check.figures import march_band, march_figure, weather_figure, years_figure
from panbudget.reports.pages import Report, texts, words_of
from panbudget.reports.season.page import days_of, filled_rows
from panbudget.reports.season.spells import spell_lines, stands_out
from panbudget.reports.writing import Verb
from panbudget.season.years import listed
from panbudget.studies.check import Checked
from panbudget.studies.sensitivity import in_depth, in_percent
from panbudget.weather.checks.plausibility import TRUSTED, checks_made, not_judged
from panbudget.weather.flags import FROM_ESTIMATED, is_borrowed, said
from panbudget.words import SHOWN, amount, and_more, bare, count, days_said, kind_of

_section, _say = words_of("check")
_HOW: dict[str, str] = texts("check")["how"]
# findings that a screen shows, gravest first
_FINDINGS = 6
_MONTHS = {"eto_mm": "ETo [depth]", "rain_mm": "rain [depth]"}


def _values(checked: Checked) -> dict[str, Any]:
    """What the sentences about a record are filled with."""
    source, totals, scenario = checked.weather.provenance, checked.season.totals, checked.scenario
    return {
        **{"scenario": scenario, "source": source, "season": totals["season"], "weather": totals["weather"]},
        **{"valves": len(scenario.controller), "beds": len(totals["beds"]), "variants": len(scenario.variant)},
        "held": days_said(source["first"], source["last"]),
        "days": source["rows"],
        "span": days_said(totals["season"]["start"], totals["season"]["end"]),
        "filled": _how_complete(filled_rows(checked.season)),
    }


def check_sentences(checked: Checked) -> list[str]:
    """Say that the scenario is sound, and what the weather file holds."""
    typical = ["typical"] if checked.weather.provenance.get("typical") else []
    return [_say(key, **_values(checked)) for key in ("sound", *typical, "holds", "over")]


def check_report(checked: Checked, figures: Mapping[str, str]) -> Report:
    """
    Say what the page says.

    Parameters
    ----------
    checked : Checked
    figures : mapping
        Name -> SVG element, in the order of the page.
    """
    source, season = checked.weather.provenance, checked.season
    months = checked.by_month().rename_axis("month").reset_index()
    named = {c: _MONTHS.get(c, f"pan {c.removeprefix('pan_mm ')} [depth]") for c in months.columns[1:]}
    units = [{"column": name, "unit": unit} for name, unit in source["units"].items()]
    made = [{"what": k, "columns": ", ".join(names)} for k, names in checks_made(checked.weather.checks).items()]
    waves = [{**vars(wave), "when": days_said(str(wave.start), str(wave.end))} for wave in checked.heat.waves]
    others = [{**vars(way), "change": in_depth(way), "share": in_percent(way)} for way in checked.sensitivity]
    return Report(
        title=f"{season.totals['title']}: its weather, checked",
        when=days_of(season),
        first=[caution.sentence for caution in checked.weather.cautions],
        sections=[
            _section("figures", figures=figures, fill={"band": _say(f"band_{march_band(checked)}")}),
            _section("usable", table=_usable(checked)),
            _section("cautions", table=[caution._asdict() for caution in checked.weather.cautions]),
            _section("units", table=units, fill=source),
            _section("filled", table=filled_rows(season)),
            _section("fallbacks", table=_fallbacks(source.get("fallbacks", []))),
            _section("sensitivity", table=others),
            _section(
                "extremes",
                table=[{"what": f"{row['which']} {row['column']}", **_in_units(row)} for row in checked.extremes()],
            ),
            *stands_out(season),
            _section("heat", table=waves, note=checked.heat.definition),
            _section("months", table=months.rename(columns=named)),
            _section("checks", table=made),
            _section("assumed", items=season.assumptions),
            _section("notes", items=checked.weather.notes),
            _section("findings", findings=season.findings),
        ],
        method=False,
    )


def check_lines(checked: Checked, *, everything: bool = False) -> list[str]:
    """
    Say it for a terminal.

    Parameters
    ----------
    checked : Checked
    everything : bool
        Whether extremes, checks, assumptions, notes and the findings of a trial replay follow.

    Returns
    -------
    list of str
        What fits a screen: sound or not, years, what is missing, what was filled and what it is worth.
    """
    season, values, cautions = checked.season, _values(checked), checked.weather.cautions
    evaporated = values["weather"]["pan_evaporation_mm"]
    pans = ", ".join(f"pan {name} {amount(mm, 'depth', '.0f')}" for name, mm in evaporated.items())
    lacks = any(row["days"] == season.totals["season"]["days"] for row in filled_rows(season))
    unused = checked.weather.provenance.get("unused", "") if lacks else ""
    doubted, out = {caution.name for caution in cautions}, checked.usable.sentences()
    trusted = sorted(doubted.intersection(TRUSTED))
    untold = not_judged(checked.weather.checks)
    with_lines = doubted if everything else {*doubted, "filled"}  # what was filled has lines of its own
    listed_by_all = [f for f in season.findings if f.code not in doubted]
    grave = [f for f in listed_by_all if f.severity != "note" and f.code not in with_lines]
    shown = listed_by_all if everything else grave[:_FINDINGS]
    lines = [
        *(_say(key, pans=pans, **values) for key in ("line_sound", "line_file", "line_holds", "line_season")),
        _say("line_usable", years=listed([*checked.usable.weather]) or "none", out=_first(out, everything)),
        *(_filled_lines(checked, everything) or [_say("line_whole")]),
        *([_say("line_unused", unused=unused)] if unused else []),
        *(f"caution: weather: {c.sentence if everything else c.brief}; {c.worth}" for c in cautions),
        *([_say("line_trust", names=", ".join(f'"{name}"' for name in trusted))] if trusted else []),
        *spell_lines(season, everything=everything),
        *([_say("line_not_judged", what="; ".join(untold))] if untold else []),
        *(f"{f.severity}: {f.where}: {f.text}" for f in shown),
    ]
    if not everything:
        unshown = len(listed_by_all) - len(shown)
        more = _say("line_more" if unshown else "line_no_more", more=count(unshown, "more finding"))
        return [*lines, _say("line_checks", checks=len(checked.weather.checks), more=more)]
    return [
        *lines,
        *(_say("line_extreme", **_in_units(extreme)) for extreme in checked.extremes()),
        *(
            _say("line_other", other=way, how=_by(way.instead), mm=in_depth(way), share=in_percent(way))
            for way in checked.sensitivity
        ),
        _say("line_made"),
        *(f"  {what}: {', '.join(names)}" for what, names in checks_made(checked.weather.checks).items()),
        *(f"assumed: {text}" for text in season.assumptions),
        *(f"note: {text}" for text in checked.weather.notes),
    ]


def _in_units(extreme: dict[str, Any]) -> dict[str, Any]:
    name, at, _ = extreme["unit"].partition(" at ")  # "m/s at 2 m"
    kind = kind_of(name)
    unit = (SHOWN[kind].unit or name) + (at and at + amount(2.0, "height", ".2g"))
    return {**extreme, "value": bare(extreme["value"], kind, ".1f"), "unit": unit}


def _by(way: str) -> str:
    """Write a way of filling as what follows a verb: by a rule, or from what it says."""
    way = _HOW.get(way, str(said(way)).removeprefix("dew point "))
    return way if way.startswith(("from ", "as ")) else f"by {way}"


def _first(sentences: list[str], everything: bool) -> str:
    """Years left out, on the line of those that count: all, or the first and how many more."""
    shown = sentences if everything else sentences[:1]
    return "".join(f" {text}" for text in shown) + and_more(len(sentences) - len(shown), "year")


def _filled_lines(checked: Checked, everything: bool) -> list[str]:
    """A line for each column and way of filling, with what another way would change; what only follows, where all is wanted."""
    lines = dict[str, list[str]]()  # what is said of columns, with their names: those missing together are told once
    for row in filled_rows(checked.season):
        if row["method"] == FROM_ESTIMATED and not everything:
            continue
        ways = [way for way in checked.sensitivity if (way.used, way.days) == (row["method"], row["days"])]
        changes = sorted({way.change_mm: in_depth(way) for way in ways}.items())
        ends = dict.fromkeys(text for _, text in changes[:1] + changes[-1:])
        worth = _say("line_worth", worth=" to ".join(ends)) if ways else ""
        key = "line_borrowed" if is_borrowed(row["method"]) else "line_estimated"
        way_filled = _say(key, how=_by(row["method"]), worth=worth, **row)
        lines.setdefault(way_filled, []).append(row["column"])
    return [_say("line_missing", columns=", ".join(columns), filled=text) for text, columns in lines.items()]


def _how_complete(rows: Sequence[Mapping[str, Any]]) -> str:
    """Say how many values of the season were borrowed, and how many estimated."""
    borrowed = sum(row["days"] for row in rows if is_borrowed(row["method"]))
    counts = {"borrowed from another station": borrowed, "estimated": sum(row["days"] for row in rows) - borrowed}
    parts = [f"{count(number, 'value')} of the season {how}" for how, number in counts.items() if number]
    return " and ".join(parts) or "nothing had to be filled"


def _usable(checked: Checked) -> list[dict[str, str]]:
    """The usable years together, then a row for each of which the file has a part and that is left out."""
    usable = {"year": listed([*checked.usable.weather]), "usable": "yes"}
    left_out = [{"year": f"{year}", "usable": "no", "why": why} for year, why in checked.usable.left_out.items()]
    return [usable | {"why": ""}] * bool(checked.usable.weather) + left_out


def _fallbacks(fallbacks: Sequence[Mapping[str, Any]]) -> Iterator[dict[str, Any]]:
    """A row for each file and column borrowed; one for a file that lent nothing."""
    for lent in fallbacks:
        head = {"file": lent["file"], "holds": f"{lent['first']} to {lent['last']}"}
        for column, days in lent["borrowed"].items() or [("nothing", 0)]:
            fit = _fitted(lent["fit"].get(column)) if days else ""
            yield {**head, "column": column, "fit": fit, "days": days}
            head = {"file": "", "holds": ""}


def _fitted(fit: Mapping[str, Any] | None) -> str:
    if fit is None:
        return "too little in common to compare"
    key, done = "shifted" if fit["factor"] == 1.0 else "scaled", "applied" if fit["applied"] else "not applied"
    scale = SHOWN["warming" if fit["unit"] == "°C" else kind_of(fit["unit"])]
    shift, scatter = f"{scale.shown(fit['shift']):+.2f}", f"{scale.shown(fit['scatter']):.2f}"
    return _say(key, fit=fit, done=done, shift=shift, scatter=scatter, unit=scale.unit or fit["unit"]).replace("-", "−")


VERB = Verb(
    "check",
    check_sentences,
    check_report,
    Checked.as_dict,
    of=lambda checked: checked.season,
    figures=lambda checked: {
        "weather": lambda checked, **options: weather_figure(checked.weather, checked.season.days, **options),
        **({"years": lambda checked, **options: years_figure(checked.weather, **options)} if checked.years > 1 else {}),
        **({"march": march_figure} if checked.weeks.notna().any(axis=None) else {}),
    },
)
