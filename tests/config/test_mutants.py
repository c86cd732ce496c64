"""The site file, the rules and the materials, spoilt a thousand ways: read, or refused in words, in little time.

A short form in the plain suite; a thousand mutants of each with `-m replay`.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from planner.config.load import Config, load
from planner.errors import PlannerError
from tests.made import ROOT
from tests.spoiling import bounded, spoilt_bytes, spoilt_lines

FILES = ("haysel.toml", "demo.toml", "rules.toml", "materials.toml")
QUICK = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.function_scoped_fixture]
SHORT = settings(max_examples=15, deadline=None, suppress_health_check=QUICK)
LONG = settings(
    max_examples=1000, deadline=None, suppress_health_check=QUICK, phases=[Phase.explicit, Phase.generate]
)


@pytest.fixture(scope="module")
def folder() -> Iterator[Path]:
    """A copy of the shipped files."""
    with TemporaryDirectory() as name:
        shutil.copytree(ROOT / "config", Path(name) / "config")
        yield Path(name) / "config"


def mutants(name: str) -> st.SearchStrategy[bytes]:
    whole = (ROOT / "config" / name).read_text(encoding="utf-8")
    lines = spoilt_lines(whole, "=").map(lambda text: text.encode("utf-8", "surrogatepass"))
    return st.one_of(lines, lines, lines, spoilt_bytes(whole.encode()))


def read(folder: Path, name: str, body: bytes) -> None:
    """The site file is read with the spoilt file among its own."""
    site = folder / ("demo.toml" if name == "demo.toml" else "haysel.toml")
    good = (folder / name).read_bytes()
    try:
        (folder / name).write_bytes(body)
        with bounded(), suppress(PlannerError):
            assert isinstance(load(site), Config)
    finally:
        (folder / name).write_bytes(good)


@pytest.mark.parametrize("name", FILES)
@SHORT
@given(data=st.data())
def test_some_mutants_of_the_files(folder: Path, name: str, data: st.DataObject) -> None:
    read(folder, name, data.draw(mutants(name)))


@pytest.mark.replay
@pytest.mark.parametrize("name", FILES)
@LONG
@given(data=st.data())
def test_a_thousand_mutants_of_the_files(folder: Path, name: str, data: st.DataObject) -> None:
    read(folder, name, data.draw(mutants(name)))


def test_the_files_as_they_are_can_be_read(folder: Path) -> None:
    for name in ("haysel.toml", "demo.toml"):
        with bounded():
            assert load(folder / name).site.surfaces


@pytest.mark.parametrize("figure", ["nan", "inf", "-inf"])
@pytest.mark.parametrize("limit", ["hard_min", "best_from", "best_to", "hard_max"])
def test_a_limit_that_is_no_figure_is_refused(folder: Path, limit: str, figure: str) -> None:
    """Nothing lies above `nan`, and nothing beyond `inf`: such a limit would never close an hour, or always."""
    whole = (folder / "rules.toml").read_text(encoding="utf-8")
    spoilt = re.sub(rf"(?m)^{limit} = \S+", f"{limit} = {figure}", whole, count=1)
    assert spoilt != whole
    (folder / "rules.toml").write_text(spoilt, encoding="utf-8")
    try:
        with pytest.raises(PlannerError, match=f"{limit}: input\\s+should\\s+be\\s+a\\s+finite\\s+number"):
            load(folder / "haysel.toml")
    finally:
        (folder / "rules.toml").write_text(whole, encoding="utf-8")


def test_a_gap_of_a_thousand_years_is_refused(folder: Path) -> None:
    whole = (folder / "rules.toml").read_text(encoding="utf-8")
    # Only a gap counts its limits in days.
    spoilt = re.sub(r'(?m)^unit = "d"\n', 'unit = "d"\nhard_max = 365000\n', whole, count=1)
    assert spoilt != whole
    (folder / "rules.toml").write_text(spoilt, encoding="utf-8")
    try:
        with pytest.raises(PlannerError, match="more\\s+than\\s+ten\\s+years"):
            load(folder / "haysel.toml")
    finally:
        (folder / "rules.toml").write_text(whole, encoding="utf-8")
