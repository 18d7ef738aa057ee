"""Files: what somebody typed is read within bounds, and never waited for."""

from __future__ import annotations

import os
import subprocess

import pytest

from panbudget.errors import ScenarioError
from panbudget.files import read_toml, typed


def written(tmp_path, text):
    path = tmp_path / "garden.toml"
    path.write_text(text, encoding="ascii")
    return path


@pytest.mark.parametrize(
    ("text", "most"),
    [
        ("#" * 1_999_999 + "\n", "#" * 2_000_000 + "\n"),
        ("a = " + "[" * 49 + "]" * 49, "a = " + "[" * 50 + "]" * 50),
        ("\n".join(f"k{i} = 1" for i in range(10_000)), "\n".join(f"k{i} = 1" for i in range(10_001))),
        ("a = " + "9" * 30, "a = 1" + "0" * 30),
        ("a = -34." + "1" * 28, "a = -34." + "1" * 29),
    ],
)
def test_the_bounds_of_toml_are_these(text, most, tmp_path):
    read_toml(written(tmp_path, text))
    with pytest.raises(
        ScenarioError, match=r"holds more than 2 MB|nested deeper than 50|has 10,001 keys|more than 30 dig"
    ):
        read_toml(written(tmp_path, most))


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("a = " + "[" * 5000, "nested deeper than 50 levels"),
        ("a" + ".a" * 5000 + " = 1", "nested deeper than 50 levels"),
        ("a = " + "9" * 5000, "more than 30 digits"),
        ("a = [0x" + "f" * 5000 + "]", "more than 30 digits"),
    ],
)
def test_what_would_exhaust_the_reader_is_a_message(text, found, tmp_path):
    with pytest.raises(ScenarioError, match=found):
        read_toml(written(tmp_path, text))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "garden.toml")
    with pytest.raises(ScenarioError, match="is not a plain file"):
        read_toml(tmp_path / "garden.toml")


@pytest.mark.skipif(os.name == "nt", reason="asks a shell of this system")
@pytest.mark.parametrize(
    "name", ["plain/a-1.toml", "my garden", "a(b);c&d", "it's", 'a "b"', "$HOME", "`id`", "a\\ b", "é*"]
)
def test_a_path_in_a_command_is_one_word_to_the_shell(name):
    assert (
        subprocess.run(["sh", "-c", f"printf %s {typed(name)}"], capture_output=True, check=True).stdout.decode()
        == name
    )
    assert (typed(name) == name) == (name == "plain/a-1.toml")
