"""
Command line: parse, call, print. Whatever a command can do, a Python user can do in one call.

A module a verb, which puts its command on `cli.app` when it is imported. Heavy imports wait until a command needs
them, so that ``--help`` is quick.
"""

from panbudget.loading import Loading

with Loading():  # before all else: a Ctrl-C may come as soon as Python runs
    import errno
    import importlib
    import logging
    import os
    import re
    import sys
    import textwrap
    import traceback
    import warnings
    from pathlib import Path
    from typing import Annotated

    import typer

    from panbudget import terminal
    from panbudget.cli import TEXTS, app, problem
    from panbudget.errors import PanbudgetError

    VERBS: list[str] = TEXTS["verbs"]
    for _verb in VERBS:
        importlib.import_module(f"panbudget.cli.{_verb}")

_BAD_INPUT, _BUG, _INTERRUPTED = 2, 70, 130
_WIDEST = 10_000  # letters in a terminal's line
_LONGEST = 400  # letters of what a mistake of ours says
# what a computer can lack, whatever is asked of it
_SHORTAGES = {getattr(errno, name, 0) for name in ("EMFILE", "ENFILE", "ENOSPC", "EDQUOT", "ENOMEM", "EAGAIN")}

# what matplotlib says where it can't keep its list of fonts, by loggers of its own
_FONTS = re.compile(r"Could not save|mkdir -p failed|\S+ is not a writable|Matplotlib created a temporary")
# what it says of lines of a settings file
_SETTINGS = re.compile(r"Missing colon|Duplicate key|\s*Bad (key|value)")
# what names the folders of that list and of its settings, and where at home they are if it names none
_FOLDERS = {"MPLCONFIGDIR": ".matplotlib", "XDG_CACHE_HOME": ".cache", "XDG_CONFIG_HOME": ".config"}
_UNDECODED = "Cannot decode configuration file"
_DRAWN_BY = ("matplotlib", "matplotlib.font_manager")

_NO_TEMPORARY = "No usable temporary directory"
_UNMAPPED = "failed to map segment"  # a library's, for which there is no memory left


def _version(wanted: bool) -> None:
    if wanted:
        import importlib.metadata

        typer.echo(f"panbudget {importlib.metadata.version('panbudget')}")
        raise typer.Exit


@app.callback()
def _common(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and exit.")
    ] = False,
) -> None:
    """Take what goes before a command."""


def main(arguments: list[str] | None = None) -> None:
    """
    Run the command line.

    Exit codes: 0 done; 1 with ``--strict`` when a finding is a danger; 2 bad input; 70 a mistake of ours; 130
    interrupted.
    """
    if not (os.environ.get("COLUMNS", "").isdecimal() and 0 < int(os.environ["COLUMNS"][:9]) <= _WIDEST):
        os.environ.pop("COLUMNS", None)  # no terminal is so wide: it takes all memory to fill its lines
    os.environ["MPLBACKEND"] = "agg"  # whatever a notebook has left there: figures are files here
    try:
        for name, usual in _FOLDERS.items():
            Path(os.environ.get(name) or Path.home() / usual, "matplotlib").resolve()
    except (OSError, RuntimeError):  # a loop of links, on which matplotlib fails: with no folder it makes one to go on
        os.environ["MPLCONFIGDIR"] = os.devnull
    if arguments is None and not sys.warnoptions:
        warnings.simplefilter("ignore")  # libraries' are for who writes programs, and for the tests
    said = list[str]()
    for name in _DRAWN_BY:
        logging.getLogger(name).addFilter(lambda record: _in_a_line(record, said))
    try:
        with terminal.patient():
            code = _run(arguments)
    except terminal.Unwritten as error:
        with terminal.patient():  # standard error may be full too
            typer.echo(f"standard output can't be written ({error.strerror})", err=True)
        code = _BAD_INPUT
    except KeyboardInterrupt:  # in the moments before and after the run
        code = _INTERRUPTED
    if code == _INTERRUPTED:
        # an interrupt that has passed through an exec of text, as dataclasses are made by, would end `python -m` by a
        # signal of its own: Python forgets it at the next text that it evaluates
        eval("0")
    if arguments is None:  # what a library's objects say at Python's end is of no use, as in the run
        sys.unraisablehook = terminal.unraised
    sys.exit(code)


def _in_a_line(record: logging.LogRecord, said: list[str]) -> bool:
    """Say once, in a plain line, that matplotlib has no place for its list of fonts; refuse settings that are no text."""
    if _SETTINGS.match(record.getMessage()):
        return False  # our figures use none of a person's settings
    if str(record.msg).startswith(_UNDECODED) and isinstance(record.args, tuple):
        raise PanbudgetError(problem("undecoded", str(record.args[0])))
    if not _FONTS.match(record.getMessage()):
        return True
    record.msg, record.args, before = TEXTS["fonts"], (), bool(said)
    said.append(record.msg)
    return not before


def _run(arguments: list[str] | None) -> int:
    try:
        code = app(args=arguments, standalone_mode=False)
    except PanbudgetError as error:
        typer.echo(str(error), err=True)
        hints = TEXTS["hints"]  # options, which the library does not know
        for hint in dict.fromkeys(hints[problem.code] for problem in error.problems if problem.code in hints):
            if "--out" not in hint or "--out" in " ".join(arguments or sys.argv):  # `new` has none
                typer.echo(hint, err=True)
        code = _BAD_INPUT
    except KeyboardInterrupt:
        code = _INTERRUPTED
    except SystemExit as ended:  # a shell's completion, asked for by an environment variable
        code = _BAD_INPUT if ended.code else 0
    except Exception as error:  # typer's own message for a mistake in the call; anything else is a bug of ours
        # a compiled library makes an error of its own of an interrupt, as where models are built or it is just being loaded
        if terminal.came or str(error).rstrip(": ").endswith("KeyboardInterrupt"):
            code = _INTERRUPTED
        elif type(error).__name__ == "Abort":  # a question's, at the end of what it reads
            typer.echo(str(PanbudgetError(problem("unanswered", "standard input"))), err=True)
            code = _BAD_INPUT
        elif callable(show := getattr(error, "show", None)) and isinstance(getattr(error, "exit_code", None), int):
            show()
            code = _BAD_INPUT
        elif isinstance(error, MemoryError) or getattr(error, "errno", None) in _SHORTAGES or _UNMAPPED in str(error):
            what = getattr(error, "strerror", None) or "no memory is left"
            typer.echo(f"this computer could not go on: {what.lower()}; nothing half-made is left", err=True)
            code = _BAD_INPUT
        elif _NO_TEMPORARY in str(error.__cause__ or error):
            typer.echo(str(PanbudgetError(problem("no-temporary", "the folder of temporary files"))), err=True)
            code = _BAD_INPUT
        else:
            code = _told(error)
    if code == _INTERRUPTED:
        typer.echo("Interrupted; nothing half-made is left.", err=True)
    return code if isinstance(code, int) else 0


def _told(error: Exception) -> int:
    """Say that a mistake is ours, in two lines; all of it where PANBUDGET_TRACEBACK is set."""
    if os.environ.get("PANBUDGET_TRACEBACK"):
        traceback.print_exception(error)
    last = traceback.extract_tb(error.__traceback__)[-1]
    what = textwrap.shorten(str(error), _LONGEST, placeholder=" …")  # which may quote a whole weather file
    at = f"{type(error).__name__} in {Path(last.filename).name}, line {last.lineno}: {what}"
    typer.echo(" ".join(f"panbudget itself is at fault: {at}".split()), err=True)
    typer.echo(TEXTS["ours"]["report"], err=True)
    return _BUG


if __name__ == "__main__":
    main()
