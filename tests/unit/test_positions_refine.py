"""Positions joined with further sources and corrected by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from overlay.clean import clean
from overlay.data import ClubMark, ClubTrack, Marks, PoseTrack, PositionMark, Strike, StrikeClue, Swing
from overlay.errors import InputError
from overlay.golfer import Act, CameraSpec, GolferSpec, NoiseSpec, TempoSpec, record, simulate, truth_track
from overlay.positions import Candidate, find_swings, refine, strike_candidates
from overlay.positions.fusion import chance_within
from overlay.terms import POSITION_NAMES

SPEC = GolferSpec(tempo=TempoSpec(pre_s=1.5, hold_s=0.5), variation=1.0, seed=5)


@pytest.fixture(scope="module")
def whole() -> PoseTrack:
    motion = simulate(SPEC)
    return clean(truth_track(motion, CameraSpec.for_motion(motion, "fo"), 60.0, noise=NoiseSpec(), seed=1))


@pytest.fixture(scope="module")
def swing(whole: PoseTrack) -> Swing:
    return find_swings(whole)[0]


def marked(**times: float) -> Marks:
    return Marks(positions=tuple(PositionMark(name, time_s) for name, time_s in times.items()))


def with_club(swing: Swing) -> Swing:
    n = len(swing.pose)
    club = ClubTrack(swing.pose.time_s, np.zeros((n, 2)), np.arange(n) % 360.0, np.ones(n), ("measured",) * n)
    return replace(swing, club=club)


def test_nothing_new_changes_nothing(swing: Swing) -> None:
    assert refine(swing) is swing
    # Fused again with itself alone: the same table, whatever the candidate is for.
    top = swing.positions.get("top")
    far = refine(swing, candidates=[Candidate("top", top.time_s, 100.0, "club")])  # type: ignore[union-attr]
    for name in POSITION_NAMES:
        before, after = swing.positions.get(name), far.positions.get(name)
        assert after.time_s == pytest.approx(before.time_s, abs=1e-6)  # type: ignore[union-attr]
        assert after.confidence == pytest.approx(before.confidence, abs=2e-3)  # type: ignore[union-attr]
        assert after.source == "pose"  # type: ignore[union-attr]


def test_a_second_source_is_weighed_by_its_inverse_variance(swing: Swing) -> None:
    # Two independent times of sd s and s: the mean, with s / √2 (best linear unbiased estimate).
    before = swing.positions.get("shaft_level_back")
    assert before is not None
    assert before.sd_s is not None
    club = Candidate("shaft_level_back", before.time_s + before.sd_s, before.sd_s, "club")
    after = refine(swing, candidates=[club]).positions.get("shaft_level_back")
    assert after is not None
    assert after.sd_s is not None
    assert after.time_s == pytest.approx(before.time_s + before.sd_s / 2, abs=1e-6)
    assert after.sd_s == pytest.approx(before.sd_s / 2**0.5, rel=1e-3)
    times = swing.positions.times()
    tolerance_s = max(1 / 60, (times["impact"] - times["address"]) / 30)  # GolfDB's rule
    assert after.confidence == pytest.approx(chance_within(tolerance_s, after.sd_s), abs=1e-3)


def test_a_surer_source_gives_its_name_and_a_missing_position_is_gained(swing: Swing) -> None:
    times = swing.positions.times()
    lost = [p for p in swing.positions.found if p.name != "shaft_level_down"]
    poor = replace(swing, positions=type(swing.positions)(tuple(lost), {"shaft_level_down": "not seen"}))
    found = [Candidate("shaft_level_down", times["shaft_level_down"], 0.004, "club")]
    better = refine(poor, candidates=[*found, Candidate("impact", times["impact"], 0.002, "sound")])
    assert better.positions.get("shaft_level_down").source == "club"  # type: ignore[union-attr]
    assert better.positions.get("impact").source == "sound"  # type: ignore[union-attr]
    assert dict(better.positions.missing) == {}


def test_a_spread_that_is_not_told_comes_back_from_the_confidence(swing: Swing) -> None:
    old = replace(swing, positions=replace(swing.positions, found=tuple(
        replace(p, sd_s=None) for p in swing.positions.found
    )))  # fmt: skip
    again = refine(old, candidates=[Candidate("top", swing.positions.times()["top"], 100.0)])
    for name in POSITION_NAMES:
        # From a confidence of three digits: good to a few per cent, except where the confidence is almost 1.
        if swing.positions.get(name).confidence < 0.99:  # type: ignore[union-attr]
            told = swing.positions.get(name).sd_s  # type: ignore[union-attr]
            assert again.positions.get(name).sd_s == pytest.approx(told, rel=0.05), name  # type: ignore[union-attr]


def test_a_mark_wins_against_every_source(swing: Swing) -> None:
    time_s = swing.positions.times()["top"] + 0.04
    sure = Candidate("top", time_s - 0.05, 1e-5, "club")
    top = refine(swing, candidates=[sure], marks=marked(top=time_s)).positions.get("top")
    assert top is not None
    assert (top.time_s, top.source, top.confidence) == (time_s, "marked", 1.0)


def test_what_contradicts_a_mark_is_left_out_however_many(swing: Swing) -> None:
    times = swing.positions.times()
    # Impact marked where the top was found: the three positions between them are all wrong, the mark stays.
    after = refine(swing, marks=marked(impact=times["top"])).positions
    assert after.time("impact") == times["top"]
    for name in ("top", "lead_arm_level_down", "shaft_level_down"):
        assert "mark set by hand" in after.missing[name]
    assert after.time("lead_arm_level_back") == times["lead_arm_level_back"]
    # A mark that was set stays set when the swing is refined again.
    again = refine(replace(swing, positions=after), candidates=[Candidate("impact", times["impact"], 0.001, "ball")])
    assert again.positions.time("impact") == times["top"]


def test_marks_that_contradict_each_other_are_refused(swing: Swing) -> None:
    times = swing.positions.times()
    with pytest.raises(InputError, match=r"contradict each other: impact at .* is not after top"):
        refine(swing, marks=marked(top=times["impact"], impact=times["top"]))
    twice = Marks(positions=(PositionMark("top", times["top"]), PositionMark("top", times["top"] + 0.01)))
    with pytest.raises(InputError, match="marked twice"):
        refine(swing, marks=twice)


def test_the_stretch_follows_a_marked_address_and_finish(whole: PoseTrack, swing: Swing) -> None:
    times = swing.positions.times()
    early = refine(swing, marks=marked(address=times["address"] - 0.6), track=whole)
    # 0.5 s is kept before the address, and the end stays where it was.
    assert early.start_s == pytest.approx(times["address"] - 1.1, abs=1.5 / 60)
    assert early.stop_s == swing.stop_s
    late = refine(with_club(swing), marks=marked(address=times["address"] + 0.1, finish=times["finish"] - 0.2))
    assert late.start_s == pytest.approx(times["address"] - 0.4, abs=1.5 / 60)
    assert late.stop_s == pytest.approx(times["finish"] + 0.3, abs=1.5 / 60)
    assert late.club is not None
    assert np.array_equal(late.club.time_s, late.pose.time_s)
    first = np.searchsorted(swing.pose.time_s, late.start_s)
    assert late.club.angle_deg[0] == first % 360.0


def test_a_mark_outside_the_stretch_needs_the_whole_track(whole: PoseTrack, swing: Swing) -> None:
    outside = marked(address=swing.start_s - 0.3)
    assert refine(swing, marks=outside).positions == swing.positions
    assert refine(swing, marks=outside, track=whole).positions.time("address") == swing.start_s - 0.3
    # Once the club has its row on every frame the stretch no longer grows.
    assert refine(with_club(swing), marks=outside, track=whole).positions == swing.positions


def test_a_mark_after_the_end_of_the_recording_is_refused(whole: PoseTrack, swing: Swing) -> None:
    end_s = float(whole.time_s[-1])
    with pytest.raises(InputError, match=r"Finish is marked at .* s, but the recording ends at"):
        refine(swing, marks=marked(finish=end_s + 0.5), track=whole)
    club = Marks(club=(ClubMark(end_s + 0.5, (10.0, 10.0), (50.0, 50.0)),))
    with pytest.raises(InputError, match="Club is marked at"):
        refine(swing, marks=club, track=whole)
    assert refine(swing, marks=marked(finish=end_s), track=whole).positions.time("finish") == end_s


def test_each_swing_takes_its_own_marks() -> None:
    recording = record(SPEC, [Act("swing"), Act("place_ball", 3.0), Act("swing")])
    track = clean(truth_track(recording, CameraSpec.for_motion(simulate(SPEC), "fo"), 30.0, noise=NoiseSpec(), seed=2))
    swings = find_swings(track)
    assert len(swings) == 2
    tops = [swing.positions.times()["top"] for swing in swings]
    marks = Marks(positions=tuple(PositionMark("top", top + 0.02) for top in tops))
    for swing, top in zip(swings, tops, strict=True):
        after = refine(swing, marks=marks, track=track, others=swings)
        assert after.positions.time("top") == pytest.approx(top + 0.02)


def test_view_hand_and_notes_follow(swing: Swing) -> None:
    times = swing.positions.times()
    noted = replace(
        swing,
        notes=(
            "Something else.",
            "The finish is not held; its stillest moment is taken, which is unsure.",
            "The camera stands neither down the line nor face on: invented.",
        ),
    )
    after = refine(noted, marks=replace(marked(finish=times["finish"] + 0.05), view="fo", handedness="left"))
    assert (after.view, after.view_confidence, after.handedness, after.handedness_confidence) == (
        "fo",
        1.0,
        "left",
        1.0,
    )
    assert after.notes == ("Something else.",)
    # A top set so that the downswing lasts as long as the backswing: the tempo is out of the ordinary, and back again.
    middle = (times["address"] + times["impact"]) / 2
    odd = refine(swing, marks=marked(top=middle))
    assert any(note.startswith("Tempo ratio 1.0") for note in odd.notes)
    assert refine(odd, marks=marked(top=times["top"])).notes == swing.notes


def test_the_strike_is_one_candidate_named_after_its_surest_clue(swing: Swing) -> None:
    clues = (StrikeClue("ball", 1.0, 0.008), StrikeClue("sound", 1.002, 0.002), StrikeClue("club", 1.5, 0.001))
    strike = Strike(1.0019, 0.0019, True, clues=clues)
    assert strike_candidates(replace(swing, strike=strike)) == (Candidate("impact", 1.0019, 0.0019, "sound"),)
    nothing = Strike(float("nan"), float("nan"), None)
    assert strike_candidates(replace(swing, strike=nothing)) == ()
    assert strike_candidates(swing) == ()
