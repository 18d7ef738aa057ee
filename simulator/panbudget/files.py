"""
Files: tables as CSV and totals as JSON, the same bytes each time.

No dates of writing, no host, numbers printed one way.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any, TextIO

import pandas as pd

# 12 significant digits: enough that sums close to 1e-9, and no trailing noise of binary fractions
_FLOATS = "%.12g"
# with which a text may be taken for a formula by a spreadsheet
_FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n")
_PLAIN_NUMBER = re.compile(r"-?\d+(\.\d+)?")


def write_json(content: dict[str, Any], path: Path) -> None:
    """Write a JSON file: sorted by nothing, numbers in full, one byte sequence for one content."""
    path.write_text(json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n", encoding="utf-8")


def write_csv(table: pd.DataFrame, path: Path | TextIO, *, header: bool = True) -> None:
    """
    Write a table: numbers in full, and no text that a spreadsheet would run.

    A text that begins with = + - @, a tab or a line's end gets an apostrophe before it.
    """
    safe = table.copy()
    for name in safe.columns:
        if safe[name].dtype.kind not in "biuf":
            safe[name] = pd.Series([_guarded(value) for value in safe[name]], index=safe.index, dtype=object)
    safe.to_csv(path, index=False, header=header, float_format=_FLOATS, lineterminator="\n", encoding="utf-8")


def _guarded(value: object) -> object:
    if not isinstance(value, str) or not value.startswith(_FORMULA_SIGNS) or _PLAIN_NUMBER.fullmatch(value):
        return value
    return f"'{value}"
