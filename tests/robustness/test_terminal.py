"""Terminal: closed pipes, full devices, code pages, signals; a mistake of ours has an exit code of its own."""

from __future__ import annotations

import contextlib
import errno
import io
import logging
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from panbudget import __main__ as command_line
from panbudget import terminal
from panbudget.reports.folders import new_folder
from panbudget.scenario import garden as gardens
from tests.cli.test_main import run
from tests.garden_file import write_garden, years_csv

ROOT = Path(__file__).resolve().parents[2]
KNOWN = [sys.executable, "-m", "panbudget", "known", "plants"]


def environment(**more):
    return {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), **more}


@pytest.mark.parametrize("columns", ["99999999999", "10001", "0", "-3", "wide"])
def test_a_terminal_that_is_wider_than_any_has_the_usual_width(monkeypatch, capsys, columns):
    """Its lines took all memory."""
    monkeypatch.setenv("COLUMNS", columns)
    code, out, _ = run(capsys, "known", "soils")
    assert code == 0 and "COLUMNS" not in os.environ and max(map(len, out.splitlines())) < 1000


def test_ctrl_c_while_it_is_loaded_shows_no_traceback():
    """In the first second it fell into an import."""
    loaded = "import os, signal, panbudget.loading as t\nwith t.Loading():\n    os.kill(os.getpid(), signal.SIGINT)"
    ended = subprocess.run([sys.executable, "-c", loaded], env=environment(), capture_output=True, check=False)
    assert (ended.returncode, ended.stderr) == (-signal.SIGINT, b"")
    first = "import sys, panbudget.loading\nprint({*sys.modules} & {'ast', 'email', 'typing', 'typer'})"
    light = subprocess.run([sys.executable, "-S", "-c", first], env=environment(), capture_output=True, check=True)
    assert light.stdout.strip() == b"set()"  # what is loaded before it could fall into
    whole = "import signal, panbudget.__main__\nassert signal.getsignal(signal.SIGINT) is signal.default_int_handler"
    assert subprocess.run([sys.executable, "-c", whole], env=environment(), check=False).returncode == 0


@pytest.mark.parametrize(
    ("page", "text", "printed"),
    [
        ("cp1252", "1\u202f200 m² − 3 … ×", b"1 200 m\xb2 - 3 \x85 \xd7"),
        ("ascii", "5 m² – Zoë → ◆", b"5 m2 - Zoe -> ?"),
        ("utf-8", "m\udce9n", b"m?n"),  # a surrogate, as of a file's name in another code page
    ],
)
def test_a_letter_that_a_code_page_lacks_gets_a_plainer_one(page, text, printed, monkeypatch):
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding=page, write_through=True))
    with terminal.patient():
        print(text, end="")
    assert raw.getvalue() == printed


def test_a_reader_that_goes_is_no_error():
    with subprocess.Popen(KNOWN, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment()) as process:
        process.stdout.close()
        assert (process.stderr.read(), process.wait()) == (b"", 0)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no full device")
def test_a_full_device_is_one_line():
    with open("/dev/full", "w") as full:
        done = subprocess.run(KNOWN, stdout=full, stderr=subprocess.PIPE, text=True, env=environment(), check=False)
        both = subprocess.run(KNOWN, stdout=full, stderr=full, env=environment(), check=False)
    assert (done.returncode, both.returncode) == (2, 2)
    assert done.stderr.startswith("standard output can't be written (") and done.stderr.count("\n") == 1


def test_without_standard_output_nothing_is_said():
    command = "exec 1>&-; exec " + " ".join(KNOWN)
    done = subprocess.run(["sh", "-c", command], stderr=subprocess.PIPE, text=True, env=environment(), check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_without_standard_error_what_asks_for_it_finds_one_that_shows_nothing(monkeypatch):
    monkeypatch.setattr(sys, "stderr", None)
    with terminal.patient():
        assert not sys.stderr.isatty()
        print("nobody reads this", file=sys.stderr, flush=True)
    assert sys.stderr is None


@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP", "SIGXCPU"])
def test_a_signal_stops_it_as_ctrl_c_does_and_leaves_nothing(name, tmp_path, capsys, monkeypatch):
    def stopped(*_, **__):
        os.kill(os.getpid(), number)
        time.sleep(5.0)

    monkeypatch.setattr("panbudget.reports.writing.write_into", stopped)
    number = getattr(signal, name)
    whatever = signal.signal(number, signal.SIG_DFL)  # nohup, under which these tests may run, has told to ignore it
    demo = ROOT / "scenarios" / "terraces.toml"
    try:
        code, _, err = run(capsys, "replay", demo, "--out", tmp_path / "season", "--start", "2025-08-25")
        assert signal.getsignal(number) is signal.SIG_DFL
    finally:
        signal.signal(number, whatever)
    assert (code, err) == (130, "Interrupted; nothing half-made is left.\n")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("later", "interrupts"), [(0.99, False), (1.0, True)])
def test_a_signal_soon_after_another_waits_until_all_is_cleared(later, interrupts, monkeypatch):
    """SIGTERM and then SIGHUP, as a system that shuts down gives them, left a hidden folder."""
    moments = iter([5.0, 5.0 + later])
    monkeypatch.setattr(terminal.time, "monotonic", lambda: next(moments))
    raised = []
    with terminal.patient():
        for number in (signal.SIGTERM, signal.SIGINT):
            with contextlib.suppress(KeyboardInterrupt):
                signal.raise_signal(number)
                raised.append(number)
    assert raised == ([] if interrupts else [signal.SIGINT])


def test_a_signal_that_falls_into_the_making_of_a_class_has_the_same_exit_code(tmp_path):
    """Python then ended itself by SIGINT, -2, if it was called with -m."""
    cut = 'import panbudget.__main__ as p\n\ndef app(**_):\n    exec("raise KeyboardInterrupt")\n\np.app = app\np.main([])\n'
    (tmp_path / "cut.py").write_text(cut, encoding="ascii")
    done = subprocess.run(
        [sys.executable, "-m", "cut"], cwd=tmp_path, env=environment(), capture_output=True, check=False
    )
    assert (done.returncode, done.stderr) == (130, b"Interrupted; nothing half-made is left.\n")


def test_an_interrupt_that_a_compiled_library_turns_into_an_error_of_its_own_is_one(monkeypatch, capsys):
    def app(**_):
        raise ValueError(
            'Field "diameter": SchemaError: Error building "function-before" validator: KeyboardInterrupt: '
        )

    monkeypatch.setattr(command_line, "app", app)
    with pytest.raises(SystemExit) as stopped:
        command_line.main([])
    assert (stopped.value.code, capsys.readouterr().err) == (130, "Interrupted; nothing half-made is left.\n")


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_a_signal_of_which_a_library_that_is_being_loaded_makes_another_error_is_an_interrupt(
    name, monkeypatch, capsys
):
    """It was a fault of ours."""

    def app(**_):
        try:
            signal.raise_signal(getattr(signal, name))
        except KeyboardInterrupt:
            raise ImportError("PyCapsule_Import could not import module") from None

    monkeypatch.setattr(command_line, "app", app)
    with pytest.raises(SystemExit) as stopped:
        command_line.main([])
    assert (stopped.value.code, capsys.readouterr().err) == (130, "Interrupted; nothing half-made is left.\n")


def test_a_signal_that_was_lost_stops_the_run_at_its_next_step(tmp_path, monkeypatch, capsys):
    """And is none of the run after it."""
    path, load = write_garden(tmp_path, years_csv(2021, 2021)), gardens.load_scenario

    def loses(*given):
        with contextlib.suppress(KeyboardInterrupt):
            signal.raise_signal(signal.SIGTERM)
        return load(*given)

    monkeypatch.setattr(gardens, "load_scenario", loses)
    code, out, err = run(capsys, "replay", path, "--out", tmp_path / "o")
    assert (code, out) == (130, "") and "Interrupted; nothing half-made is left." in err
    assert not (tmp_path / "o").exists()
    monkeypatch.setattr(gardens, "load_scenario", load)
    assert run(capsys, "replay", path, "--out", tmp_path / "o")[0] == 0


@pytest.mark.parametrize("at", ["before", "after"])
def test_an_interrupt_beside_the_run_has_the_same_exit_code(at, monkeypatch):
    @contextlib.contextmanager
    def patient():
        if at == "after":
            yield
        raise KeyboardInterrupt

    monkeypatch.setattr(terminal, "patient", patient)
    monkeypatch.setattr(command_line, "app", lambda **_: 0)
    with pytest.raises(SystemExit) as stopped:
        command_line.main([])
    assert stopped.value.code == 130


def test_a_signal_that_falls_into_a_references_end_stops_it_all_the_same(capfd):
    class Gone:
        def __del__(self):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt), terminal.patient():
        Gone()
        time.sleep(5.0)
    assert capfd.readouterr().err == ""


def test_figures_are_files_whatever_a_notebook_has_left():
    draws = "import panbudget.__main__ as p, os\ntry: p.main(['known', 'plants'])\nexcept SystemExit: import matplotlib.figure"
    subprocess.run(
        [sys.executable, "-c", draws], env=environment(MPLBACKEND="nonsense"), capture_output=True, check=True
    )


def test_a_cache_that_can_not_be_written_is_told_once_in_a_plain_line(capsys, caplog, monkeypatch):
    def draws(**_):
        logging.getLogger("matplotlib").warning("mkdir -p failed for path %s: %s", "/x", OSError(28, "No space"))
        logging.getLogger("matplotlib").warning("Missing colon in file %r, line %d (%r)", "matplotlibrc", 1, "x")
        logging.getLogger("matplotlib").warning("\nBad key %(key)s in file", {"key": "x"})
        logging.getLogger("matplotlib").warning("another")
        logging.getLogger("matplotlib.font_manager").warning("Could not save font_manager cache %s", OSError(28, "No"))

    monkeypatch.setattr(command_line, "app", draws)
    run(capsys, "known")
    assert [message[:35] for message in caplog.messages] == ["your cache folder can't be written:", "another"]


@pytest.mark.parametrize("name", ["MPLCONFIGDIR", "XDG_CACHE_HOME", "XDG_CONFIG_HOME", "HOME"])
def test_a_cache_that_is_a_loop_of_links_is_left_alone(name, tmp_path, monkeypatch, capsys):
    """Python before 3.13 can't resolve it, and what draws ended in an error of ours."""
    for known in ("MPLCONFIGDIR", "XDG_CACHE_HOME", "XDG_CONFIG_HOME"):
        monkeypatch.setenv(known, "")
    (loop := tmp_path / "loop").symlink_to(loop)
    monkeypatch.setenv(name, str(loop))
    draws = "import os, panbudget.__main__ as p\ntry: p.main(['known', 'soils'])\nexcept SystemExit: import matplotlib.figure"
    done = subprocess.run([sys.executable, "-c", draws], env=environment(), capture_output=True, text=True, check=False)
    assert done.returncode == 0 and done.stderr.startswith("your cache folder can't be written: ")


def test_settings_for_figures_that_are_no_text_are_named(monkeypatch, capsys):
    def draws(**_):
        logging.getLogger("matplotlib").warning("Cannot decode configuration file %r as utf-8.", "/home/matplotlibrc")

    monkeypatch.setattr(command_line, "app", draws)
    code, _, err = run(capsys, "known")
    assert (code, err.partition(" holds")[0]) == (2, "/home/matplotlibrc")


def test_without_a_folder_for_temporary_files_another_is_asked_for(monkeypatch, capsys, tmp_path):
    def draws(**_):
        with new_folder(tmp_path / "season", "replay", overwrite=False):
            raise OSError("a writable cache directory") from FileNotFoundError(2, "No usable temporary directory found")

    monkeypatch.setattr(command_line, "app", draws)
    code, _, err = run(capsys, "known")
    assert code == 2 and "TMPDIR" in err and "season" not in err and list(tmp_path.iterdir()) == []


def test_letters_that_steer_a_terminal_are_escaped_in_a_files_name(capsys):
    code, _, err = run(capsys, "check", "a\x07b\x9b2J.toml")
    assert code == 2
    assert err.startswith("a\\x07b\\x9b2J.toml: there is no such file")


def test_a_mistake_of_ours_is_two_lines_and_an_exit_code_of_its_own(capsys, monkeypatch):
    def broken(**_):
        raise ZeroDivisionError("a\nb " + "long " * 10_000)

    monkeypatch.setattr(command_line, "app", broken)
    code, out, err = run(capsys, "known")
    assert (code, out) == (70, "")
    assert err.startswith("panbudget itself is at fault: ZeroDivisionError in test_terminal.py, line ")
    assert err.count("\n") == 2 and len(err) < 700
    monkeypatch.setenv("PANBUDGET_TRACEBACK", "1")
    assert "Traceback" in run(capsys, "known")[2]


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (OSError(errno.EMFILE, "Too many open files"), "too many open files"),
        (BlockingIOError(errno.EAGAIN, "Resource temporarily unavailable"), "temporarily unavailable"),
        (MemoryError(), "no memory"),
        (ImportError("groupby.so: failed to map segment from shared object"), "no memory"),
    ],
)
def test_what_a_computer_lacks_is_no_mistake_of_ours(error, said, capsys, monkeypatch):
    def lacking(**_):
        raise error

    monkeypatch.setattr(command_line, "app", lacking)
    with pytest.raises(SystemExit) as ended:
        command_line.main(["known"])
    err = capsys.readouterr().err
    assert ended.value.code == 2 and len(err.splitlines()) == 1 and said in err, err


def test_answers_that_are_no_text_are_no_mistake_of_ours(tmp_path):
    """Bytes of another encoding ended the questions with 70."""
    asked = [sys.executable, "-m", "panbudget", "new", str(tmp_path / "g"), "--ask"]
    done = subprocess.run(
        asked, input=b"\xff\xfe\n" * 60, env=environment(PYTHONIOENCODING="utf-8"), capture_output=True, check=False
    )
    assert done.returncode in (2, 130) and b"fault" not in done.stderr, done.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(("name", "megabytes"), [("RLIMIT_DATA", 400), ("RLIMIT_AS", 700)])
def test_a_limit_of_memory_under_which_libraries_end_the_program_is_refused(monkeypatch, capsys, name, megabytes):
    """They ended it with a signal or with 1, or waited for ever; the bounds are measured."""
    resource = pytest.importorskip("resource")
    usual = resource.getrlimit
    for limit, enough in ((megabytes * 2**20 - 1, False), (megabytes * 2**20, True), (resource.RLIM_INFINITY, True)):
        monkeypatch.setattr(
            resource, "getrlimit", lambda of, limit=limit: (limit, -1) if of == getattr(resource, name) else usual(of)
        )
        code, _, told = run(capsys, "known", "soils")
        assert (code, f"{megabytes} MB at least; raise the limit" in told) == ((0, False) if enough else (2, True))
