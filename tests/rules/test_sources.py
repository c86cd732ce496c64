"""Every shipped limit says where it comes from, and a guess says that it is one."""

from __future__ import annotations

import re

import pytest

from planner.config.load import load
from planner.rules.limit import Limit
from tests.made import DEMO, ROOT

JOBS = load(DEMO).jobs
NEEDS = [(job, need) for job in JOBS for need in job.needs]
RULES = (ROOT / "config" / "rules.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("job", "need"), NEEDS, ids=lambda part: getattr(part, "name", getattr(part, "id", ""))
)
def test_every_limit_has_a_source_a_sentence_and_a_confidence(job, need):
    assert len(need.source) > 5
    assert need.confidence in "ABC"
    assert need.label
    if need.hard_min is not None or (need.best_from is not None and need.kind == "limit"):
        assert need.low, "no words for a figure that is too low"
    if need.hard_max is not None or (need.best_to is not None and need.kind == "limit"):
        assert need.high, "no words for a figure that is too high"


def test_limits_without_a_source_are_these_and_say_so():
    own = {
        f"{job.name}.{need.id}" for job, need in NEEDS if need.source.startswith("common practice, no source")
    }
    # The share may fall as sources are read; it must not grow unseen.
    assert 0 < len(own) <= 0.6 * len(NEEDS), sorted(own)
    for job, need in NEEDS:
        if f"{job.name}.{need.id}" in own:
            assert need.confidence == "C" or need.kind in ("gap", "clock"), f"{job.name}.{need.id}"


def test_a_guess_is_marked_beside_its_figure():
    # A need of confidence C with figures of its own and no source carries the word beside at least one figure,
    # or names common practice.
    for block in re.split(r"\n(?=\[)", RULES):
        if 'confidence = "C"' in block and re.search(r"^(hard|best)_", block, re.M):
            assert (
                "guess" in block or "common practice" in block or "from memory" in block or "labels" in block
            ), block


def test_jobs_cover_the_keepers_year():
    names = {job.name for job in JOBS}
    assert names >= {
        "foliar_feed", "systemic_herbicide", "contact_herbicide", "pre_emergent", "growth_regulator", "fungicide",
        "root_fungicide", "wetting_agent", "granular_feed", "oversowing", "full_seeding", "mow_green", "mow_collar",
        "mow_surrounds", "mow_tee", "mow_rough", "rolling", "top_dressing", "hollow_coring", "scarifying",
        "hand_watering",
    }  # fmt: skip


def test_spraying_shows_its_cautions_and_label_jobs_are_marked():
    for job in JOBS:
        if job.kind != "spraying":
            continue
        text = " ".join(job.cautions)
        for wanted in ("label", "licensed", "Wear", "drain"):
            assert wanted in text, f"{job.name}: {wanted}"
        assert job.has_label or job.name == "foliar_feed"


def test_limits_read_quantities_that_exist_for_their_span():
    for job, need in NEEDS:
        if isinstance(need, Limit):
            first, last = need.span_h(job.duration_h)
            assert last - first <= 16 * 24, f"{job.name}.{need.id}"
