"""The spread of a model: what is known of it by algebra, and that it grows with what it is made of."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from overlay.errors import InputError
from overlay.golfer import GolferSpec, TempoSpec, simulate, space_track
from overlay.landmarks import INDEX
from overlay.maker import seen_from
from overlay.maker.bands import band_of, repeats, separation_deg, spreads_of
from overlay.score.parts import figure_of
from overlay.settings.maker import BandSettings
from overlay.settings.score import ScoreSettings

SPEC = GolferSpec(tempo=TempoSpec(waggle=0.0))


def test_a_shift_of_the_pelvis_from_swing_to_swing_is_its_spread() -> None:
    """Hips higher by d torso lengths after the top: the spread in the downswing is the SD of d, elsewhere nothing.

    Up is across their path; along it, where an error of timing looks the same, the score counts less.
    """
    space = space_track(simulate(SPEC), 60.0)
    plain = seen_from(space, "fo")
    torso_px = figure_of(plain, ScoreSettings()).torso_px
    shifts = np.array([0.0, 0.0, 0.04, -0.02, 0.05, -0.04, 0.01])
    top = space.positions.time("top")
    assert top is not None
    swings = []
    for shift in shifts:
        points = plain.pose.points.copy()
        for name in ("left_hip", "right_hip"):
            points[plain.pose.time_s > top - 1 / 60, INDEX[name]] += [0.0, shift * torso_px]
        swings.append(replace(plain, pose=replace(plain.pose, points=points)))
    found = spreads_of(swings)
    # The second swing only says with which the first is compared. One coordinate of two moves.
    kept = np.delete(shifts, 1)
    wanted = np.sqrt(np.sum((kept - kept.mean()) ** 2) / 2 / (len(kept) - 1))
    assert found["downswing", "pelvis"].sd == pytest.approx(wanted, rel=0.02)
    assert found["downswing", "pelvis"].df == len(kept) - 1
    assert ("downswing", "head") not in found
    assert found["takeaway", "spine"].sd < 1e-9 if ("takeaway", "spine") in found else True


def test_more_variation_spreads_more_and_the_same_seed_the_same() -> None:
    few = BandSettings(swings=6)
    calm, usual = (band_of(SPEC, "fo", settings=replace(few, variation=size)) for size in (0.2, 3.0))
    assert calm.n_swings == usual.n_swings == 6
    cells = set(calm.spreads) & set(usual.spreads)
    assert len(cells) > 40
    ratio = [usual.spreads[cell].sd / calm.spreads[cell].sd for cell in cells]
    assert np.median(ratio) > 1.5
    again = band_of(SPEC, "fo", settings=replace(few, variation=0.2))
    assert {cell: spread.sd for cell, spread in again.spreads.items()} == {
        cell: spread.sd for cell, spread in calm.spreads.items()
    }


def test_separation_is_that_of_shoulders_and_pelvis() -> None:
    space = space_track(simulate(SPEC))
    points = space.points.copy()
    turn = np.radians(np.linspace(0.0, 90.0, len(space)))
    for joint, share in (("shoulder", 1.0), ("hip", 0.4)):
        line = np.stack([np.cos(share * turn), np.sin(share * turn), 0 * turn], axis=-1)
        points[:, INDEX[f"left_{joint}"]], points[:, INDEX[f"right_{joint}"]] = 0.2 * line, -0.2 * line
    impact = space.positions.time("impact")
    assert impact is not None
    at_impact = float(np.interp(space.time_s[space.time_s <= impact][-1], space.time_s, np.degrees(turn)))
    assert separation_deg(replace(space, points=points)) == pytest.approx(0.6 * at_impact, abs=1e-6)


def test_a_swing_at_the_edge_has_no_band(monkeypatch: pytest.MonkeyPatch) -> None:
    calls = []

    def never(spec: GolferSpec) -> None:
        calls.append(spec.seed)
        raise InputError("This player cannot reach the ball.", "")

    monkeypatch.setattr("overlay.maker.bands.simulate", never)
    with pytest.raises(InputError, match="most repeats of it are no swing"):
        repeats(SPEC, BandSettings(swings=3))
    assert len(set(calls)) == 12
