"""Too little growth is told alike in spring and in autumn: its figure does not know which of the two it is."""

from __future__ import annotations

import pytest

from tests.made import config

NEEDS = [
    pytest.param(need, id=f"{job.name}.{need.id}")
    for job in config().jobs
    for need in job.needs
    if getattr(need, "quantity", "").startswith("growth_potential")
]


@pytest.mark.parametrize("need", NEEDS)
def test_a_need_of_growth_names_no_season(need):
    said = f"{need.low} {need.remedy}"
    assert not any(word in said for word in ("season", "ending", "back until", "is back", "spring"))
