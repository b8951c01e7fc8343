"""Recognising two views of one swing: by movement, times, sound and by hand; one time map; positions put together."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from comparison_factory import make_swing

from overlay.clean import clean
from overlay.data import Check, Checklist, FirstThing, Measure, Position, Positions, Swing
from overlay.errors import DataError, MismatchError
from overlay.golfer import (
    CameraSpec,
    GolferSpec,
    Motion,
    NoiseSpec,
    SoundSpec,
    TempoSpec,
    range_sound,
    simulate,
    truth_track,
)
from overlay.pair import PairSettings, _undecided, fused_positions, joint_first, pair_views
from overlay.pair.clock import clock_of, robust_mean, shared_positions
from overlay.pair.evidence import combined, movement_says, points_of, recorded_clue
from overlay.pair.positions import stepped_map
from overlay.positions import find_swings
from overlay.terms import POSITION_NAMES

AHEAD_S = 0.413
"""The face-on clip was started this much earlier."""


def seen(motion: Motion, view: str, rate_hz: float, seed: int, ahead_s: float = 0.0) -> Swing:
    camera = CameraSpec.for_motion(motion, view)
    track = clean(truth_track(motion, camera, rate_hz, noise=NoiseSpec(), seed=seed))
    swing = find_swings(track, view=view, handedness=motion.spec.handedness)[0]  # type: ignore[arg-type]
    return on_clock(swing, ahead_s)


def on_clock(swing: Swing, ahead_s: float, slow: float = 1.0) -> Swing:
    found = tuple(
        dataclasses.replace(p, time_s=(p.time_s + ahead_s) * slow, sd_s=None if p.sd_s is None else p.sd_s * slow)
        for p in swing.positions.found
    )
    return dataclasses.replace(
        swing,
        pose=dataclasses.replace(swing.pose, time_s=(swing.pose.time_s + ahead_s) * slow),
        positions=dataclasses.replace(swing.positions, found=found),
        quality={**swing.quality, "slow_factor_estimate": 1.0 if slow == 1 else 0.8 * slow},
    )


@pytest.fixture(scope="module")
def motion() -> Motion:
    return simulate(GolferSpec(tempo=TempoSpec(pre_s=1.0, relax_s=0.5, post_s=0.0), variation=1.0, seed=4))


@pytest.fixture(scope="module")
def views(motion: Motion) -> tuple[Swing, Swing]:
    return seen(motion, "dtl", 60.0, 1), seen(motion, "fo", 120.0, 2, AHEAD_S)


def test_told_by_hand_gives_one_affine_map(motion: Motion, views: tuple[Swing, Swing]) -> None:
    pair = pair_views(*views, offset_s=AHEAD_S)
    assert pair.one_swing
    at = np.array([motion.position_times[name] for name in POSITION_NAMES])
    off = pair.time_map.to_reference(at) - at
    assert np.ptp(off) < 2e-6
    assert off[0] == pytest.approx(AHEAD_S, abs=0.015)
    assert abs(off[0] - AHEAD_S) <= 3 * pair.sd_s
    assert "One swing under two cameras" in pair.evidence[0]


def test_the_order_of_the_views_does_not_matter(views: tuple[Swing, Swing]) -> None:
    one = pair_views(views[0], views[1], offset_s=AHEAD_S)
    other = pair_views(views[1], views[0], offset_s=AHEAD_S)
    assert other.dtl.view == "dtl"
    assert other.time_map.to_reference(1.0) == one.time_map.to_reference(1.0)
    first = pair_views(views[0], views[1], recorded_at=(1000.4, 1000.0))
    second = pair_views(views[1], views[0], recorded_at=(1000.0, 1000.4))
    assert first.one_swing
    assert second.one_swing


def test_an_offset_that_the_movement_contradicts_is_refused(views: tuple[Swing, Swing]) -> None:
    pair = pair_views(*views, offset_s=AHEAD_S + 0.5)
    assert not pair.one_swing
    assert any("not one swing at the offset that was told" in line for line in pair.evidence)


def test_another_tempo_is_refused_whatever_is_told(motion: Motion, views: tuple[Swing, Swing]) -> None:
    slower = simulate(dataclasses.replace(motion.spec, tempo=dataclasses.replace(motion.spec.tempo, backswing_s=1.1)))
    other = seen(slower, "fo", 120.0, 2)
    impact = views[0].positions.time("impact"), other.positions.time("impact")
    assert impact[0] is not None
    assert impact[1] is not None
    pair = pair_views(views[0], other, offset_s=impact[1] - impact[0])
    assert not pair.one_swing
    assert any("It is not one swing: the tempo differs" in line for line in pair.evidence)


def test_without_evidence_it_is_not_said_to_be_one_swing(views: tuple[Swing, Swing]) -> None:
    pair = pair_views(*views)
    assert not pair.one_swing
    assert any("95 %" in line for line in pair.evidence)
    # As sure as almost asked for (odds of 18.7 to 1 are 94.9 %) is not said to be as sure as asked for.
    clocks = clock_of(views[0]), clock_of(views[1])
    assert "(94 %; 95 % are asked for)" in _undecided([], math.log(18.7), None, clocks)
    # The offset that the movement found is offered to whoever knows that it is one swing.
    offered = next(float(line.split("tell the offset ")[1].split(" s")[0]) for line in pair.evidence if "tell" in line)
    assert offered == pytest.approx(AHEAD_S, abs=0.02)
    assert pair_views(*views, offset_s=offered).one_swing
    # In step all the same.
    for name in ("top", "impact"):
        at = views[0].positions.time(name), views[1].positions.time(name)
        assert at[0] is not None
        assert float(pair.time_map.to_reference(at[0])) == pytest.approx(at[1], abs=0.02)


def test_times_of_recording_count_both_ways(views: tuple[Swing, Swing]) -> None:
    near = pair_views(*views, recorded_at=(1_700_000_010.0, 1_700_000_009.0))
    far = pair_views(*views, recorded_at=(1_700_000_010.0, 1_700_000_110.0))
    assert near.one_swing
    assert not far.one_swing
    assert any("100 s apart" in line for line in far.evidence)


def test_sound_of_the_same_moments_makes_it_one_swing(motion: Motion, views: tuple[Swing, Swing]) -> None:
    # One scene with busy neighbours; the second phone hears it later on its clock and more quietly.
    spec = SoundSpec(others_per_s=1.5, others_m=(6.0, 15.0), seed=8)
    scene = range_sound(spec, start_s=0.0, stop_s=motion.duration_s, impacts_s=motion.impacts_s)
    noise = np.random.default_rng(3).normal(0.0, 0.002, len(scene.samples))
    quiet = dataclasses.replace(scene, samples=(0.4 * scene.samples + noise).astype(np.float32), start_s=AHEAD_S)
    pair = pair_views(*views, sounds=(scene, quiet))
    assert pair.one_swing
    assert any("same sounds" in line for line in pair.evidence)
    other = range_sound(
        dataclasses.replace(spec, seed=9), start_s=0.0, stop_s=motion.duration_s, impacts_s=motion.impacts_s
    )
    assert not pair_views(*views, sounds=(scene, dataclasses.replace(other, start_s=AHEAD_S))).one_swing


def test_sounds_that_fall_together_elsewhere_are_refused(views: tuple[Swing, Swing]) -> None:
    # A busy scene without the player's own strike, which lies 90 ms off on the second clip's clock.
    spec = SoundSpec(strike=0.0, others_per_s=3.0, others_m=(6.0, 12.0), seed=5)
    scene = range_sound(spec, start_s=0.0, stop_s=4.0)
    late = dataclasses.replace(scene, start_s=AHEAD_S + 0.09)
    pair = pair_views(*views, sounds=(scene, late))
    assert not pair.one_swing
    assert any("sounds fall together 0.09 s away" in line for line in pair.evidence)


def test_slow_motion_whose_rate_is_not_told(motion: Motion, views: tuple[Swing, Swing]) -> None:
    slow = on_clock(views[1], 0.0, 8.0)
    assert clock_of(slow).slow == pytest.approx(6.4)
    pair = pair_views(views[0], slow, offset_s=8 * AHEAD_S)
    assert pair.one_swing
    impact = motion.position_times["impact"]
    assert float(pair.time_map.to_reference(impact)) / 8.0 == pytest.approx(impact + AHEAD_S, abs=0.02)
    assert pair.time_map.outer_slope == pytest.approx(8.0, rel=0.03)


def test_a_pair_is_one_view_of_each_and_one_hand(views: tuple[Swing, Swing]) -> None:
    with pytest.raises(MismatchError, match="one down the line and one face on"):
        pair_views(views[0], views[0])
    lefty = dataclasses.replace(views[1], handedness="left")
    with pytest.raises(MismatchError, match="right-handed, the other left-handed"):
        pair_views(views[0], lefty)


def test_what_is_told_must_be_numbers(views: tuple[Swing, Swing]) -> None:
    with pytest.raises(DataError, match="offset of nan s"):
        pair_views(*views, offset_s=math.nan)
    with pytest.raises(DataError, match="time of recording is not a number"):
        pair_views(*views, recorded_at=(math.inf, None))


def test_positions_of_both_are_better_than_of_one(motion: Motion, views: tuple[Swing, Swing]) -> None:
    pair = pair_views(*views, offset_s=AHEAD_S)
    both = fused_positions(pair)

    def errors(positions: Positions, ahead: float) -> list[float]:
        return [abs(p.time_s - ahead - motion.position_times[p.name]) for p in positions.found if p.name != "finish"]

    assert np.sqrt(np.mean(np.square(errors(both["dtl"], 0.0)))) < np.sqrt(
        np.mean(np.square(errors(views[0].positions, 0.0)))
    )
    for name in POSITION_NAMES:
        one, other = both["dtl"].time(name), both["fo"].time(name)
        if one is not None:
            assert float(pair.time_map.to_reference(one)) == pytest.approx(other, abs=1e-9)
            fused, own = both["dtl"].get(name), views[0].positions.get(name)
            assert fused is not None
            if own is not None and own.sd_s and fused.sd_s and name != "finish":
                assert fused.sd_s < 2.0 * own.sd_s


def test_putting_together_twice_changes_nothing(views: tuple[Swing, Swing]) -> None:
    pair = pair_views(*views, offset_s=AHEAD_S)
    both = fused_positions(pair)
    again = dataclasses.replace(
        pair,
        dtl=dataclasses.replace(pair.dtl, positions=both["dtl"]),
        fo=dataclasses.replace(pair.fo, positions=both["fo"]),
    )
    assert fused_positions(again)["dtl"].found == both["dtl"].found
    assert fused_positions(again)["fo"].found == both["fo"].found


def test_a_position_that_one_view_lacks_comes_from_the_other(views: tuple[Swing, Swing]) -> None:
    dtl = views[0]
    found = tuple(p for p in dtl.positions.found if p.name != "top")
    blind = dataclasses.replace(dtl, positions=Positions(found, {**dtl.positions.missing, "top": "hidden"}))
    pair = pair_views(blind, views[1], offset_s=AHEAD_S)
    both = fused_positions(pair)
    top = views[1].positions.time("top")
    assert top is not None
    assert both["dtl"].time("top") == pytest.approx(float(pair.time_map.to_student(top)), abs=1e-9)


def test_a_mark_set_by_hand_wins(views: tuple[Swing, Swing]) -> None:
    dtl = views[0]
    marked = tuple(
        Position("top", p.time_s + 0.012, 1.0, "marked") if p.name == "top" else p for p in dtl.positions.found
    )
    pair = pair_views(dataclasses.replace(dtl, positions=Positions(marked, {})), views[1], offset_s=AHEAD_S)
    fused = fused_positions(pair)["dtl"].get("top")
    assert fused is not None
    assert fused.time_s == next(p.time_s for p in marked if p.name == "top")
    assert fused.source == "marked"


def test_positions_of_two_swings_are_not_put_together(views: tuple[Swing, Swing]) -> None:
    with pytest.raises(MismatchError, match="two different swings"):
        fused_positions(pair_views(*views))


def test_the_average_of_two_views_from_algebra() -> None:
    # 1.000 ± 0.010 s down the line; face on 1.030 s, of whose 0.040 s told a half counts: weights 4 : 1, so 1.006 s.
    # The map is known exactly.
    one = make_swing()
    moved = {"top": (1.000, 0.010, 1.030, 0.040)}

    def at(swing: Swing, which: int) -> Swing:
        found = tuple(
            Position("top", moved["top"][which], 0.9, "pose", moved["top"][which + 1]) if p.name == "top" else p
            for p in swing.positions.found
        )
        return dataclasses.replace(swing, positions=Positions(found, {}))

    pair = pair_views(at(one, 0), at(dataclasses.replace(make_swing(view="fo")), 2), offset_s=0.0)
    exact = dataclasses.replace(
        pair, sd_s=0.0, one_swing=True, time_map=dataclasses.replace(pair.time_map, reference_s=pair.time_map.student_s)
    )
    assert fused_positions(exact)["dtl"].time("top") == pytest.approx(1.006, abs=1e-9)


def test_one_offset_and_two_tempos_from_algebra() -> None:
    settings = PairSettings()
    one, other = make_swing(), make_swing(view="fo")
    shared = shared_positions(one, other, settings)
    same = movement_says(points_of(shared), 1.4, 1.2, True, settings)
    assert same is not None
    assert same.offset_s == pytest.approx(0.0, abs=1e-12)
    assert same.chance == pytest.approx(1.0)
    assert same.odds > 0
    # A backswing that is longer by half of its 0.8 s.
    stretched = dataclasses.replace(
        shared, fo_s=shared.fo_s + np.where(shared.fo_s < 1.2, (shared.fo_s - 1.2) / 2, 0.0)
    )
    apart = movement_says(points_of(stretched), 1.4, 1.2, True, settings)
    assert apart is not None
    assert apart.odds < -3
    assert apart.chance < 0.001


def test_a_robust_mean_passes_over_one_wild_value() -> None:
    mean, sd = robust_mean(np.array([1.0, 1.0, 1.0, 9.0]), np.full(4, 0.1))
    # Huber: a wild value pulls by its cut of 3 sd and no more, shared by the three others.
    assert mean == pytest.approx(1.0 + 3 * 0.1 / 3, abs=1e-6)
    assert sd < 0.1


def test_clues_are_averaged_by_their_certainty() -> None:
    settings = PairSettings()
    near, far = recorded_clue(0.5, settings), recorded_clue(100.0, settings)
    assert near.odds > 2.9 > 0 > far.odds
    assert not math.isfinite(near.offset_s)
    # An hour off is a wrong clock rather than another swing: it says little.
    assert -2.0 < recorded_clue(3600.0, settings).odds < 1.0
    one = dataclasses.replace(near, offset_s=0.40, sd_s=0.01)
    other = dataclasses.replace(near, offset_s=0.43, sd_s=0.02)
    offset, sd, odds = combined([one, other, near])
    assert offset == pytest.approx(0.406)
    assert sd == pytest.approx(0.01 * math.sqrt(0.8))
    assert odds == pytest.approx(3 * near.odds)


def test_the_map_between_two_swings_is_monotone_and_through_the_positions() -> None:
    one, other = make_swing(), make_swing(view="fo", length_s=2.2, start_s=0.3)
    settings = PairSettings()
    clocks = clock_of(one), clock_of(other)
    time_map, sd = stepped_map(one, other, clocks, shared_positions(one, other, settings), settings)
    slopes = time_map.slopes()
    assert slopes.min() >= 0.25
    assert slopes.max() <= 4.0
    impact = one.positions.time("impact"), other.positions.time("impact")
    assert impact[0] is not None
    assert float(time_map.to_reference(impact[0])) == pytest.approx(impact[1], abs=0.02)
    assert 0 < sd < 0.1


def checklist(row: int, title: str, *, found: bool = True) -> Checklist:
    check = Check(row, title, Measure(f"m{row}", 1.0, "torso"), (0.0, 0.5), "out" if found else "in", f"It is {title}.")
    first = (
        FirstThing(f"Work on this first: {title}. It is 1.0.", check, "because", "look", f"m{row}")
        if found
        else FirstThing("Nothing to work on was found: all 3 measures lie inside.")
    )
    return Checklist((check,), first)


def test_the_earlier_row_of_both_views_comes_first() -> None:
    first = joint_first({"dtl": checklist(6, "the plane"), "fo": checklist(5, "the sway")})
    assert first.check is not None
    assert first.check.row == 5
    assert "Seen face on" in first.sentence
    assert joint_first({"dtl": checklist(2, "a"), "fo": checklist(5, "b")}).focus == "m2"


def test_where_one_view_finds_nothing_the_other_is_told_with_it() -> None:
    first = joint_first({"dtl": checklist(2, "a", found=False), "fo": checklist(8, "the shift")})
    assert first.check is not None
    assert first.check.row == 8
    assert "Down the line, all 3 measures lie inside" in first.why
    nothing = joint_first({"dtl": checklist(2, "a", found=False), "fo": checklist(3, "b", found=False)})
    assert nothing.check is None
    assert nothing.sentence.startswith("Nothing to work on was found in either view: down the line,")


def test_no_checklist_is_no_first_thing() -> None:
    with pytest.raises(DataError, match="no checklist"):
        joint_first({})
    one = checklist(4, "the top")
    assert joint_first({"fo": one}) is one.first
