"""The path against a textbook table and against an independent library."""

from __future__ import annotations

import numpy as np
import pytest

from overlay.align.dtw import dtw_path


def test_textbook_table() -> None:
    # Müller, Fundamentals of Music Processing; the worked example of librosa's documentation of its DTW
    # (absolute difference as local cost): D = 9.
    x = np.array([1.0, 3.0, 3.0, 8.0, 1.0])
    y = np.array([2.0, 0.0, 0.0, 8.0, 7.0, 2.0])
    # Squared Euclidean distance is the absolute difference when a whole number k becomes a thermometer of k ones:
    # two of them differ in |k − l| places.
    thermometer = (np.arange(1, 9)[None, :] <= np.concatenate([x, y])[:, None]).astype(float)
    path = dtw_path(thermometer[:5], thermometer[5:])
    assert path.cost == pytest.approx(9.0)
    local = np.abs(x[path.steps[:, 0]] - y[path.steps[:, 1]])
    assert local.sum() == pytest.approx(9.0)
    assert path.steps[0].tolist() == [0, 0]
    assert path.steps[-1].tolist() == [4, 5]


def test_textbook_series_with_squared_cost() -> None:
    # The same series with the squared difference as local cost, the table filled in as the textbook does. By hand:
    # 1↔2, 3↔0, 3↔0, 8↔8, 8↔7, 1↔2 costs 1 + 9 + 9 + 0 + 1 + 1 = 21.
    x = np.array([[1.0], [3.0], [3.0], [8.0], [1.0]])
    y = np.array([[2.0], [0.0], [0.0], [8.0], [7.0], [2.0]])
    table = np.full((6, 7), np.inf)
    table[0, 0] = 0.0
    for i in range(1, 6):
        for j in range(1, 7):
            before = min(table[i - 1, j - 1], table[i - 1, j], table[i, j - 1])
            table[i, j] = float(((x[i - 1] - y[j - 1]) ** 2).sum()) + before
    path = dtw_path(x, y)
    assert path.cost == pytest.approx(table[5, 6])
    assert table[5, 6] == 21.0
    assert np.sum((x[path.steps[:, 0]] - y[path.steps[:, 1]]) ** 2) == pytest.approx(21.0)


@pytest.mark.slow
def test_an_independent_library_gives_the_same_path_and_cost() -> None:
    # tslearn's first call compiles for 8–28 s.
    from tslearn.metrics import dtw_path as other_path

    from overlay.align import dtw_series, shared_weights
    from overlay.align.refine import first_trust
    from overlay.golfer import BodySpec, CameraSpec, GolferSpec, NoiseSpec, TempoSpec, simulate, truth_track
    from overlay.normalise import swing_features
    from overlay.positions import find_swings
    from overlay.settings.align import AlignSettings

    settings = AlignSettings()
    features = []
    for spec in (
        GolferSpec(),
        GolferSpec(body=BodySpec(stature_m=1.65, arm=1.08), tempo=TempoSpec(backswing_s=1.05, downswing_s=0.24)),
    ):
        motion = simulate(spec)
        track = truth_track(motion, CameraSpec.for_motion(motion, "fo"), 60.0, noise=NoiseSpec(), seed=5)
        features.append(swing_features(find_swings(track)[0], settings.features))
    trust = first_trust(shared_weights(*features), settings)
    a, b = (dtw_series(one, trust) for one in features)
    assert len(a) != len(b)
    ours = dtw_path(a, b)
    steps, distance = other_path(a, b)
    assert ours.cost == pytest.approx(distance**2, rel=1e-9)
    assert ours.steps.tolist() == [list(step) for step in steps]
