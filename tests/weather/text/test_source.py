"""
Bytes to text: archives and encodings are opened right, or refused in one line.

The files are invented. gzip: RFC 1952; zip: PKWARE's application note (both from memory).
"""

from __future__ import annotations

import gzip
import hashlib
import io
import tarfile
import zipfile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from panbudget.errors import WeatherError
from panbudget.files import MOST_COLUMNS
from panbudget.weather import read_weather
from panbudget.weather.text.source import _by_words, _encoding_of, _json_as_table, _too_wide, open_source, unpack_gzip
from tests.weather.sites import Site
from tests.weather.test_broken_files import table

SITE = Site(latitude=38.0, elevation=100.0)
SOUND = table()


def zipped(files, *, method=zipfile.ZIP_DEFLATED):
    """Return a zip archive's bytes."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as archive:
        for name, text in files.items():
            archive.writestr(name, text)
    return out.getvalue()


def refusal(tmp_path, content):
    """Open a file that must be refused; return its one line."""
    file = tmp_path / "weather.bin"
    file.write_bytes(content)
    with pytest.raises(WeatherError) as caught:
        open_source(file, shown_as="station")
    lines = str(caught.value).splitlines()
    assert len(lines) == 1, lines
    assert lines[0].startswith("station: ")
    return lines[0]


def tarred(files):
    """Return a gzipped tar archive's bytes."""
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w:gz") as archive:
        for name, text in files.items():
            entry = tarfile.TarInfo(name)
            entry.size = len(text)
            archive.addfile(entry, io.BytesIO(text.encode()))
    return out.getvalue()


PACKED = {
    "gzip": (gzip.compress(SOUND.encode()), "gzip"),
    "zip": (zipped({"a/daily.csv": SOUND}), "zip archive, file a/daily.csv"),
    "zip, stored": (zipped({"daily.csv": SOUND}, method=zipfile.ZIP_STORED), "zip archive, file daily.csv"),
    "zip with litter": (
        zipped({"daily.csv": SOUND, "__MACOSX/._daily.csv": "x", ".DS_Store": "x", "folder/": ""}),
        "zip archive, file daily.csv",
    ),
}


@pytest.mark.parametrize(("content", "taken_from"), PACKED.values(), ids=PACKED.keys())
def test_an_archive_of_one_file_is_opened_whatever_its_name(tmp_path, content, taken_from):
    """The mark in the first bytes decides; the hash is of the file that the user has."""
    file = tmp_path / "station.csv"
    file.write_bytes(content)
    source = open_source(file, shown_as="station.csv")
    assert source.text == SOUND
    assert source.taken_from == taken_from
    assert source.sha256 == hashlib.sha256(content).hexdigest()
    weather = read_weather(file, SITE)
    assert len(weather.daily) == 20
    assert weather.provenance["recognised"].endswith(f", from {taken_from}")


REFUSED = {
    "two files": (zipped({"a.csv": SOUND, "b.csv": SOUND}), ["2 files (a.csv, b.csv)", "one is expected"]),
    "a line's end in a name": (zipped({"a\nb.csv": SOUND, "c.csv": SOUND}), ["2 files (a b.csv, c.csv)"]),
    "nine files": (zipped({f"{n}.csv": "x" for n in range(9)}), ["9 files", "and 4 more"]),
    "no file": (zipped({"folder/": ""}), ["without a file in it"]),
    "nothing": (zipped({}), ["without a file in it"]),
    "cut zip": (zipped({"a.csv": SOUND})[:-30], ["zip archive that is damaged or cut off", "download it again"]),
    "cut gzip": (gzip.compress(SOUND.encode())[:-20], ["gzip file that is damaged or cut off", "download it again"]),
    "bent gzip": (gzip.compress(SOUND.encode())[:30] + b"\x00" * 40, ["gzip file that is damaged or cut off"]),
    "gzip in zip": (zipped({"a.csv.gz": gzip.compress(b"x")}), ["another archive", "unpack it"]),
    "web page in gzip": (gzip.compress(b"<!DOCTYPE html><html>404</html>"), ["is a web page"]),
    "empty gzip": (gzip.compress(b""), ["is empty"]),
    "NetCDF": (b"CDF\x01\0\0\0\0\0\0\0\n", ["is a NetCDF or HDF5 file", "as CSV"]),
    "NetCDF-4": (b"\x89HDF\r\n\x1a\n\0\0", ["is a NetCDF or HDF5 file", "as CSV"]),
    "picture in zip": (zipped({"a.csv": b"\x89PNG\r\n\x1a\n1234"}), ["is a picture"]),
    "OpenDocument": (
        zipped({"mimetype": "x", "content.xml": "<x/>"}),
        ["OpenDocument", "save the sheet as .xlsx or CSV"],
    ),
    "text document": (zipped({"word/document.xml": "<x/>", "docProps/app.xml": ""}), ["is a text document", "as CSV"]),
    "rich text": (rb"{\rtf1\ansi date,tmin}", ["is a text document", "copy the table"]),
    "old workbook": (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, ["old spreadsheet workbook", ".xlsx or CSV"]),
    "locked workbook": (
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600 + "EncryptedPackage".encode("utf-16-le"),
        ["locked by a password", "save it without one"],
    ),
    "tar in gzip": (tarred({"2024.csv": SOUND, "2025.csv": SOUND}), ["is a tar archive", "unpack it"]),
    "xz": (b"\xfd7zXZ\x00\x00\x04", ["xz", "unpack it first"]),
}


@pytest.mark.parametrize(("content", "said"), REFUSED.values(), ids=REFUSED.keys())
def test_what_cannot_be_opened_is_refused_in_one_line(tmp_path, content, said):
    """And the cure is in it."""
    line = refusal(tmp_path, content)
    for part in said:
        assert part in line


def test_a_zip_whose_contents_are_bent_is_refused(tmp_path):
    """The check sum finds a changed letter."""
    content = zipped({"a.csv": SOUND}, method=zipfile.ZIP_STORED).replace(b"2025-06-04", b"2025-06-05")
    assert "damaged or cut off" in refusal(tmp_path, content)


def test_a_zip_locked_by_a_password_is_refused(tmp_path):
    """Bit 0 of the general purpose flags, in the entry and in the table of contents."""
    content = bytearray(zipped({"a.csv": SOUND}))
    content[6] |= 1
    content[content.index(b"PK\x01\x02") + 8] |= 1
    assert "locked by a password" in refusal(tmp_path, bytes(content))


def test_unpacking_stops_at_the_limit():
    """A small file can hold a full disk."""
    with pytest.raises(WeatherError, match=r"^bomb\.gz: holds more than 0\.01 MB"):
        unpack_gzip(gzip.compress(b"0" * 2_000_000), shown_as="bomb.gz", at_most=10_000)


HEADED = "# Estación inventada, 38°\n" + SOUND


@pytest.mark.parametrize(
    ("content", "encoding"),
    [
        (HEADED.encode(), "utf-8"),
        (HEADED.encode("utf-8-sig"), "utf-8-sig"),
        (HEADED.encode("cp1252"), "cp1252"),
        (HEADED.encode("utf-16"), "utf-16"),
        (HEADED.encode("utf-16-be"), "utf-16-be"),
        (HEADED.encode().replace("°".encode(), b"\xb0"), "utf-8 with bytes of cp1252"),
    ],
)
def test_every_usual_encoding_gives_the_same_text(tmp_path, content, encoding):
    """The last one: a UTF-8 file into which a stray byte of Windows-1252 was pasted."""
    file = tmp_path / "station.csv"
    file.write_bytes(content)
    source = open_source(file, shown_as="station.csv")
    assert source.text == HEADED
    assert source.encoding == encoding


def test_a_byte_of_no_encoding_is_refused(tmp_path):
    """0x81 is neither UTF-8 on its own nor a letter of Windows-1252; beside zeros it is no text at all."""
    message = refusal(tmp_path, HEADED.encode() + b"\x81\n")
    assert "encoding older than UTF-8" in message
    assert "save it in UTF-8" in message
    assert "is not a text file" in refusal(tmp_path, HEADED.encode() + b"\x81\x01\n")


@settings(max_examples=60, deadline=None)
@given(
    name=st.sampled_from(["gzip", "zip", "zip, stored"]),
    places=st.lists(st.tuples(st.integers(0, 10_000), st.integers(0, 255)), max_size=4),
    cut=st.integers(0, 400),
)
def test_any_damage_to_an_archive_is_refused_or_harmless(tmp_path_factory, name, places, cut):
    """Never another exception than ours."""
    content = bytearray(PACKED[name][0])
    for place, byte in places:
        content[place % len(content)] = byte
    file = tmp_path_factory.mktemp("fuzz") / "station.csv"
    file.write_bytes(bytes(content[: len(content) - cut]))
    try:
        source = open_source(file, shown_as="station.csv")
    except WeatherError:
        return
    assert source.text.strip()


@pytest.mark.parametrize(("zeros", "encoding"), [(40, "utf-8"), (41, "")])
def test_one_byte_in_fifty_may_be_zero_in_text(zeros, encoding):
    """Of every second byte of the first 4,096."""
    data = bytearray(b"1" * 4096)
    data[: 20 * zeros : 20] = b"\0" * zeros
    assert _encoding_of(bytes(data)) == encoding


@pytest.mark.parametrize(("line", "told"), [(200, True), (201, False)])
def test_a_header_too_wide_is_looked_for_among_200_lines(line, told):
    wide = _too_wide("a\n" * (line - 1) + "," * MOST_COLUMNS + "\n")
    assert wide == (line, f"holds more than {MOST_COLUMNS:,} cells") if told else wide is None


@pytest.mark.parametrize(("size", "encoding"), [(20_000, "cp1251"), (20_001, "")])
def test_words_that_tell_an_encoding_are_looked_for_among_20000_bytes(size, encoding):
    word = "\nдата\n".encode("cp1251")
    assert _by_words(b"#" * (size - len(word)) + word + b"1\n" * 10) == encoding


def test_a_croatian_word_tells_its_code_page():
    assert _by_words("Globalno zračenje\n".encode("cp1250")) == "cp1250"


def test_line_ends_that_were_doubled_on_their_way_part_no_lines(tmp_path):
    """An archive's header is told by the line it stands on."""
    (tmp_path / "a.csv").write_bytes(b"date,rain\r\r\n2025-05-01,0\r\r\n")
    assert open_source(tmp_path / "a.csv", shown_as="a.csv").text == "date,rain\n2025-05-01,0\n"


@pytest.mark.parametrize(
    ("text", "table"),
    [
        ('[{"day": "2025-06-01", "air": {"t": 1.5}}]', "day,air t\n2025-06-01,1.5\n"),
        ('{"day": 1, "t": 2}\n{"day": 2, "t": null}\n', "day,t\n1,2.0\n2,\n"),
        ('{"place": "x", "h_units": {"t": "°C"}, "h": {"time": [1, 2], "t": [3, 4]}}', "time,t (°C)\n1,3\n2,4\n"),
        ('{"2025-06-01": {"t": 1}, "2025-06-02": {"t": 2}}', "date,t\n2025-06-01,1\n2025-06-02,2\n"),
        ('{"a": {"t": [1]}, "b": {"t": [1]}}', ""),
        ('{"a": {"t": [1], "u": [1, 2]}}', ""),
        ('{"days": [{"day": "2025-06-01", "metric": {"t": 1}}]}', "day,metric t\n2025-06-01,1\n"),
        ('{"station": {"f1": "t (°C)", "name": "x"}, "of": [{"f1": "2", "name": 3}]}', "t (°C),name\n2,3\n"),
        (
            '{"day": {"0": "2025-06-01", "1": "2025-06-02"}, "t": {"0": 1, "1": 2}}',
            "day,t\n2025-06-01,1\n2025-06-02,2\n",
        ),
        ('{"t": {"2025-06-01": 1}, "u": {"2025-06-01": 2}}', "date,t,u\n2025-06-01,1,2\n"),
        ('{"columns": ["t"], "index": [1748736000000], "data": [[1]]}', "date,t\n2025-06-01 00:00:00,1\n"),
        ('{"result": {"of": "x", "data": [{"day": "2025-06-01", "t": 1}]}}', "day,t\n2025-06-01,1\n"),
        ('{"a": {"b": {"c": {"d": {"data": [{"t": 1}]}}}}}', ""),
        (
            '{"x": [{"name": "t", "unit": "°C", "data": [[1748736000000, 3]]}]}',
            "time (UTC),element,unit,value\n2025-06-01 00:00:00,t,°C,3\n",
        ),
        ('[{"target": "t", "of": [[3, "2025-06-01"]]}]', "time,element,unit,value\n2025-06-01,t,,3\n"),
        ('[{"name": "t", "data": [[1, 2]]}]', 2),
        ('{"a": {"0": 1}, "b": {"1": 1}}', ""),
        ('{"columns": ["t", "t"], "data": [[1, 2]]}', ""),
        ('{"columns": 1, "data": 2}', ""),
        ("[1, 2]", ""),
        ('{"a": ', ""),
        ("[" * 100_000, ""),
        ('[{"t": 1, "t": 2}]', ""),
        ('{"h_units": 5, "h": {"t": [3]}}', "t\n3\n"),
        ("[" + ",".join(f'{{"t{k}": 1}}' for k in range(1000)) + "]", 1001),
        ("[" + ",".join(f'{{"t{k}": 1}}' for k in range(1001)) + "]", ""),
        ("[{}" + ",{}" * 600_000 + "]", ""),
        ('[{"t": 1}]' + " " * 20_000_000, ""),
    ],
    ids=[
        "records",
        "a record a line",
        "lists with units",
        "a record a day",
        "two tables",
        "unlike lists",
        "one list by its name",
        "names beside",
        "a record a column",
        "a record a column by day",
        "split",
        "one list within names",
        "one list too deep",
        "a figure and its moment",
        "the other way round",
        "two figures",
        "unlike rows",
        "a name twice in a split table",
        "nothing split",
        "numbers",
        "cut off",
        "deep",
        "a name twice",
        "units that are none",
        "as many names as a table",
        "more names",
        "more records than lines",
        "more letters",
    ],
)
def test_records_and_lists_of_json_are_a_table_if_there_is_one(text, table):
    """Layouts of services' answers, from memory; figures invented."""
    found = _json_as_table(text)
    assert found == table or found.count("\n") == table
