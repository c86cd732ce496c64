"""A warning is told once, told again when it matters, and stood down in words."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace

import pytest

from planner.warnings.life import FALLEN, PASSED, body, title
from tests.warnings.made import LET_GO, NOW, H, Story, notice


def test_the_same_news_is_told_once():
    story = Story()
    for hour in range(12):
        story.passed(hour, [notice(0.6)])
    assert story.words == ["raised"]
    assert len(story.states) == 1


def test_s29_a_revised_forecast_stands_the_warning_down_in_words():
    # Scenario S29: wash W 0.8, six hours later 0.2.
    story = Story()
    story.passed(0, [notice(0.8)])
    # 0.2 lies below the threshold of 0.25 and what is let go: no candidate is found (tests/warnings/test_kinds).
    life = story.passed(6, [])
    assert life.notices == ()
    assert story.words == ["raised", "over"]
    ended = story.told[-1]
    assert ended.what == FALLEN
    assert ended.closes
    assert title(ended) == "Over: seed wash, apron strip"
    assert body(ended).startswith("Over: that rain is no longer expected to move seed.")
    # Kept, not deleted.
    assert next(iter(story.states.values())).state == "over"


def test_s29_it_comes_back_only_above_threshold_and_margin_and_under_its_own_name():
    story = Story()
    story.passed(0, [notice(0.8)])
    story.passed(6, [])
    for hour, strength in ((7, 0.26), (8, 0.30), (9, 0.34)):
        assert story.passed(hour, [notice(strength)]).notices == ()
    assert story.words == ["raised", "over"]
    story.passed(10, [notice(0.36)])
    assert story.words == ["raised", "over", "raised"]
    assert len({news.id for news in story.told}) == 1
    assert [news.change for news in story.told] == [1, 2, 3]
    assert "Expected again" in body(story.told[-1])


def test_a_new_warning_below_its_threshold_is_not_raised():
    story = Story()
    assert story.passed(0, [notice(0.2)]).notices == ()
    assert story.told == []


def test_a_strength_that_swings_within_the_margin_is_told_once():
    story = Story()
    for hour, strength in enumerate([0.27, 0.23, 0.26, 0.22, 0.25, 0.21, 0.28] * 3):
        assert len(story.passed(hour / 4, [notice(strength)]).notices) == 1
    assert story.words == ["raised"]


def test_a_level_that_swings_within_the_margin_is_told_once_up():
    story = Story()
    for hour, strength in enumerate([0.45, 0.52, 0.46, 0.51, 0.44, 0.53]):
        story.passed(hour, [notice(strength)])
    assert story.words == ["raised", "changed"]
    assert "now care, was note" in body(story.told[-1])


def test_a_level_that_falls_beyond_the_margin_is_eased():
    story = Story()
    story.passed(0, [notice(0.55)])
    story.passed(1, [notice(0.38)])
    assert story.words == ["raised", "eased"]
    assert title(story.told[-1]) == "Eased, note: seed wash, apron strip"


@pytest.mark.parametrize(("moved_h", "told"), [(2.9, 1), (-2.9, 1), (3.0, 2), (-3.0, 2), (8.0, 2)])
def test_an_onset_that_moves_by_three_hours_is_told(moved_h, told):
    story = Story()
    story.passed(0, [notice(0.6)])
    story.passed(1, [notice(0.6, in_h=14 + moved_h)])
    assert len(story.told) == told
    assert len(story.states) == 1
    if told == 2:
        assert f"begins {abs(moved_h):.0f} h {'later' if moved_h > 0 else 'sooner'}" in body(story.told[-1])


def test_small_moves_add_up_to_one_that_is_told():
    story = Story()
    for hour in range(7):
        story.passed(hour, [notice(0.6, in_h=14 + hour)])
    # Told at 3 h and at 6 h from what was said first, never in between.
    assert story.words == ["raised", "changed", "changed"]


def test_an_onset_that_moves_across_midnight_is_the_same_warning():
    story = Story()
    story.passed(0, [notice(0.6, in_h=17.5)])
    life = story.passed(1, [notice(0.6, in_h=18.5)])
    assert (NOW + 17.5 * H).date() != (NOW + 18.5 * H).date()
    assert life.notices[0].id == story.told[0].id
    assert len(story.told) == 1


def test_two_events_stay_apart_and_one_that_joins_is_not_stood_down():
    story = Story()
    story.passed(0, [notice(0.6, in_h=10), notice(0.7, in_h=40)])
    assert len(story.states) == 2
    story.passed(1, [notice(0.6, in_h=10.5), notice(0.7, in_h=39)])
    assert story.words == ["raised", "raised"]
    story.passed(2, [notice(0.7, in_h=10, lasts_h=36)])
    assert story.words == ["raised", "raised"]
    assert Counter(state.state for state in story.states.values()) == {"raised": 1, "over": 1}


def test_other_surfaces_and_other_jobs_are_other_warnings():
    story = Story()
    story.passed(0, [notice(), notice(surface="green"), notice(job="foliar_feed")])
    assert len({news.id for news in story.told}) == 3


def test_one_whose_time_has_come_is_stood_down_as_passed():
    story = Story()
    story.passed(0, [notice(0.6)])
    story.passed(19, [])
    assert story.told[-1].what == PASSED
    assert "that rain has passed" in body(story.told[-1])


def test_an_onset_creeping_with_the_clock_is_no_change():
    story = Story()
    for hour in range(10):
        story.passed(hour, [notice(0.6, in_h=max(hour, 1), lasts_h=20)])
    assert story.words == ["raised"]


def test_what_cannot_be_read_stands_as_it_was():
    # Unknown is never silently fine: scenario S17, the last warning is kept.
    story = Story()
    story.passed(0, [notice(0.8)])
    life = story.passed(6, [], unread=True)
    assert [one.strength for one in life.notices] == [0.8]
    assert story.words == ["raised"]
    story.passed(7, [])
    assert story.words == ["raised", "over"]


def test_two_of_a_kind_on_one_day_get_names_of_their_own():
    story = Story()
    story.passed(0, [notice(0.6, in_h=1, lasts_h=1)])
    story.passed(4, [])
    # More than nine hours later on the same day: another event.
    story.passed(5, [notice(0.6, in_h=15)])
    assert [news.state for news in story.told] == ["raised", "over", "raised"]
    assert story.told[0].id != story.told[2].id
    assert story.told[2].id.endswith("-2")


def test_a_thousand_random_revisions_tell_each_change_once_and_never_flap():
    dice = random.Random(7)
    for _ in range(60):
        story, strength, onset = Story(), dice.random(), 30.0
        for hour in range(24):
            strength = min(max(strength + dice.uniform(-0.04, 0.04), 0.0), 1.0)
            onset += dice.uniform(-0.4, 0.4)
            found = [notice(strength, in_h=onset)] if strength >= 0.25 - LET_GO else []
            story.passed(hour, found)
        keys = [(news.id, news.change) for news in story.told]
        assert len(keys) == len(set(keys))
        assert len(story.told) <= 6, story.words


def test_a_state_survives_the_store():
    from planner.actions.messages import standing_of, state_of

    story = Story()
    story.passed(0, [replace(notice(0.8), figures={"rain_mm": 12.0, "until": None})])
    kept = next(iter(story.states.values()))
    assert standing_of([state_of(kept)]) == (kept,)
