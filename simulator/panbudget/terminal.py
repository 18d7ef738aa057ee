"""
Terminal: what the program prints gets as far as the terminal lets it, and a signal stops it as Ctrl-C does.

A code page that lacks a sign gets a plainer one; a reader that has gone is no error; a full device is one.
"""

import _thread
import codecs
import contextlib
import io
import os
import signal
import sys
import threading
import time
import unicodedata
from collections.abc import Iterator
from typing import Any, TextIO

_SOON, _IMPATIENT = 0.05, 1.0  # s
# what interrupts, as far as the system has it
_SIGNALS = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGXCPU") if hasattr(signal, name)]
# signs that Unicode itself gives no plainer form
_PLAINER = {"−": "-", "–": "-", "—": "-", "×": "x", "·": ".", "→": "->", "“": '"', "”": '"', "‘": "'", "’": "'"}


def _plainer(error: UnicodeError) -> tuple[str, int]:
    """Stand in for letters that the terminal's code page lacks: their parts, or a question mark."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    letters = error.object[error.start : error.end]
    plain = (_PLAINER.get(letter) or unicodedata.normalize("NFKD", letter) for letter in letters)
    return "".join(part.encode("ascii", "ignore").decode() or "?" for part in plain), error.end


codecs.register_error("plainer", _plainer)


class Unwritten(OSError):
    """Standard output can't be written, and not because its reader has gone."""


class _Patient:
    """A standard stream: nothing reaches it any more once writing has failed."""

    def __init__(self, stream: TextIO) -> None:
        self._stream: Any = stream
        self.failure: OSError | None = None
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="plainer")

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def write(self, text: str) -> int:
        self._trying(self._stream.write, text)
        return len(text)

    def flush(self) -> None:
        self._trying(self._stream.flush)

    def _trying(self, act: Any, *arguments: str) -> None:
        if self.failure is not None:
            return
        try:
            act(*arguments)
        except OSError as failure:
            self.failure = failure
            with contextlib.suppress(OSError, ValueError):  # else Python itself fails on what is left, at its end
                os.dup2(os.open(os.devnull, os.O_WRONLY), self._stream.fileno())


#: when signals came in this run [s]
came: list[float] = []


def _interrupt(_: int, __: object) -> None:
    """Interrupt; a signal that comes soon after another one would fall into what that one lets be cleared."""
    came.append(time.monotonic())
    if len(came) < 2 or came[-1] - came[-2] >= _IMPATIENT:
        raise KeyboardInterrupt


def listen() -> None:
    """Interrupt where a signal came and was lost, as a compiled module that is just being loaded may lose one."""
    if came:
        raise KeyboardInterrupt


def _again(lost: Any) -> None:
    """
    Interrupt once more where the first time fell into a call that can't pass it on, such as a reference's end.

    Nothing comes of another exception there, as where a library closes a damaged file that it could not open.
    """
    if issubclass(lost.exc_type, KeyboardInterrupt):
        came.clear()
        threading.Timer(_SOON, _thread.interrupt_main).start()
    else:
        unraised(lost)


def unraised(lost: Any) -> None:
    """Show an exception that a reference's end can't pass on where PANBUDGET_TRACEBACK is set."""
    if os.environ.get("PANBUDGET_TRACEBACK"):
        sys.__unraisablehook__(lost)


@contextlib.contextmanager
def undisturbed() -> Iterator[None]:
    """Hold back what would interrupt, such as a second Ctrl-C, while what is half-made is cleared; it comes afterwards."""
    held: list[int] = []
    handlers: dict[int, Any] = {}
    if threading.current_thread() is threading.main_thread():
        for number in _SIGNALS:
            if callable(signal.getsignal(number)):
                handlers[number] = signal.signal(number, lambda given, _: held.append(given))
    try:
        yield
    finally:
        for number, handler in handlers.items():
            signal.signal(number, handler)
        for number in held[:1]:
            signal.raise_signal(number)


@contextlib.contextmanager
def patient() -> Iterator[None]:
    """
    Print through all that a terminal can be, take SIGTERM and SIGHUP as Ctrl-C, and keep what came.

    Raises
    ------
    Unwritten
        At the end, if standard output could not be written for another reason than that its reader has gone.
    """
    before = {name: getattr(sys, name) for name in ("stdin", "stdout", "stderr")}
    # for a stream that is closed: what asks it finds one
    sys.stdin = before.pop("stdin") or io.StringIO()
    if isinstance(sys.stdin, io.TextIOWrapper):  # bytes that are no text are answers that can't be understood
        sys.stdin.reconfigure(errors="backslashreplace")
    with open(os.devnull, "w", encoding="utf-8") as nowhere:
        came.clear()
        streams = {name: _Patient(nowhere if stream is None else stream) for name, stream in before.items()}
        handlers: dict[int, Any] = {}
        if threading.current_thread() is threading.main_thread():
            # what nohup has told to ignore stays ignored
            wanted = [number for number in _SIGNALS if signal.getsignal(number) is not signal.SIG_IGN]
            handlers = {number: signal.signal(number, _interrupt) for number in wanted}
        for name, stream in streams.items():
            setattr(sys, name, stream)
        hook, sys.unraisablehook = sys.unraisablehook, _again
        try:
            yield
            for stream in streams.values():
                stream.flush()
        finally:
            sys.unraisablehook = hook
            for name, old in before.items():
                setattr(sys, name, old)
            for number, handler in handlers.items():
                signal.signal(number, handler)
    failure = streams["stdout"].failure
    if failure is not None and not isinstance(failure, BrokenPipeError):
        raise Unwritten(failure.errno, failure.strerror)
