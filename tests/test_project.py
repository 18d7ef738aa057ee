"""The project itself: public names, the README's commands, no heavy import, tables of words kept."""

from __future__ import annotations

import importlib
import importlib.metadata
import pkgutil
import re
from pathlib import Path

import pytest

import panbudget
from panbudget.__main__ import VERBS

ROOT = Path(__file__).resolve().parents[1]
MODULES = sorted(m.name for m in pkgutil.walk_packages(panbudget.__path__, "panbudget.") if "__main__" not in m.name)


@pytest.mark.parametrize("name", MODULES)
def test_listed_names_exist_in_order(name):
    """A facade (a package that offers names of other modules) lists them; a module of a room need not."""
    module = importlib.import_module(name)
    listed = list(getattr(module, "__all__", ()))
    assert listed == sorted(listed, key=lambda key: (not key.isupper(), not key[0].isupper(), key))
    for key in listed:
        assert hasattr(module, key)


def test_facades_list_their_names():
    for name in ("panbudget", "panbudget.weather"):
        assert importlib.import_module(name).__all__, name


def test_every_verb_of_the_command_line_is_a_function_of_its_own_name():
    assert callable(panbudget.download_weather)  # `weather`, which is a room of the package
    for verb in set(VERBS) - {"new", "weather", "open"}:  # `open` shows a page, and its name is Python's own
        assert callable(getattr(panbudget, verb)), verb
        assert verb in panbudget.__all__


def test_every_module_says_what_it_is_for():
    for name in MODULES:
        assert (importlib.import_module(name).__doc__ or "").strip(), name


def test_the_packages_own_names_are_found_when_wanted():
    for name in panbudget.__all__:
        assert getattr(panbudget, name) is not None
    assert panbudget.__version__ == importlib.metadata.version("panbudget")
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        panbudget.nonsense  # noqa: B018


def test_ci_runs_the_readmes_own_test_command():
    readme = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    pattern = re.search(r'grep -E "([^"]+)" README.md', (ROOT / ".ci" / "run").read_text(encoding="utf-8"))
    assert pattern is not None
    lines = [line for line in readme if re.search(pattern.group(1), line)]
    assert len(lines) == 1
    assert "[test]" in lines[0]


def test_the_readmes_files_exist():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+)\)", text):
        if "://" not in target:
            assert (ROOT / target).exists(), target
    for target in re.findall(r"`((?:scenarios|notebooks|weather_samples|tests|simulator)/[^`*]+)`", text):
        assert (ROOT / target).exists(), target


def test_modules_stay_readable():
    for path in [*(ROOT / "simulator").rglob("*.py"), *(ROOT / "tests").rglob("*.py")]:
        assert len(path.read_text(encoding="utf-8").splitlines()) <= 750, path
