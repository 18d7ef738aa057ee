"""
Grid: rows that are all alike, as the bytes that they are, so that a column of them is read at a stroke.

Where each cell begins and ends is found from all bytes at once. Cells of a column are then eight bytes at a time a number, so
that a text that repeats, as figures do, is made and looked at once. What isn't alike is no grid, and goes row by row (`rows`).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pandas as pd

from panbudget.numeric import Ints

_END, _BLANK, _QUOTE, _HASH = 10, 32, 34, 35
_WORD, _SHORT = 8, 32  # bytes that are looked at as one number; of texts that are decoded together


def _kinds(words: npt.NDArray[np.uint64]) -> tuple[Ints, npt.NDArray[np.uint64]]:
    """Return each number's code and the number of each code; a column of one text is seen at once."""
    if words[-1] == words[0] and (words == words[0]).all():
        return np.zeros(words.size, dtype=np.int64), words[:1]
    code, kinds = pd.factorize(words)
    return code, kinds


def _texts(words: npt.NDArray[np.uint64]) -> list[str]:
    """Return the texts whose bytes the numbers of each row are."""
    letters = np.ascontiguousarray(words.astype("<u8")).view(f"S{_WORD * words.shape[1]}")[:, 0]
    try:
        whole: list[str] = letters.astype(str).tolist()  # ASCII, of which each needs no look
    except UnicodeDecodeError:
        whole = [text.decode("utf-8", "surrogatepass") for text in letters.tolist()]
    return whole


class Grid:
    """
    The rows below a header.

    Parameters
    ----------
    texts : sequence of str
        One or more rows.
    separator : str
        One character; a space stands for any run of blanks.
    """

    def __init__(self, texts: Sequence[str], separator: str) -> None:
        self.data = "\n".join([*texts, ""]).encode("utf-8", "surrogatepass") + bytes(_WORD)
        self.size = len(self.data) - _WORD
        self.letters = np.frombuffer(self.data, np.uint8)[: self.size]
        # the eight bytes from each byte on, as a number
        self._words: npt.NDArray[np.uint64] = np.ndarray((self.size,), dtype="<u8", buffer=self.data, strides=(1,))
        self.rows, self.separator = len(texts), separator
        self.begins = self.ends = np.zeros((0, 0), dtype=np.int64)
        self._bare = False  # whether cells are already without the quotes around them

    def empty_rows(self, comments: bool) -> list[int]:
        """Return the rows that hold no cell, only blanks and separators, or that begin with #."""
        nothing = np.zeros(256, dtype=bool)
        nothing[[ord(self.separator), *b" \t\r\x0b\x0c"]] = True
        at = np.append(0, self._line_ends[:-1] + 1)
        rows, odd = np.arange(self.rows), list[int]()
        while rows.size:
            letter = self.letters[at]
            odd += rows[(letter == _END) | (letter == (_HASH if comments else _END))].tolist()
            more = nothing[letter]
            rows, at = rows[more], at[more] + 1
        return odd

    def is_worded(self) -> bool:
        """Tell whether a row begins with no digit, as dates do."""
        return bool((self.letters[np.append(0, self._line_ends[:-1] + 1)] - ord("0") > 9).any())

    def has_bare_point(self) -> bool:
        """Tell whether a point stands anywhere without a digit on either side."""
        digit = self.letters - np.uint8(ord("0")) < 10
        return bool(((self.letters[1:-1] == ord(".")) & ~(digit[:-2] & digit[2:])).any())

    def holds(self, text: str) -> bool:
        """Tell whether a text stands anywhere in the rows."""
        part = text.encode("utf-8", "surrogatepass")
        return part[:1] in self.data and part in self.data  # a letter is looked for in a fiftieth of the time of a word

    def divided(self, header: Sequence[str], width: int, comments: bool) -> bool:
        """Find the cells; false where a row is not so wide, may be the header again, or has quotes but around whole cells."""
        letters, data = self.letters, self.data
        if b"\r" in data or data.find(b"\0", 0, self.size) >= 0 or (comments and b"#" in data):
            return False
        if header and self.holds(header[0]):
            return False
        if self.separator == " ":
            blank = letters <= _BLANK
            if not data.isascii() or b'"' in data or np.count_nonzero(letters < _BLANK) != self.rows:
                return False
            # where cells begin and end by turns
            edges = np.append(
                np.zeros(0 if blank[0] else 1, dtype=np.int64), np.flatnonzero(blank[1:] != blank[:-1]) + 1
            )
            if edges.size != 2 * self.rows * width:
                return False
            self.begins, self.ends = edges[::2].reshape(-1, width), edges[1::2].reshape(-1, width)
            lasts = self._line_ends
            return not ((self.begins[1:, 0] < lasts[:-1]).any() or (self.ends[:, -1] > lasts).any())
        parts = (letters == ord(self.separator)) | (letters == _END)
        quoted = b'"' in data
        ends = self._between_quotes(parts, width) if quoted else np.flatnonzero(parts)
        self._bare = quoted and ends.size > 0
        ends = self._outside_quotes(parts) if quoted and not self._bare else ends
        if ends.size != self.rows * width or (letters[ends[width - 1 :: width]] != _END).any():
            return False
        begins = np.zeros_like(ends)
        np.add(ends[:-1], 1, out=begins[1:])
        if self._bare:
            begins, ends = begins + 1, ends - 1
        self.begins, self.ends = begins.reshape(-1, width), ends.reshape(-1, width)
        return True

    def _between_quotes(self, parts: npt.NDArray[np.bool_], width: int) -> Ints:
        """Return the separators where quotes stand around every cell and nowhere else; nothing where that isn't so."""
        quote = self.letters == _QUOTE
        if not quote[0] or np.count_nonzero(quote) != 2 * self.rows * width:
            return np.zeros(0, dtype=np.int64)
        ends = np.flatnonzero(parts[1:] & quote[:-1] & np.append(quote[2:], True)) + 1
        # two quotes a cell are all that there are, if it has room for them
        sound = ends.size == self.rows * width and (np.diff(ends, prepend=-1) > 2).all()
        return ends if sound else np.zeros(0, dtype=np.int64)

    @cached_property
    def _line_ends(self) -> Ints:
        return np.flatnonzero(self.letters == _END)

    def _outside_quotes(self, parts: npt.NDArray[np.bool_]) -> Ints:
        """Return the separators that are none within quotes; nothing where quotes stand elsewhere than around cells."""
        marks = np.flatnonzero(parts | (self.letters == _QUOTE))
        quote = self.letters[marks] == _QUOTE
        inside = np.cumsum(quote, dtype=np.int32) % 2 == 1  # a quote that opens is, too, one that closes is not
        opens, closes = marks[quote & inside], marks[quote & ~inside]
        # before the first byte stands the last, which ends a row
        sound = opens.size == closes.size and parts[opens - 1].all() and parts[closes + 1].all()
        if not sound or (self.letters[marks[inside & ~quote]] == _END).any():
            return np.zeros(0, dtype=np.int64)
        return np.asarray(marks[~quote & ~inside], dtype=np.int64)

    def _span(self, place: int) -> tuple[Ints, Ints]:
        """Where the cells of a column begin and end, without blanks before them and quotes around them."""
        begin, end = self.begins[:, place], self.ends[:, place]
        if self._bare or self.separator == " ":
            return begin, end
        while (
            b" " in self.data and (blank := self.letters[begin] == _BLANK).any()
        ):  # never beyond a cell, which ends in no blank
            begin = begin + blank
        if b'"' in self.data and (quoted := self.letters[begin] == _QUOTE).any():
            begin, end = begin + quoted, end - quoted
        return begin, end

    def column(self, place: int) -> tuple[Ints, list[str]]:
        """Return a column's cells: each row's code, and the text of each code; blanks before a cell are no part of it."""
        begin, end = self._span(place)
        length = end - begin
        longest = int(length.max())
        masks = np.array([(1 << 8 * n) - 1 for n in range(_WORD + 1)], dtype=np.uint64)
        if longest <= _WORD:
            code, words = _kinds(self._words[begin] & masks[length])
            return code, _texts(words[:, None])
        code, count = np.zeros(self.rows, dtype=np.int64), 1
        for start in range(0, longest, _WORD):
            size = np.clip(length - start, 0, _WORD)
            word, kinds = _kinds(self._words[np.minimum(begin + start, self.size - 1)] & masks[size])
            if len(kinds) > 1:
                code, firsts = (word, kinds) if count == 1 else pd.factorize(code * len(kinds) + word)
                count = len(firsts)
        first = np.flatnonzero(np.diff(np.maximum.accumulate(code), prepend=-1))  # codes count up as texts are met
        if longest <= _SHORT:
            begin, length = begin[first], length[first]
            sizes = ((start, np.clip(length - start, 0, _WORD)) for start in range(0, longest, _WORD))
            parts = [self._words[np.minimum(begin + start, self.size - 1)] & masks[size] for start, size in sizes]
            return code, _texts(np.column_stack(parts))
        spans = zip(begin[first].tolist(), end[first].tolist(), strict=True)
        return code, [self.data[start:stop].decode("utf-8", "surrogatepass") for start, stop in spans]

    def dates(self, place: int) -> npt.NDArray[np.uint8] | None:
        """Return the letters of a column's cells, a row each, if all have as many as a date, which are 8 or 10."""
        begin, end = self._span(place)
        length = int(end[0] - begin[0])
        if length not in (8, 10) or (end - begin != length).any():
            return None
        parts = (self._words[begin], self._words[end - _WORD])
        head, tail = (part.view(np.uint8).reshape(-1, _WORD) for part in parts)
        return np.concatenate([head, tail[:, 2 * _WORD - length :]], axis=1)
