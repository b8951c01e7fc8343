"""Proportions and turns of the synthetic golfer against published values."""

from __future__ import annotations

import numpy as np
import pytest

from overlay.golfer import BodySpec, GolferSpec, simulate

STATURE_M = 1.80

# Drillis & Contini 1966, in Winter 2009 (Biomechanics and Motor Control of Human Movement), fig. 4.1:
# fractions of stature.
UPPER_ARM, FOREARM = 0.186, 0.146
HIP_HEIGHT, KNEE_HEIGHT, ANKLE_HEIGHT = 0.530, 0.285, 0.039
SHOULDER_HEIGHT = 0.818
SHOULDER_WIDTH, HIP_WIDTH, FOOT = 0.259, 0.191, 0.152


@pytest.fixture(scope="module")
def joints() -> dict[str, np.ndarray]:
    motion = simulate(GolferSpec(body=BodySpec(stature_m=STATURE_M)))
    return {name: value[0] for name, value in motion.state(np.array([0.5])).items() if value.ndim == 2}


@pytest.mark.parametrize(
    ("a", "b", "fraction"),
    [
        ("left_shoulder", "left_elbow", UPPER_ARM),
        ("right_elbow", "right_wrist", FOREARM),
        ("left_hip", "left_knee", HIP_HEIGHT - KNEE_HEIGHT),
        ("right_knee", "right_ankle", KNEE_HEIGHT - ANKLE_HEIGHT),
        ("left_hip", "right_hip", HIP_WIDTH),
        ("left_heel", "left_toe", FOOT),
        ("neck", "left_shoulder", SHOULDER_WIDTH / 2),
    ],
)
def test_segments_follow_drillis_and_contini(joints: dict[str, np.ndarray], a: str, b: str, fraction: float) -> None:
    assert np.linalg.norm(joints[a] - joints[b]) / STATURE_M == pytest.approx(fraction, abs=1e-9)


def test_trunk_and_ankle_follow_drillis_and_contini(joints: dict[str, np.ndarray]) -> None:
    trunk = np.linalg.norm(joints["pelvis"] - joints["thorax"]) + np.linalg.norm(joints["thorax"] - joints["neck"])
    assert trunk / STATURE_M == pytest.approx(SHOULDER_HEIGHT - HIP_HEIGHT, abs=1e-9)
    assert joints["right_ankle"][2] / STATURE_M == pytest.approx(ANKLE_HEIGHT, abs=1e-3)


def _turn_deg(axes: np.ndarray) -> np.ndarray:
    """Turn of a segment away from the target, from its right axis seen from above."""
    return np.degrees(np.arctan2(-axes[:, 1, 0], -axes[:, 0, 0]))


@pytest.mark.parametrize("club", ["mid_iron", "driver"])
def test_trunk_turn_at_the_top(club: str) -> None:
    motion = simulate(GolferSpec(club=club))  # type: ignore[arg-type]
    top = motion.state(np.array([motion.position_times["top"]]))
    pelvis, chest = _turn_deg(top["pelvis_axes"])[0], _turn_deg(top["thorax_axes"])[0]
    # Zheng et al. 2008, doi 10.1055/s-2007-989229: trunk rotation relative to the pelvis at the top, professionals.
    assert 60.0 - 7.0 <= chest - pelvis <= 60.0 + 7.0
    assert 40.0 <= pelvis <= 55.0  # common practice: 45 to 50
    assert chest >= 90.0


def test_pelvis_travels_towards_the_target_in_the_downswing() -> None:
    motion = simulate(GolferSpec())
    times = np.linspace(motion.position_times["shaft_level_back"], motion.position_times["finish"], 400)
    x = motion.state(times)["pelvis"][:, 0]
    # Common practice, no published source: about 8 in (20 cm).
    assert 0.17 <= x[-1] - x.min() <= 0.23
