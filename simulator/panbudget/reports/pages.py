"""
Pages: what all pages share: tables as text, findings, figures inside the page, what it was made from, rendering.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import jinja2
from markupsafe import Markup

from panbudget.reports.texts import CAPTIONS
from panbudget.season.finding import SEVERITIES, Finding
from panbudget.words import count, day_said

__all__ = ["Table", "listed_findings", "placed_figure", "provenance_table", "render"]


@dataclass(frozen=True)
class Table:
    """What a table says: ``names`` columns of text, then numbers; ``paired`` rows belong two and two."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str = ""
    names: int = 1
    paired: bool = False


def listed_findings(findings: Iterable[Finding]) -> list[dict[str, str]]:
    """Put findings as a page lists them, gravest first."""
    listed = []
    for finding in sorted(findings, key=lambda f: SEVERITIES.index(f.severity)):
        when = [f"from {day_said(finding.first)}"] if finding.first else []
        when += [count(finding.days, "day")] if finding.days else []
        listed.append(
            {
                "severity": finding.severity,
                "where": finding.where,
                "message": finding.message,
                "when": ", ".join(when),
            }
        )
    return listed


def placed_figure(name: str, svg: str, caption: str | None = None) -> dict[str, Any]:
    """Put a figure, as `figures.svg_text` makes it, where a page has room for several."""
    # several figures on one page: each gets ids of its own, or one's clip paths would cut another
    own = re.sub(r'\bid="', f'id="{name}-', svg)
    own = re.sub(r'href="#', f'href="#{name}-', own)
    own = own.replace("url(#", f"url(#{name}-")
    # drawn by us from escaped text, so it may pass as it is
    return {"name": name, "svg": Markup(own), "caption": caption or CAPTIONS.get(name, name)}


def provenance_table(provenance: Mapping[str, Any]) -> Table:
    """Say what a page was made from."""
    weather = provenance.get("weather", {})
    rows = [
        ("panbudget", str(provenance.get("panbudget", ""))),
        ("Python", str(provenance.get("python", ""))),
        *((name, str(version)) for name, version in provenance.get("packages", {}).items()),
        ("scenario, SHA-256", str(provenance.get("scenario_sha256", ""))),
        ("weather file", str(weather.get("file", ""))),
        ("weather file, read as", str(weather.get("recognised", ""))),
        ("weather file, days", f"{weather.get('first', '')} to {weather.get('last', '')}"),
        ("weather, SHA-256", str(provenance.get("weather_sha256", ""))),
        *((f"fallback {one['file']}, SHA-256", str(one["sha256"])) for one in weather.get("fallbacks", [])),
    ]
    return Table(("what", "which"), tuple(rows), names=2)


@functools.cache
def _templates() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.PackageLoader("panbudget.reports", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def render(template: str, **content: Any) -> str:
    """Fill one of our templates."""
    return _templates().get_template(template).render(**content) + "\n"
