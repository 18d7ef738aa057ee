"""
Command line: `weather`, daily weather for a garden that has none.
"""

from pathlib import Path

import panbudget
from panbudget.cli import at_options, bar, command, print_json, problem, say
from panbudget.errors import PanbudgetError


@command
def weather(
    scenario: Path,
    years: str | None = None,
    forecast: int | None = None,
    file: str | None = None,
    timeout: float = 20.0,
    power_address: str | None = None,
    forecast_address: str | None = None,
    quiet: bool = False,
    as_json: bool = False,
) -> None:
    """
    No weather file? Download daily weather for the site, past years or the days ahead, and name it in the scenario.

    Example:  panbudget weather my-garden/garden.toml --years 2015-2025 --forecast 10
    """
    span = None if years is None else _years(years)
    with at_options(years=years, forecast=forecast, file=file), bar(None, quiet=quiet or as_json) as update:
        result = panbudget.download_weather(
            scenario,
            years=span,
            forecast=forecast,
            file=file,
            timeout=timeout,
            power_address=power_address,
            forecast_address=forecast_address,
            step=lambda text: update(description=text),
        )
    if as_json:
        print_json(result.files)
        return
    for line in result.sentences():
        say(line, quiet=quiet)


def _years(text: str) -> tuple[int, int]:
    from panbudget.studies.download import years_in

    if (years := years_in(text)) is None:
        raise PanbudgetError(problem("no-years", f'--years "{text}"'))
    return years
