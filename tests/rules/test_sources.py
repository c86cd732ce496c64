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
    limits = [(job, need) for job, need in NEEDS if need.kind != "gap"]
    own = {
        f"{job.name}.{need.id}"
        for job, need in limits
        if need.source.startswith("common practice, no source")
    }
    # The share may fall as sources are read; it must not grow unseen. Gaps between jobs are nearly all practice.
    assert 0 < len(own) <= 0.5 * len(limits), (len(own), len(limits), sorted(own))
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


#: Least gaps of the trade's table of what may follow what, in hours (common practice, no source, but where the
#: rules file names one): done, next, hours.
TRADE_GAPS_H = [
    ("mow_green", "foliar_feed", 0.5), ("foliar_feed", "mow_green", 12), ("foliar_feed", "systemic_herbicide", 24),
    ("systemic_herbicide", "mow_surrounds", 48), ("contact_herbicide", "mow_surrounds", 24),
    ("systemic_herbicide", "foliar_feed", 48), ("systemic_herbicide", "systemic_herbicide", 672),
    ("systemic_herbicide", "contact_herbicide", 672), ("systemic_herbicide", "oversowing", 672),
    ("contact_herbicide", "oversowing", 672), ("systemic_herbicide", "granular_feed", 72),
    ("systemic_herbicide", "top_dressing", 168), ("systemic_herbicide", "hollow_coring", 336),
    ("growth_regulator", "mow_green", 4), ("growth_regulator", "oversowing", 336),
    ("growth_regulator", "hollow_coring", 168), ("fungicide", "mow_green", 12), ("fungicide", "fungicide", 168),
    ("pre_emergent", "oversowing", 1440), ("pre_emergent", "hollow_coring", 2160),
    ("pre_emergent", "scarifying", 2160), ("oversowing", "mow_green", 240), ("oversowing", "systemic_herbicide", 1008),
    ("oversowing", "contact_herbicide", 1008), ("oversowing", "growth_regulator", 1008),
    ("oversowing", "foliar_feed", 408), ("oversowing", "hollow_coring", 1440), ("granular_feed", "mow_green", 24),
    ("granular_feed", "foliar_feed", 120), ("granular_feed", "granular_feed", 504),
    ("top_dressing", "mow_green", 24), ("top_dressing", "top_dressing", 168), ("hollow_coring", "mow_green", 48),
    ("hollow_coring", "hollow_coring", 672), ("scarifying", "systemic_herbicide", 336),
]  # fmt: skip


@pytest.mark.parametrize(("done", "following", "least_h"), TRADE_GAPS_H)
@pytest.mark.parametrize("direction", ["since", "until"])
def test_gaps_of_the_trade_hold_both_ways(done, following, least_h, direction):
    by_name = {job.name: job for job in JOBS}
    first, second = by_name[done], by_name[following]
    holder, other = (second, first) if direction == "since" else (first, second)
    held = [
        need.hard_min * {"h": 1, "d": 24}[need.unit]
        for need in holder.needs
        if need.kind == "gap"
        and need.direction == direction
        and (other.name in need.other or other.kind in need.other)
        and need.hard_min is not None
    ]
    if direction == "until" and (done, following) in ONE_WAY:
        return
    assert held, f"{holder.name} has no gap {direction} {other.name}"
    assert max(held) >= least_h


#: Told of the later job alone: the earlier one is not held up by it.
ONE_WAY = {
    ("mow_green", "foliar_feed"), ("fungicide", "fungicide"), ("oversowing", "mow_green"),
    ("oversowing", "systemic_herbicide"), ("pre_emergent", "hollow_coring"), ("hollow_coring", "hollow_coring"),
    ("growth_regulator", "hollow_coring"), ("foliar_feed", "foliar_feed"),
}  # fmt: skip
