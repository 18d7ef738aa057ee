"""Folders: whole or not at all, and nobody else's files are touched."""

from __future__ import annotations

from pathlib import Path

import pytest

from panbudget.errors import OutputError
from panbudget.reports.folders import FILES_OF, new_folder


def test_a_folder_is_there_only_when_all_went_well(tmp_path):
    target = tmp_path / "deep" / "season"
    with pytest.raises(RuntimeError), new_folder(target, "replay", overwrite=False) as made:
        (made / "daily.csv").write_text("half")
        raise RuntimeError
    assert not target.exists()
    assert not list((tmp_path / "deep").iterdir())
    with new_folder(target, "replay", overwrite=False) as made:
        (made / "daily.csv").write_text("whole")
    assert (target / "daily.csv").read_text() == "whole"


def test_an_earlier_run_survives_a_failed_one(tmp_path):
    target = tmp_path / "season"
    with new_folder(target, "replay", overwrite=False) as made:
        (made / "daily.csv").write_text("first")
    with pytest.raises(RuntimeError), new_folder(target, "replay", overwrite=True) as made:
        raise RuntimeError
    assert (target / "daily.csv").read_text() == "first"
    with (
        pytest.raises(OutputError, match="is not empty; choose another folder, or overwrite it"),
        new_folder(target, "replay", overwrite=False),
    ):
        pass


def written(folder, command):
    folder.mkdir()
    for name in FILES_OF[command]:
        (folder / name).write_text(command)
    return folder


@pytest.mark.parametrize("command", FILES_OF)
@pytest.mark.parametrize("other", FILES_OF)
def test_overwrite_replaces_an_earlier_run_of_the_same_command_only(tmp_path, command, other):
    target = written(tmp_path / "there", other)
    if command == other:
        with new_folder(target, command, overwrite=True) as made:
            (made / FILES_OF[command][0]).write_text("anew")
        assert [entry.name for entry in target.iterdir()] == [FILES_OF[command][0]]
        return
    with pytest.raises(OutputError) as caught, new_folder(target, command, overwrite=True):
        pass
    assert f"holds what `panbudget {other}` wrote" in str(caught.value)
    assert "choose another folder" in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1
    assert {entry.name for entry in target.iterdir()} == set(FILES_OF[other])


def test_a_file_of_the_users_own_stays(tmp_path):
    target = written(tmp_path / "there", "replay")
    (target / "diary.txt").write_text("mine")
    with (
        pytest.raises(OutputError, match=r"holds diary\.txt, which `replay` did not make"),
        new_folder(target, "replay", overwrite=True),
    ):
        pass
    assert (target / "diary.txt").read_text() == "mine"


def test_the_first_file_of_each_command_is_in_no_others_folder():
    for command, names in FILES_OF.items():
        assert not any(names[0] in FILES_OF[other] for other in FILES_OF if other != command)


def test_a_file_of_the_users_among_the_figures_stays_too(tmp_path):
    target = tmp_path / "season"
    with new_folder(target, "replay", overwrite=False) as made:
        (made / "figures").mkdir()
        (made / "figures" / "season.png").write_text("drawn")
    (target / "figures" / "mine.txt").write_text("mine")
    with pytest.raises(OutputError, match="figures/mine.txt"), new_folder(target, "replay", overwrite=True):
        pass
    assert (target / "figures" / "mine.txt").read_text() == "mine"


def test_an_empty_folder_is_filled_where_it_stands(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with new_folder(Path(), "replay", overwrite=False) as made:
        (made / "daily.csv").write_text("whole")
    assert [entry.name for entry in Path.cwd().iterdir()] == ["daily.csv"]
