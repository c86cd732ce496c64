"""Figures in print, reproduced to the digits printed."""

from __future__ import annotations

import re

import numpy as np
import pytest

from tests.indices.published import FIGURES, PAGE, page
from tests.indices.published_figure import Printed
from tests.indices.published_tables import TABLES, Table
from tests.indices.test_contract import KEYS


@pytest.mark.parametrize(
    "figure", FIGURES, ids=lambda f: re.sub(r"\W+", "-", f"{f.quantity} {f.inputs} {f.printed}")
)
def test_printed_figure_is_reproduced(figure: Printed) -> None:
    assert abs(figure.ours() - float(figure.printed)) <= figure.tolerance
    assert figure.source in KEYS
    assert figure.place


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.source)
def test_printed_table_is_reproduced(table: Table) -> None:
    differences = table.differences()
    assert differences.size == table.cells
    assert not np.isnan(differences).any()
    assert table.worst() <= table.tolerance
    assert table.source in KEYS


def test_there_are_at_least_sixty_figures_most_to_the_very_digits() -> None:
    assert len(FIGURES) >= 60
    assert sum(figure.exact for figure in FIGURES) >= 55
    told = {(figure.quantity, figure.inputs, figure.printed) for figure in FIGURES}
    assert len(told) == len(FIGURES)


def test_the_page_of_published_checks_is_current() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), "stale: run python -m tests.indices.published"
