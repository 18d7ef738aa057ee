"""A sweep's scheduler: the file that says its address, and who does not answer as one."""

from __future__ import annotations

import contextlib
import socket
import threading
import time

import pytest

pytest.importorskip("pyarrow")

from panbudget.errors import PanbudgetError
from panbudget.studies.sweep import workers
from panbudget.studies.sweep.run import sweep
from tests.studies.sweep.district import make_plan


def test_a_scheduler_file_says_the_address(tmp_path):
    file = tmp_path / "scheduler.json"
    file.write_text('{"type": "Scheduler", "address": "tcp://10.0.0.5:8786", "workers": {}}', encoding="utf-8")
    assert workers._address_in(str(file)) == "tcp://10.0.0.5:8786"
    assert workers._address_in("tcp://10.0.0.6:8786") == "tcp://10.0.0.6:8786"
    file.write_text("[]", encoding="utf-8")
    with pytest.raises(PanbudgetError, match="names no scheduler .it is not what `dask scheduler --scheduler-file`"):
        workers._address_in(str(file))
    with pytest.raises(PanbudgetError, match="names no scheduler .No such file or directory"):
        workers._address_in(str(tmp_path / "none.json"))


def test_a_scheduler_that_does_not_answer_is_said_in_a_line(tmp_path, monkeypatch):
    pytest.importorskip("distributed")
    plan = make_plan(tmp_path, places=1)
    for address in ("nonsense://nowhere", "tcp://127.0.0.1:99999", "", "x" * 3000):
        with pytest.raises(PanbudgetError, match=r"does not answer \(an address is such as"):
            sweep(plan, tmp_path / "out", scheduler=address)
    with socket.create_server(("127.0.0.1", 0)) as server:  # somebody who says nothing, and then something else
        address = f"tcp://127.0.0.1:{server.getsockname()[1]}"
        monkeypatch.setattr(workers, "_ANSWERS", 0.3)
        assert workers._mute(address) == "nobody answers"

        def say_something_else():
            for words in (b"", b"HTTP/1.1 400 no", b"", b"\3"):  # the first is heard by nobody
                with server.accept()[0] as line, contextlib.suppress(OSError):
                    line.sendall(words)

        thread = threading.Thread(target=say_something_else)
        thread.start()
        assert [workers._mute(address) for _ in range(3)] == ["no scheduler is there"] * 3
        thread.join()


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_who_begins_as_a_scheduler_does_and_falls_silent_is_told_in_time(tmp_path, monkeypatch):
    """The library waited for the rest for ever: a length of ten bytes, and no byte after it."""
    pytest.importorskip("distributed")
    monkeypatch.setattr(workers, "_ANSWERS", 0.3)
    with socket.create_server(("127.0.0.1", 0)) as server:
        lines = []

        def begin():
            with contextlib.suppress(OSError):
                while True:
                    lines.append(server.accept()[0])
                    lines[-1].sendall((10).to_bytes(8, "little"))

        threading.Thread(target=begin, daemon=True).start()
        address = f"tcp://127.0.0.1:{server.getsockname()[1]}"
        began = time.monotonic()
        with pytest.raises(PanbudgetError, match=r"does not answer \(nobody answers\)"):
            sweep(make_plan(tmp_path, places=1), tmp_path / "out", scheduler=address)
        assert time.monotonic() - began < 10.0
        for line in lines:
            line.close()
