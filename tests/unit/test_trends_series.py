"""Series cut into sessions: means with their intervals, clubs, baseline and later, what was declared."""

from __future__ import annotations

import datetime
import math
from dataclasses import replace

import numpy as np
import pytest
from record_factory import season, series_of

from overlay import stats
from overlay.data import MeasureSeries, Session
from overlay.trends import clubs_of, declared_focus, first_day_of, one_club, session_means, split
from overlay.trends.series import drift, within_sessions


def of(values: list[list[float]], sessions: tuple[Session, ...]) -> MeasureSeries:
    flat = np.array([value for some in values for value in some])
    owner = np.array([session.id for session, some in zip(sessions, values) for _ in some], np.int64)
    nan = np.full(len(flat), np.nan)
    return MeasureSeries("hand_depth_back", "torso", "dtl", np.arange(len(flat)), owner, flat, nan, nan, sessions)


def test_means_are_those_of_the_t_interval() -> None:
    sessions = season(3)
    values = [[0.1, 0.2, 0.4], [0.3], [0.5, 0.7]]
    means = session_means(of(values, sessions))
    assert [mean.n for mean in means] == [3, 1, 2]
    for mean, some in zip(means, values):
        assert mean.mean == pytest.approx(np.mean(some))
        if mean.n > 1:
            assert (mean.mean, *mean.interval) == pytest.approx(stats.t_interval(some))
            assert mean.sd == pytest.approx(np.std(some, ddof=1))
    assert math.isnan(means[1].sd)
    assert all(map(math.isnan, means[1].interval))


def test_means_keep_their_digits_far_from_nothing() -> None:
    values = [[1e9 + 0.1, 1e9 + 0.3]]
    (mean,) = session_means(of(values, season(1)))
    assert mean.sd == pytest.approx(math.sqrt(0.02), rel=1e-5)


def test_sessions_come_in_the_order_of_their_days() -> None:
    """Kept later, filmed earlier: the day decides, not the id; a session without a value is left out."""
    first, second, third = season(3)
    early = replace(third, date=first.date - datetime.timedelta(days=9))
    means = session_means(of([[1.0, 1.1], [], [3.0, 3.1]], (first, second, early)))
    assert [mean.session_id for mean in means] == [3, 1]
    assert session_means(of([[], [], []], (first, second, third))) == ()


def test_the_first_day_belongs_to_the_later_sessions() -> None:
    sessions = season(4)
    means = session_means(series_of(sessions, [0.0] * 4))
    before, since = split(means, sessions[2].date)
    assert [len(before), len(since)] == [2, 2]
    assert since[0].date == sessions[2].date


def test_one_club_at_a_time() -> None:
    sessions = season(4)
    clubs = ("7 iron", "Driver", " 7  Iron ", "")
    sessions = tuple(replace(session, club=club) for session, club in zip(sessions, clubs))
    series = of([[1.0, 2.0], [3.0, 4.0, 5.0], [6.0, 7.0], [8.0]], sessions)
    assert clubs_of(series) == ((" 7  Iron ", 4), ("Driver", 3), ("", 1))
    chosen, note = one_club(series)
    assert list(chosen.value) == [1.0, 2.0, 6.0, 7.0]
    assert [session.id for session in chosen.sessions] == [1, 3]
    assert "Driver (3)" in note
    assert "no club told (1)" in note
    driver, note = one_club(series, "driver")
    assert list(driver.value) == [3.0, 4.0, 5.0]
    assert note == ""
    untold, _ = one_club(series, "")
    assert list(untold.value) == [8.0]
    assert one_club(driver)[1] == ""
    assert not len(one_club(series, "putter")[0].value)


def test_what_was_declared() -> None:
    a, b, c, d = season(4)
    sessions = [
        d,
        replace(b, focus="tempo_ratio", aim="higher"),
        replace(c, focus="hand_depth_back", aim="lower"),
        replace(a, focus=""),
    ]
    assert declared_focus(sessions) == ("hand_depth_back", "lower")
    assert declared_focus(sessions, "tempo_ratio") == ("tempo_ratio", "higher")
    assert declared_focus(sessions, "head_line_release") == ("", "either")
    assert first_day_of(sessions, "tempo_ratio") == b.date
    assert first_day_of(sessions, "head_line_release") is None


def test_the_spread_within_sessions_is_pooled() -> None:
    sessions = season(3)
    means = session_means(of([[0.0, 2.0], [5.0], [1.0, 2.0, 3.0]], sessions))
    within = within_sessions(means[:1], means[1:])
    assert within is not None
    assert within.sd == pytest.approx(math.sqrt((2.0 + 2.0) / 3))
    assert (within.df, list(within.baseline), list(within.later)) == (3, [2], [1, 3])
    assert within_sessions(means[1:2], ()) is None


def test_a_baseline_on_the_move() -> None:
    from scipy.stats import linregress

    levels = [0.0, 0.2, 0.1, 0.5, 0.4]
    means = session_means(of([[level] for level in levels], season(5)))
    line = linregress(range(5), levels)
    assert drift(means) == pytest.approx((line.slope, line.pvalue))
    assert all(map(math.isnan, drift(means[:3])))
    assert all(map(math.isnan, drift(session_means(of([[0.1 * i] for i in range(5)], season(5))))))
