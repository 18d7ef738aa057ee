"""Two thousand random seasons: 143 gardens under seven laws, each of two or three replays."""

from __future__ import annotations

import pytest

from tests.test_random_seasons import LAWS


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.__name__)
def test_laws_hold_over_many_gardens(law, tmp_path):
    for number in range(1000, 1143):
        try:
            law(number, tmp_path)
        except AssertionError as error:
            raise AssertionError(f"garden {number}: {error}") from error
