"""What stands in a sweep's folder is looked at before it is believed, and what others have put there is not taken away."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import threading

import pytest

pq = pytest.importorskip("pyarrow.parquet")

from panbudget import files  # noqa: E402
from panbudget.errors import OutputError, PanbudgetError  # noqa: E402
from panbudget.studies.sweep import workers  # noqa: E402
from panbudget.studies.sweep.run import sweep  # noqa: E402
from tests.studies.sweep.district import contents, make_plan  # noqa: E402


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    folder = tmp_path_factory.mktemp("swept")
    sweep(make_plan(folder, places=2, more="[output]\nfigures = false\n"), folder / "out", processes=1)
    return folder


@pytest.fixture
def again(swept, tmp_path):
    """A copy of it, plan and folder."""
    shutil.copytree(swept, tmp_path, dirs_exist_ok=True)
    return tmp_path / "plan.toml", tmp_path / "out"


def _planted(out, *, about=None, left_out=()):
    """Write the first part again with another account of itself, or columns left out, and its digest with it."""
    part = out / "seasons" / "part-000000.parquet"
    table = pq.read_table(part).drop_columns(list(left_out))
    metadata = dict(table.schema.metadata)
    changed = about(json.loads(metadata[b"panbudget"])) if about else metadata[b"panbudget"]
    metadata[b"panbudget"] = changed if isinstance(changed, bytes) else json.dumps(changed).encode()
    pq.write_table(table.replace_schema_metadata(metadata), part)
    digest = hashlib.sha256(part.read_bytes()).hexdigest()
    (out / "parts.sha256").write_text(f"{digest}  seasons/{part.name}\n", encoding="ascii")


@pytest.mark.parametrize(
    "about",
    [
        lambda about: [about],
        lambda about: b"[" * 100_000,
        lambda about: {key: value for key, value in about.items() if key != "bad"},
        lambda about: {**about, "weather": ["x"]},
    ],
    ids=["a list", "nested without end", "no bad sites", "weather that is a list"],
)
def test_a_part_with_another_account_of_itself_is_made_again(about, swept, again):
    """Each was a bug of ours, exit code 70."""
    plan, out = again
    _planted(out, about=about)
    sweep(plan, out, processes=1)
    assert contents(out) == contents(swept / "out")


def test_a_part_that_lacks_a_column_is_made_again(swept, again):
    """It ended in a traceback, and left a draft."""
    plan, out = again
    _planted(out, left_out=["litres"])
    sweep(plan, out, processes=1)
    assert contents(out) == contents(swept / "out")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes are those of Unix")
def test_a_pipe_in_place_of_a_part_is_not_waited_for(swept, again):
    plan, out = again
    (out / "seasons" / "part-000000.parquet").unlink()
    os.mkfifo(out / "seasons" / "part-000000.parquet")
    sweep(plan, out, processes=1)
    assert contents(out) == contents(swept / "out")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes are those of Unix")
def test_a_pipe_in_place_of_the_log_or_the_digests_is_not_waited_for(swept, again):
    plan, out = again
    for name in ("sweep.log", "parts.sha256"):
        (out / name).unlink()
        os.mkfifo(out / name)
    with pytest.raises(OutputError, match="can't be written"):
        sweep(plan, out, processes=1)
    (out / "parts.sha256").unlink()
    sweep(plan, out, processes=1)
    (out / "sweep.log").unlink()
    assert contents(out) == contents(swept / "out")


def test_a_digest_of_no_part_does_not_stay(swept, again):
    """One changed bit of a part's name in the digests: the part is run again, and the line stayed beside its own."""
    plan, out = again
    digests = out / "parts.sha256"
    digests.write_text(digests.read_text(encoding="ascii").replace("part-000000", "part-000400"), encoding="ascii")
    sweep(plan, out, processes=1)
    assert contents(out) == contents(swept / "out")


@pytest.mark.parametrize("name", ["../../../x", None])
def test_a_manifest_moves_no_part_out_of_the_folder(name, again):
    """Parts of before were put where its plan's name led."""
    plan, out = again
    held = json.loads((out / "plan.json").read_text(encoding="utf-8"))
    changed = {**held, "plan": name} if name else {key: value for key, value in held.items() if key != "plan"}
    (out / "plan.json").write_text(json.dumps(changed), encoding="utf-8")
    before = contents(out)
    with pytest.raises(OutputError, match="holds a sweep whose plan.json is missing or damaged"):
        sweep(plan, out, processes=1)
    assert contents(out) == before


@pytest.mark.parametrize(
    "name",
    ["figures/photo.jpg", "seasons/mine.txt", "summary.csv/mine.txt", "seasons/part-000001.parquet/x", ".owner/x"],
)
def test_what_a_sweep_did_not_make_is_not_overwritten(name, again):
    plan, out = again
    (out / "summary.csv").unlink()
    (out / name).parent.mkdir(exist_ok=True)
    (out / name).write_text("mine", encoding="utf-8")
    held = name.rpartition("/")[0] if name.startswith("summary") or name.endswith("/x") else name
    with pytest.raises(OutputError, match=f"holds {held}, which a sweep did not make"):
        sweep(plan, out, processes=1, overwrite=True)
    assert (out / name).read_text(encoding="utf-8") == "mine"


def test_files_of_names_that_others_give_too_are_no_sweep(swept, tmp_path):
    (tmp_path / "sites.csv").write_text("mine", encoding="utf-8")
    for overwrite in (False, True):
        with pytest.raises(
            OutputError, match=r"holds sites\.csv and no record of a sweep; it is left as it is; choose"
        ):
            sweep(swept / "plan.toml", tmp_path, processes=1, overwrite=overwrite)
    assert (tmp_path / "sites.csv").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("code", ["the same", "another"])
def test_a_sweep_that_is_refused_keeps_what_it_came_to_before(code, swept, again):
    """A site more, which can't be read: the summary of before was gone."""
    plan, out = again
    if code == "another":
        held = json.loads((out / "plan.json").read_text(encoding="utf-8"))
        (out / "plan.json").write_text(json.dumps({**held, "plan": "f" * 64, "code": "another"}), encoding="utf-8")
    places = plan.parent / "weather" / "places.csv"
    before = places.read_text(encoding="utf-8")
    places.write_text(before + "Odd,40,0,10,odd.csv\n", encoding="utf-8")
    (places.parent / "odd.csv").write_text("x", encoding="utf-8")
    with pytest.raises(PanbudgetError, match="Odd"):
        sweep(plan, out, processes=1)
    kept = [folder / "summary.csv" for folder in (out, out / "earlier") if (folder / "summary.csv").exists()]
    assert [path.read_bytes() for path in kept] == [(swept / "out" / "summary.csv").read_bytes()]
    places.write_text(before, encoding="utf-8")
    sweep(plan, out, processes=1)
    assert contents(out) == contents(swept / "out")


@pytest.mark.parametrize("earlier", [False, True])
def test_a_sweep_that_ends_before_its_first_part_leaves_nothing(earlier, swept, again, tmp_path):
    """A plan and an empty folder for parts were left where the first weather file could not be read."""
    plan, out = again
    for weather in (plan.parent / "weather").glob("*.csv"):
        if weather.name != "places.csv":
            weather.write_text("x", encoding="utf-8")
    with pytest.raises(PanbudgetError, match="mend what is wrong and run again"):
        sweep(plan, out if earlier else tmp_path / "new", processes=1)
    assert not (tmp_path / "new").exists()
    assert (out / "seasons" / "part-000000.parquet").exists()


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="this system has no such signal")
def test_a_terminal_that_goes_does_not_end_what_keeps_the_books_of_processes():
    """Python started it again, and that one told of everything that it did not know, with tracebacks."""
    kept = (
        "import os, signal, time\nfrom multiprocessing.resource_tracker import _resource_tracker as kept\n"
        "from panbudget.studies.sweep.workers import _processes\nwith _processes(b'', 1):\n"
        "    os.kill(kept._pid, signal.SIGHUP)\n    time.sleep(0.3)\n"
        "    print(os.waitpid(kept._pid, os.WNOHANG), signal.pthread_sigmask(signal.SIG_BLOCK, []))"
    )
    asked = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run([sys.executable, "-c", kept], env=asked, capture_output=True, text=True, check=False)
    assert (done.stdout, done.stderr) == ("(0, 0) set()\n", "")


def test_a_sweep_whose_folder_has_gone_runs_without_processes_of_its_own(swept, tmp_path, monkeypatch):
    """It was a bug of ours, exit code 70."""
    gone = tmp_path / "gone"
    gone.mkdir()
    monkeypatch.chdir(gone)
    gone.rmdir()
    sweep(swept / "plan.toml", tmp_path / "out", processes=2)
    assert contents(tmp_path / "out") == contents(swept / "out")


def test_an_empty_folder_is_cleared_though_no_file_is_left_to_open(tmp_path, monkeypatch):
    (tmp_path / "seasons").mkdir()

    def opened(*_, **__):
        raise OSError(errno.EMFILE, "Too many open files")

    monkeypatch.setattr(os, "open", opened)
    files.remove(tmp_path / "seasons")
    assert not (tmp_path / "seasons").exists()


def test_a_schedulers_name_that_can_be_none_is_refused(monkeypatch):
    """A thread ended with a traceback."""
    lost = []
    monkeypatch.setattr(threading, "excepthook", lost.append)
    assert (workers._mute(f"tcp://{'a' * 64}:1"), lost) == ("nobody answers", [])


def test_a_program_that_begins_as_a_scheduler_and_is_none_is_told(monkeypatch):
    """What the library makes of the bytes after the first was a bug of ours, exit code 70."""
    pytest.importorskip("distributed")
    monkeypatch.setattr(workers, "_ANSWERS", 2.0)
    with socket.create_server(("127.0.0.1", 0)) as server:

        def answer():
            with contextlib.suppress(OSError):
                while True:
                    line, _ = server.accept()
                    with contextlib.suppress(OSError), line:
                        line.sendall((1).to_bytes(8, "little") * 1000)

        threading.Thread(target=answer, daemon=True).start()
        address = "tcp://{}:{}".format(*server.getsockname())
        with pytest.raises(PanbudgetError, match="does not answer"), workers._cluster(b"", address):
            pass
