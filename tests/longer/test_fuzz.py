"""Three hundred broken files through whole commands; `python tests/robustness/fuzz.py` goes on from there."""

from __future__ import annotations

import pytest

from tests.robustness import fuzz


@pytest.mark.parametrize("first", range(1000, 1300, 50))
def test_whole_commands_on_broken_files_end_with_a_message(first):
    assert fuzz.run(range(first, first + 50)) == []
