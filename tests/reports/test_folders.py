"""Folders: whole or not at all, and nobody else's files are touched."""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from types import SimpleNamespace

import pytest

from panbudget.errors import OutputError
from panbudget.reports import folders
from panbudget.reports.folders import FILES_OF, new_folder, to_paste


@pytest.mark.parametrize("name", ["season", "é" * 127, "🍅" * 63])  # 255 bytes are the most that a system takes
def test_a_folder_is_there_only_when_all_went_well(tmp_path, name):
    target = tmp_path / "deep" / name
    with pytest.raises(RuntimeError), new_folder(target, "replay", overwrite=False) as made:
        (made / "daily.csv").write_text("half")
        raise RuntimeError
    assert not target.parent.exists()
    with new_folder(target, "replay", overwrite=False) as made:
        (made / "daily.csv").write_text("whole")
    assert (target / "daily.csv").read_text() == "whole"


def test_a_second_interrupt_waits_until_what_is_half_made_is_cleared(tmp_path, monkeypatch):
    def impatient(staging, target, give_back=folders._give_back):
        signal.raise_signal(signal.SIGINT)
        give_back(staging, target)

    monkeypatch.setattr(folders, "_give_back", impatient)
    before = signal.signal(signal.SIGINT, signal.default_int_handler)  # which a job in the background ignores
    try:
        with pytest.raises(KeyboardInterrupt), new_folder(tmp_path / "season", "replay", overwrite=False):
            raise KeyboardInterrupt
    finally:
        signal.signal(signal.SIGINT, before)
    assert not list(tmp_path.iterdir())


def test_an_interrupt_while_the_folder_is_made_leaves_none(tmp_path, monkeypatch):
    """As it came once in a hundred kills."""
    make = tempfile.mkdtemp

    def interrupted(**named):
        made = make(**named)
        signal.raise_signal(signal.SIGINT)
        return made

    monkeypatch.setattr(tempfile, "mkdtemp", interrupted)
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with pytest.raises(KeyboardInterrupt), new_folder(tmp_path / "season", "replay", overwrite=False):
            pass
    finally:
        signal.signal(signal.SIGINT, before)
    assert not list(tmp_path.iterdir())


def test_an_interrupt_on_the_way_to_the_clearing_leaves_nothing(tmp_path, monkeypatch):
    def interrupted(_):
        monkeypatch.undo()
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt), new_folder(tmp_path / "season", "replay", overwrite=False) as made:
        (made / "daily.csv").touch()
        monkeypatch.setattr(signal, "getsignal", interrupted)
        raise RuntimeError
    assert not list(tmp_path.iterdir())


def test_an_interrupt_waits_until_the_folder_that_was_there_holds_all(tmp_path, monkeypatch):
    """Half of the files were left in it."""
    move = shutil.move

    def interrupted(path, to):
        signal.raise_signal(signal.SIGINT)
        return move(path, to)

    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with pytest.raises(KeyboardInterrupt), new_folder(tmp_path, "replay", overwrite=False) as made:
            for name in ("daily.csv", "beds.csv"):
                (made / name).touch()
            monkeypatch.setattr(shutil, "move", interrupted)
    finally:
        signal.signal(signal.SIGINT, before)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["beds.csv", "daily.csv"]


@pytest.mark.parametrize("full", [False, True])
def test_an_empty_folder_of_another_file_system_is_written_into_whole_or_not_at_all(tmp_path, monkeypatch, full):
    """As where a stick is mounted: nothing can be renamed into it."""
    target, rename, copy = tmp_path / "stick", os.rename, shutil.copyfile
    target.mkdir()

    def across(source, to):
        if str(to).startswith(str(target)):
            raise OSError(errno.EXDEV, "Invalid cross-device link")
        rename(source, to)

    def to_disk(source, to, **more):
        if full and Path(source).name == "daily.csv":
            raise OSError(errno.ENOSPC, "No space left on device")
        return copy(source, to, **more)

    monkeypatch.setattr(os, "rename", across)
    monkeypatch.setattr(shutil, "copyfile", to_disk)
    with (
        pytest.raises(OutputError, match="No space left on device") if full else contextlib.nullcontext(),
        new_folder(target, "replay", overwrite=False) as made,
    ):
        for name in ("beds.csv", "daily.csv", "report.html"):
            (made / name).write_text("whole")
    assert sorted(path.name for path in target.iterdir()) == ([] if full else ["beds.csv", "daily.csv", "report.html"])


def test_a_file_that_somebody_puts_in_a_new_folders_place_stays(tmp_path):
    place = tmp_path / "deep"
    with pytest.raises(OutputError), new_folder(place / "season", "replay", overwrite=False):
        shutil.rmtree(place)
        place.write_text("mine")
        raise NotADirectoryError
    assert place.read_text() == "mine"


@pytest.mark.skipif(os.name != "posix", reason="limits are those of Unix")
def test_what_is_half_made_is_cleared_where_no_file_can_be_opened_any_more(tmp_path):
    """`shutil.rmtree` keeps a file open a level, and the folder stayed."""
    script = (
        "import os, resource; from pathlib import Path; from panbudget.reports.folders import new_folder\n"
        "with new_folder(Path('season'), 'replay', overwrite=False) as made:\n"
        "    (made / 'figures').mkdir(); (made / 'figures' / 'season.png').touch()\n"
        "    resource.setrlimit(resource.RLIMIT_NOFILE, (os.dup(0) + 1, 4096))\n"
        "    open(os.devnull)\n"
    )
    done = subprocess.run([sys.executable, "-c", script], cwd=tmp_path, capture_output=True, check=False)
    assert b"Too many open files" in done.stderr, done.stderr
    assert not list(tmp_path.iterdir())


def test_paths_to_paste_are_those_that_were_given(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    garden = SimpleNamespace(path=Path("my garden") / "garden.toml", laid_over=("wide", "my/new pan.toml"))
    with new_folder(Path("out") / "sizes", "size", overwrite=False):
        inside = to_paste(SimpleNamespace(path=Path("garden.toml"), laid_over=()), "sized.toml")
    assert inside == {"file": "garden.toml", "laid": str(Path("out") / "sizes" / "sized.toml")}
    typed = f'"{garden.path}" --variant wide --variant "my/new pan.toml"'
    assert to_paste(garden, "sized.toml") == {"file": typed, "laid": "sized.toml"}


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


def test_a_folder_that_has_a_files_name_stays(tmp_path):
    """It was taken for the file, and what stood in it was lost."""
    target = written(tmp_path / "there", "replay")
    (target / "daily.csv").unlink()
    (target / "daily.csv").mkdir()
    (target / "daily.csv" / "diary.txt").write_text("mine")
    with pytest.raises(OutputError, match=r"holds daily\.csv"), new_folder(target, "replay", overwrite=True):
        pass
    assert (target / "daily.csv" / "diary.txt").read_text() == "mine"


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


KILLED = """
import os
import shutil
from pathlib import Path
from panbudget.reports import folders
with folders.new_folder(Path("season"), "replay", overwrite=True) as made:
    (made / "daily.csv").write_text("second")
    {}
"""


def killed(folder, at):
    """A run into a folder that is killed at that point of its way."""
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run([sys.executable, "-c", KILLED.format(at)], cwd=folder, env=environment, check=False)
    assert done.returncode == 9


@pytest.mark.skipif(os.name != "posix", reason="needs to ask for a process")
@pytest.mark.parametrize(
    "at",
    [
        "os._exit(9)",
        # between the two renamings, where a system has no exchange in one step
        "folders._exchanged = lambda made, target: target.rename(made.parent / 'old') and os._exit(9)",
    ],
)
def test_the_next_run_clears_up_after_a_killed_one(at, tmp_path):
    target = tmp_path / "season"
    with new_folder(target, "replay", overwrite=False) as made:
        (made / "daily.csv").write_text("first")
    killed(tmp_path, at)
    assert len(list(tmp_path.glob(".season-*"))) == 1
    with pytest.raises(OutputError, match="is not empty"), new_folder(target, "replay", overwrite=False):
        pass
    assert (target / "daily.csv").read_text() == "first"
    assert list(tmp_path.iterdir()) == [target]


@pytest.mark.skipif(os.name != "posix", reason="needs a link, and to ask for a process")
def test_what_a_link_of_a_killed_runs_name_leads_to_stays(tmp_path):
    (mine := tmp_path / "mine").mkdir()
    (mine / "letter").touch()
    (tmp_path / ".season-99999999-abc").symlink_to(mine)
    with new_folder(tmp_path / "season", "replay", overwrite=False):
        assert (mine / "letter").exists()


@pytest.mark.skipif(sys.platform != "linux", reason="asks the system for an exchange")
def test_what_is_killed_in_the_exchange_has_left_one_of_the_two(tmp_path, monkeypatch):
    for name in ("made", "target"):
        (tmp_path / name).mkdir()
        (tmp_path / name / name).touch()
    if not folders._exchanged(tmp_path / "made", tmp_path / "target"):
        pytest.skip("this file system can't")
    assert (tmp_path / "made" / "target").exists() and (tmp_path / "target" / "made").exists()


@pytest.mark.parametrize("one_step", [True, False])
def test_an_earlier_run_is_replaced_with_and_without_an_exchange_in_one_step(one_step, tmp_path, monkeypatch):
    if not one_step:
        monkeypatch.setattr(folders, "_exchanged", lambda made, target: False)
    for text in ("first", "second"):
        with new_folder(tmp_path / "season", "replay", overwrite=True) as made:
            (made / "daily.csv").write_text(text)
    assert (tmp_path / "season" / "daily.csv").read_text() == "second"
    assert list(tmp_path.iterdir()) == [tmp_path / "season"]


@pytest.mark.skipif(os.name != "posix", reason="needs to ask for a process")
def test_two_runs_into_one_folder_are_not_let_in(tmp_path):
    target = tmp_path / "season"
    with new_folder(target, "replay", overwrite=True) as made:
        with (
            pytest.raises(OutputError, match=rf"is being written by another run \(process {os.getpid()}\); wait"),
            new_folder(target, "replay", overwrite=True),
        ):
            pass
        (made / "daily.csv").touch()
    assert (target / "daily.csv").exists()


@pytest.mark.skipif(sys.platform != "linux", reason="other systems do not tell when a process began")
@pytest.mark.parametrize(("hours", "is_left"), [(0, False), (24 * 365 * 10, True)])
def test_a_folder_older_than_the_process_of_its_number_was_left_by_another(hours, is_left, tmp_path):
    """In a container each run has the same number: what a killed one left refused every later run."""
    left = tmp_path / f".season-{os.getpid()}-abc"
    left.mkdir()
    os.utime(left, (at := time.time() - 3600 * hours, at))
    if is_left:
        with new_folder(tmp_path / "season", "replay", overwrite=True):
            assert not left.exists()
        return
    with pytest.raises(OutputError, match="is being written by another run"):
        new_folder(tmp_path / "season", "replay", overwrite=True).__enter__()
    assert left.exists()


@pytest.mark.skipif(sys.platform != "linux", reason="other systems do not tell what became of a process")
def test_a_killed_run_of_whose_end_nobody_has_asked_yet_does_not_run(tmp_path):
    """It still has its number: until its parent asks, or for good where the first process of a container never does."""
    ended = subprocess.Popen([sys.executable, "-c", "pass"])
    os.waitid(os.P_PID, ended.pid, os.WEXITED | os.WNOWAIT)
    left = tmp_path / f".season-{ended.pid}-abc"
    left.mkdir()
    with new_folder(tmp_path / "season", "replay", overwrite=True):
        assert not left.exists()
    ended.wait()


def test_a_folder_that_can_t_be_is_refused(tmp_path):
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    for name in ("a" * 300, "loop", "loop/in", "nul\0", "made/" + "a" * 300 + "/in"):
        with pytest.raises(OutputError, match=r"can't be made \(.+\); choose another"):
            new_folder(tmp_path / name, "replay", overwrite=True).__enter__()
    assert [path.name for path in tmp_path.iterdir()] == ["loop"]


FULL = """
import resource
from pathlib import Path
from panbudget.errors import OutputError
from panbudget.reports.folders import new_folder
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
try:
    with new_folder(Path("season"), "replay", overwrite=True) as made:
        (made / "daily.csv").write_text("x" * 1000)
        (made / "report.html").write_text("x" * 5000)
except OutputError as error:
    print(error)
"""


@pytest.mark.skipif(os.name != "posix", reason="needs a bound on files")
def test_a_disk_that_is_full_in_the_middle_leaves_the_earlier_run_and_no_litter(tmp_path):
    written(tmp_path / "season", "replay")
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(
        [sys.executable, "-c", FULL], cwd=tmp_path, env=environment, capture_output=True, text=True, check=True
    )
    assert done.stdout == "season: can't be written (File too large); choose another folder\n"
    assert [path.name for path in tmp_path.iterdir()] == ["season"]
    assert (tmp_path / "season" / FILES_OF["replay"][0]).read_text() == "replay"


@pytest.mark.parametrize("overwrite", [False, True])
@pytest.mark.parametrize("way", ["missing/..", "missing/../../garden", "missing/deep/../.."])
def test_a_way_through_what_is_missing_replaces_nothing(way, overwrite, tmp_path):
    """The way was said not to exist, and the folder to which it led was exchanged with all that stood in it."""
    (tmp_path / "garden").mkdir()
    (tmp_path / "garden" / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match=r"not empty|mine\.txt"):
        new_folder(tmp_path / "garden" / way, "replay", overwrite=overwrite).__enter__()
    assert [entry.name for entry in (tmp_path / "garden").iterdir()] == ["mine.txt"]
