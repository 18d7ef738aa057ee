"""
Hand-kept files: the text of a CSV file that somebody typed, or a line that says why there is none.
"""

from __future__ import annotations

from pathlib import Path

from panbudget.errors import ReadingsError

__all__ = ["read_hand_kept"]


def read_hand_kept(path: Path, what: str, shown: str) -> tuple[bytes, str]:
    """
    Read a file of a field log or of meter readings.

    Parameters
    ----------
    path : Path
    what : str
        Its kind, for the message that there is none.
    shown : str
        How messages name the file.

    Returns
    -------
    (bytes, str)
        What it holds, and its text.

    Raises
    ------
    ReadingsError
        Missing, unreadable, or not UTF-8.
    """
    try:
        content = Path(path).read_bytes()
    except FileNotFoundError:
        raise ReadingsError(f"there is no such {what}; check the path", file=shown) from None
    except OSError as error:
        raise ReadingsError(f"can't be read ({error.strerror}); name a CSV file", file=shown) from None
    try:
        return content, content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise ReadingsError("is not a text file in UTF-8; save it as CSV in UTF-8", file=shown) from None
