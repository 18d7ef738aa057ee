"""What is read is bounded: pipes, devices, bombs, NUL, long cells; each is one line, in moments, in little memory."""

from __future__ import annotations

import contextlib
import gzip
import io
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from panbudget import files
from panbudget.errors import ReadingsError, ScenarioError, WeatherError
from panbudget.files import Unlikely, bounded, unlikely_text
from panbudget.weather.formats import table as table_format
from panbudget.weather.text import cells, source
from panbudget.weather.text.cells import read_cells
from panbudget.weather.text.mistakes import Mistakes
from panbudget.weather.text.rows import read_rows, read_typed, regular_rows
from panbudget.weather.text.source import open_source
from tests.weather.sites import Site
from tests.weather.test_broken_files import table

SITE = Site(latitude=38.0, elevation=100.0)
SOUND = table()


def refused(content, tmp_path, name="w.csv"):
    file = tmp_path / name
    file.write_bytes(content)
    with pytest.raises(WeatherError) as caught:
        open_source(file, shown_as=name)
    message = str(caught.value)
    assert message.startswith(f"{name}: ") and message.count("\n") == 0
    return message


@pytest.mark.skipif(os.name != "posix", reason="pipes and devices of Unix")
@pytest.mark.parametrize("kind", ["pipe", "/dev/zero", "/dev/null"])
def test_what_is_no_file_is_not_waited_for(kind, tmp_path):
    path = tmp_path / "w.csv"
    os.mkfifo(path) if kind == "pipe" else path.symlink_to(kind)
    with pytest.raises(WeatherError, match=r"^w: is not a plain file; name a file that stands on a disk$"):
        open_source(path, shown_as="w")
    with pytest.raises(ReadingsError, match="is not a plain file"):
        read_typed(path, what="log", shown="log", example="date")


def test_a_link_to_itself_and_a_folder_are_told(tmp_path):
    (tmp_path / "loop").symlink_to("loop")
    for path, words in ((tmp_path / "loop", "can't be read"), (tmp_path, "is a folder")):
        with pytest.raises(WeatherError, match=words):
            open_source(path, shown_as="w")
        with pytest.raises(ReadingsError, match="can't be read"):
            read_typed(path, what="log", shown="log", example="date")


@pytest.mark.parametrize(
    ("read", "error"),
    [
        (lambda path: open_source(path, shown_as="w"), WeatherError),
        (files.read_toml, ScenarioError),
        (lambda path: read_typed(path, what="log", shown="log", example="date"), ReadingsError),
    ],
)
def test_what_lies_under_a_file_is_no_file(read, error, tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(error, match="there is no such"):
        read(tmp_path / "file" / "under.csv")


def test_bytes_and_lines_are_read_up_to_their_bound_and_no_further(monkeypatch):
    monkeypatch.setattr(files, "MOST_LINES", 10)
    rows = b"".join(b"%d\n" % index for index in range(11))
    assert bounded(io.BytesIO(rows[:-3]), 20) == rows[:-3]
    with pytest.raises(Unlikely, match="has more than 10 lines"):
        bounded(io.BytesIO(rows))
    assert bounded(io.BytesIO(b"12345"), 5) == b"12345"
    with pytest.raises(Unlikely, match="holds more than 5e-06 MB"):
        bounded(io.BytesIO(b"123456"), 5)


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (bytes(1 << 22), "line 1 holds megabytes of NUL characters"),
        (b"a\n" + bytes(1 << 23), "line 2 holds megabytes of NUL characters"),
        (b"a" * (1 << 22), "line 1 is megabytes long"),
        (b"2025-06-01,1,2\n" * 2001, "the same few lines again and again, from line 1"),
        (b"2025-06-01,1,2\r" * 2001, "the same few lines again and again, from line 1"),
    ],
)
def test_what_no_record_can_be_is_refused_as_it_streams(content, found):
    with pytest.raises(Unlikely, match=found):
        bounded(io.BytesIO(content))


def test_what_a_record_or_a_picture_can_be_is_read():
    """Two thousand equal lines, forty of a hundred that differ, blank rows, a picture of one line."""
    few = b"".join(b"%d\n" % (index % 41) for index in range(2010))
    for content in (b"2025-06-01,1,2\n" * 2000, few, b",,,\n" * 5000, b"\x01a" * (1 << 21)):
        assert bounded(io.BytesIO(content)) == content


@pytest.mark.parametrize("packed", ["", "gz", "zip"])
def test_a_nul_is_refused_with_its_line_wherever_it_stands(packed, tmp_path):
    for at, line in ((SOUND.index("2025-06-03"), 4), (len(SOUND), 22)):
        content = (SOUND[:at] + "\0" + SOUND[at:]).encode()
        if packed == "zip":
            archive = io.BytesIO()
            with zipfile.ZipFile(archive, "w") as written:
                written.writestr("w.csv", content)
            content = archive.getvalue()
        content = gzip.compress(content) if packed == "gz" else content
        assert refused(content, tmp_path).startswith(f"w.csv: line {line} holds a NUL character")
    assert "line 4 holds a NUL" in refused(SOUND.replace("2025-06-03", "2025\0-06-03").encode("utf-16"), tmp_path)


def test_a_cell_has_ten_thousand_letters_at_most():
    longest = "1" * 10_000
    assert unlikely_text(f"a,b\n{longest},{longest}\n") is None
    assert unlikely_text(f"a,b\n1,{longest}1\n") == (2, "holds a cell of more than 10,000 characters")


@pytest.mark.parametrize("mark", [",", ";", "\t", "|", " "])
def test_a_header_has_a_thousand_cells_at_most(mark, tmp_path):
    """One of 200,000 took minutes: each was compared with all names that are known."""
    names = ["date", *(f"c{index}" for index in range(1000))]
    (tmp_path / "w.csv").write_text(f"a title\n{mark.join(names[:-1])}\n{SOUND}", encoding="utf-8")
    assert open_source(tmp_path / "w.csv", shown_as="w").text.endswith(SOUND)
    wide = f"a title\n{mark.join(names)}\n{SOUND}"
    assert "line 2 holds more than 1,000 cells" in refused(wide.encode(), tmp_path)
    assert "line 1 holds more than 1,000 cells" in refused(mark.join(names).encode(), tmp_path)


def typed(text, tmp_path, **options):
    (tmp_path / "log.csv").write_text(text, encoding="utf-8")
    with pytest.raises(ReadingsError) as caught:
        read_typed(tmp_path / "log.csv", what="log", shown="log", example="date", known=("date", "note"), **options)
    return str(caught.value)


def test_what_somebody_typed_is_bounded_too(tmp_path):
    rows = "date\n" + "2025-06-01\n" * 5 + "\n" * 5
    (tmp_path / "log.csv").write_text(rows, encoding="utf-8")
    assert len(read_typed(tmp_path / "log.csv", what="log", shown="log", example="date", most=5).rows) == 5
    assert "has 5 rows; at most 4 are read" in typed(rows, tmp_path, most=4)
    assert "line 2 holds a NUL" in typed("date\n2025\0-06-01\n", tmp_path)
    assert "line 2 holds a cell of more" in typed("date\n" + "1" * 10_001 + "\n", tmp_path)
    wide = typed("date," + ",".join(f"c{index}" for index in range(1000)), tmp_path)
    assert wide.startswith("log: line 1: the header has 1,001 columns, which begin with date, c0, c1, c2")
    assert wide.endswith("at most 1,000") and "c8" in wide and "c9," not in wide


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="a process's own peak is told by Linux")
def test_a_refusal_takes_little_memory(tmp_path):
    """A disk full of blank lines in a few kilobytes, and a file that is a hole: below 500 MB, with all that is imported."""
    with gzip.open(tmp_path / "blank.csv", "wb", compresslevel=1) as bomb:
        for _ in range(2):
            bomb.write(b"\n" * (1 << 20))
    with (tmp_path / "hole.csv").open("wb") as hole:
        hole.write(SOUND.encode())
        hole.truncate(1 << 36)
    words = "\n".join(f"2025-06-01,a{index},b{index},c{index}" for index in range(150_000))  # each a text of its own
    (tmp_path / "words.csv").write_text(f"date,tmin,tmax,rain\n{words}")
    code = """
import re, sys
from pathlib import Path
from panbudget.errors import WeatherError
from panbudget.weather.formats import table
from panbudget.weather.text.source import open_source
def peak():  # its own: getrusage has the parent's
    return int(re.search(r"VmHWM:\\s*(\\d+) kB", Path("/proc/self/status").read_text())[1])
before = peak()
for path in sys.argv[1:]:
    try:
        table.read(open_source(path, shown_as="w"), columns={}, site=None)
    except WeatherError as error:
        print(str(error).split("; ")[0])
print(peak() - before)
"""
    names = [str(tmp_path / name) for name in ("blank.csv", "hole.csv", "words.csv")]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(
        [sys.executable, "-c", code, *names], capture_output=True, text=True, env=environment, check=True
    )
    blank, hole, words, more = done.stdout.splitlines()
    assert blank.startswith("w: has more than 600,000 lines") and hole.startswith("w: line 22 holds megabytes of NUL")
    assert "tmin: 'a0' is not a number (and 19999 more cells), among the first 20,000 rows" in words
    assert int(more) < 130 * 1024


@pytest.mark.parametrize(
    ("rows", "wrong", "more"), [(20_000, 20_000, 19_999), (20_001, 10_000, 9_999), (20_001, 10_001, 10_000)]
)
def test_a_long_table_is_counted_whole_unless_most_of_it_is_wrong(rows, wrong, more):
    """Beyond 20,000 rows, one of whose first more than half are no number is refused by those."""
    texts = [f"2025-06-01,{'x' if index < wrong else 1}" for index in range(rows)]
    mistakes = Mistakes()
    lines = read_rows(texts, mistakes, above=0, separator=",", width=2)
    refused = wrong == 10_001
    assert len(read_cells(lines, mistakes, numbers={1: "tmin"}).lines) == (0 if refused else rows)
    among = ", among the first 20,000 rows" if refused else ""
    assert [problem.found for problem in mistakes.problems()] == [f"'x' is not a number (and {more} more cells){among}"]


@pytest.mark.parametrize(("rows", "parsed"), [(200_000, True), (200_001, False)])
def test_no_text_of_a_table_so_long_is_kept_before_its_first_rows_are_looked_at(rows, parsed, monkeypatch):
    looked_at = []
    monkeypatch.setattr(cells, "_at_a_stroke", lambda *given: looked_at.append(given))
    mistakes = Mistakes()
    table = regular_rows(["2025-06-01,x"] * rows, 0, ",", ["date", "tmin"], False)
    assert not read_cells(table, mistakes, numbers={1: "tmin"}).numbers
    assert bool(looked_at) is parsed and "among the first 20,000 rows" in mistakes.problems()[0].found


@pytest.mark.parametrize(("most", "told"), [(8, True), (9, False)])
def test_a_table_has_so_many_cells_at_most(most, told, tmp_path, monkeypatch):
    assert source.MOST_CELLS == 30_000_000  # a gigabyte
    monkeypatch.setattr(source, "MOST_CELLS", most)
    (tmp_path / "wide.csv").write_text("date,a,b,c\n1,2,3,4\n5,6,7,8\n", encoding="ascii")
    with contextlib.ExitStack() as stack:
        if told:
            stack.enter_context(pytest.raises(WeatherError, match="has more than 8 cells; keep the columns and years"))
        source.open_source(tmp_path / "wide.csv", shown_as="wide.csv")


def test_digits_of_other_scripts_are_read_and_told():
    """Arabic-Indic and full-width ones: a file of a whole country, or a slip of one keyboard."""
    rows = read_rows(["٢٫٥,1", "٢.٥,１2", "3,4"], Mistakes(), above=0, separator=",", width=2)
    mistakes = Mistakes()
    read = read_cells(rows, mistakes, numbers={0: "tmin", 1: "tmax"})
    assert read.numbers[0].tolist() == [2.5, 2.5, 3.0] and read.numbers[1].tolist() == [1.0, 12.0, 4.0]
    assert read.notes == ["3 numbers in digits of another script, or in full width, are read as 0 to 9"]
    assert not [*mistakes.problems()]  # the Arabic decimal sign is one beside any other


def test_what_a_file_says_of_itself_is_shown_escaped(tmp_path):
    """Control characters of the second row pass for letters."""
    (tmp_path / "w.csv").write_text("# a\x85b\x9b2J\n" + SOUND, encoding="utf-8")
    notes = table_format.read(open_source(tmp_path / "w.csv", shown_as="w"), columns={}, site=SITE).notes
    assert "the file says of itself: a\\x85b\\x9b2J" in notes
