"""How a figure of speed is held: as a ratio of two things measured in one run, kept for the table."""

from __future__ import annotations

from collections.abc import Callable

import pytest

#: The name under which a figure travels from a test to the table.
FIGURE = "figure"
Hold = Callable[..., None]


@pytest.fixture
def hold(record_property: Callable[[str, object], None]) -> Hold:
    """`hold(what, value, of, most=M)` or `least=L`: the ratio `value` of `what` to `of` keeps within its limit."""

    def held(
        what: str, value: float, of: str, *, most: float | None = None, least: float | None = None
    ) -> None:
        record_property(FIGURE, [what, value, of, most, least])
        print(f"{what}: {value:.3g} {of}")  # noqa: T201
        assert most is None or value <= most, f"{what}: {value:.3g} {of}, at most {most:g} is asked"
        assert least is None or value >= least, f"{what}: {value:.3g} {of}, at least {least:g} is asked"

    return held
