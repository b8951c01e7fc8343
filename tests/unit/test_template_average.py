"""The pieces of a template whose answer is known by algebra: medians, robust means, mean timing, mean shaft."""

from __future__ import annotations

from dataclasses import replace

import comparison_factory as factory
import numpy as np
import pytest

from overlay.data import Ball, ClubTrack, Strike, Swing, TimeMap
from overlay.errors import DataError
from overlay.settings.template import TemplateSettings
from overlay.template.average import Clock, mean_clock, mean_positions, robust_mean, tapered, weighted_median
from overlay.template.extras import mean_club, mean_strike
from overlay.template.members import Member, member_of

SETTINGS = TemplateSettings()


def member(swing: Swing, index: int = 0) -> Member:
    return member_of(index, f"s{index}", swing, SETTINGS)


def test_weighted_median_halves_the_weight() -> None:
    values = np.array([[5.0, 1.0], [1.0, 2.0], [2.0, 3.0], [9.0, 4.0]])
    even = np.ones_like(values)
    assert weighted_median(values, even).tolist() == [3.5, 2.5]
    heavy = even.copy()
    heavy[3, 0] = 4.0
    assert weighted_median(values, heavy)[0] == 9.0
    assert weighted_median(values, np.array([[1.0], [0.0], [0.0], [0.0]]) * even)[0] == 5.0


def test_robust_mean_is_the_mean_of_what_belongs() -> None:
    """Nine values about 10 within the limit, one 500 away: the mean moves by no more than limit ÷ 9."""
    rng = np.random.default_rng(0)
    values = np.full((10, 40, 1, 2), 10.0) + rng.normal(0, 1, (10, 1, 1, 2))
    plain = values[:9].mean(axis=0)
    values[9] = 510.0
    weight = np.ones(values.shape[:3])
    mean, pull = robust_mean(values, weight, SETTINGS)
    spread = np.median(np.linalg.norm(values[:, 0, 0] - mean[0, 0], axis=1)) / 1.177
    limit = SETTINGS.huber * max(spread, 1.0)
    assert np.linalg.norm(mean - plain, axis=-1).max() < 1.5 * limit / 9
    assert pull[9].max() < 0.01
    assert np.median(pull[:9]) == 1.0


def test_robust_mean_leaves_out_what_is_missing_and_weighs_the_rest() -> None:
    values = np.zeros((2, 3, 1, 2))
    values[1] = 4.0
    values[1, 1] = np.nan
    weight = np.ones((2, 3, 1))
    weight[1] = 3.0
    weight[:, 2] = 0.0
    mean, _ = robust_mean(values, weight, SETTINGS)
    assert mean[:, 0, 0].tolist()[:2] == [3.0, 0.0]
    assert np.isnan(mean[2]).all()


def test_a_swing_fades_out_where_its_joint_is_lost() -> None:
    seen = np.ones((41, 1), bool)
    seen[20:] = False
    faded = tapered(np.ones((41, 1)), seen, 4)[:, 0]
    assert faded[20:].max() == 0.0
    assert faded[19] < 0.01
    assert np.all(np.diff(faded[10:20]) <= 1e-12)
    assert faded[:11].tolist() == [1.0] * 11


def test_durations_are_the_mean_of_the_members() -> None:
    """Lengths 1.4, 1.6 and 2.1 s: the mean swing lasts 1.7 s, each position at the mean of its own times."""
    swings = [factory.make_swing(length_s=length, rate=60) for length in (1.4, 1.6, 2.1)]
    members = [member(swing, i) for i, swing in enumerate(swings)]
    centre = members[0].swing
    maps = [
        TimeMap(np.array(list(centre.positions.times().values())), np.array(list(m.swing.positions.times().values())))
        for m in members
    ]
    clock = mean_clock(centre, members, maps, SETTINGS)
    positions = mean_positions(members, clock, SETTINGS)
    times = positions.times()
    assert times["finish"] - times["address"] == pytest.approx(1.7, abs=0.003)
    top = np.mean([m.swing.positions.times()["top"] - m.swing.positions.times()["address"] for m in members])
    assert times["top"] - times["address"] == pytest.approx(top, abs=0.003)


def test_a_clip_of_unknown_speed_adds_its_shape_but_not_its_pace() -> None:
    swings = [factory.make_swing(length_s=length, rate=60) for length in (1.4, 1.6)]
    slow = factory.make_swing(length_s=7.0, rate=60)
    slow = replace(slow, quality={"slow_factor_estimate": 4.0})
    members = [member(swing, i) for i, swing in enumerate([*swings, slow])]
    assert [m.clock_known for m in members] == [True, True, False]
    assert members[2].slow_factor == 4.0
    centre = members[0].swing
    mine = np.array(list(centre.positions.times().values()))
    maps = [TimeMap(mine, np.array(list(m.swing.positions.times().values()))) for m in members]
    clock = mean_clock(centre, members, maps, SETTINGS)
    times = mean_positions(members, clock, SETTINGS).times()
    assert times["finish"] - times["address"] == pytest.approx(1.5, abs=0.003)


def test_a_position_that_most_swings_miss_is_missing_with_a_reason() -> None:
    swings = [factory.make_swing(rate=60, missing=("top",) if i < 2 else ()) for i in range(3)]
    members = [member(swing, i) for i, swing in enumerate(swings)]
    mine = np.array(list(members[2].swing.positions.times().values()))
    clock = mean_clock(members[2].swing, members, [TimeMap(mine, mine)] * 3, SETTINGS)
    positions = mean_positions(members, clock, SETTINGS)
    assert positions.time("top") is None
    assert positions.missing["top"] == "found in only 1 of the 3 swings"


def with_club(swing: Swing, angle_deg: np.ndarray, state: list[str], scale: float = 1.0) -> Swing:
    n = len(swing.pose)
    grip = (swing.pose.joint("left_wrist") + swing.pose.joint("right_wrist")) / 2
    club = ClubTrack(swing.pose.time_s, grip, angle_deg, np.full(n, 100.0 * scale), tuple(state))  # type: ignore[arg-type]
    return replace(swing, club=club)


def still_clock(swing: Swing, count: int) -> Clock:
    time = swing.pose.time_s
    return Clock(time, np.stack([time] * count), time, time)


def test_shafts_are_averaged_on_the_circle_and_only_where_seen() -> None:
    """+170°, −170° and 180°: the mean is ±180°, not 0. Two of three hidden: only carried, not measured."""
    base = factory.make_swing(rate=60)
    n = len(base.pose)
    members = []
    for i, angle in enumerate((170.0, -170.0, 180.0)):
        state = ["measured"] * n
        angles = np.full(n, angle)
        if i:
            state[60:] = ["hidden"] * (n - 60)
            angles[60:] = np.nan
        else:
            state[90:] = ["hidden"] * (n - 90)
            angles[90:] = np.nan
        members.append(member(with_club(base, angles, state), i))
    club = mean_club(members, still_clock(members[0].swing, 3), SETTINGS)
    assert club is not None
    assert np.cos(np.radians(club.angle_deg[:59])) == pytest.approx(-1.0, abs=1e-3)
    assert set(club.state[:59]) == {"measured"}
    assert set(club.state[61:89]) == {"interpolated"}
    assert set(club.state[91:]) == {"hidden"}
    assert np.isnan(club.angle_deg[91:]).all()
    # 100 px at a torso of 60 px, in the common frame whose torso is 100 px.
    assert club.length_px[10] == pytest.approx(100.0 * members[0].scale, rel=1e-6)


def test_one_shaft_far_off_hardly_pulls() -> None:
    base = factory.make_swing(rate=60)
    n = len(base.pose)
    members = [
        member(with_club(base, np.full(n, angle), ["measured"] * n), i)
        for i, angle in enumerate((88.0, 90.0, 92.0, 90.0, 170.0))
    ]
    club = mean_club(members, still_clock(members[0].swing, 5), SETTINGS)
    assert club is not None
    assert club.angle_deg[30] == pytest.approx(91.3, abs=1.5)


def test_without_any_shaft_there_is_none() -> None:
    members = [member(factory.make_swing(rate=60), i) for i in range(2)]
    assert mean_club(members, still_clock(members[0].swing, 2), SETTINGS) is None


def test_ball_and_strike_are_those_of_most_swings() -> None:
    swings = []
    for i, x in enumerate((200.0, 202.0, 201.0)):
        base = factory.make_swing(rate=60)
        impact = base.positions.time("impact")
        assert impact is not None
        ball = Ball((x, 270.0), 6.0, 0.8, impact - 0.01, impact + 0.02)
        swings.append(replace(base, strike=Strike(impact, 0.01, i > 0, ball)))
    members = [member(swing, i) for i, swing in enumerate(swings)]
    clock = mean_clock(members[0].swing, members, [TimeMap(np.array([0.4, 2.0]), np.array([0.4, 2.0]))] * 3, SETTINGS)
    positions = mean_positions(members, clock, SETTINGS)
    strike = mean_strike(members, positions, SETTINGS)
    assert strike is not None
    assert strike.struck is True
    assert strike.ball is not None
    wanted = 201.0 * members[0].scale + members[0].shift[0]
    assert strike.ball.place[0] == pytest.approx(wanted, abs=0.01)
    assert strike.ball.gone_s == pytest.approx(positions.times()["impact"] + 0.02, abs=1e-6)


def test_maps_that_do_not_fit_are_told() -> None:
    from overlay.score.band import cell_offsets

    swing = factory.make_swing(rate=60)
    with pytest.raises(DataError, match="1 swings come with 0 time maps"):
        cell_offsets(swing, [swing], [])
