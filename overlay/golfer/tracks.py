"""What a pose model and a club tracker would report of a synthetic swing: truth, and truth with realistic errors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import ClubState, ClubTrack, PoseTrack
from overlay.errors import InputError
from overlay.golfer.camera import CameraSpec
from overlay.golfer.motion import Motion
from overlay.golfer.recording import Recording
from overlay.kinematics import behind_bar
from overlay.landmarks import INDEX, LANDMARKS, N_LANDMARKS


@dataclass(frozen=True)
class NoiseSpec:
    """Errors of the pose model, sizes as shares of torso length in the picture (trials on real and rendered clips).

    Attributes
    ----------
    scale : float
        Factor on all position noise.
    wrist, wrist_fast, elbow, shoulder, trunk, ankle, face : float
        Standard deviation: hands at rest and in the fast part, elbows, shoulders, hips and knees, ankles and feet,
        head.
    correlated : float
        Share of the variance that drifts slowly; the rest is new in every frame.
    correlation_s : float
        How long that drift lasts.
    dropout : float
        Share of frames in which a hand is missing, in runs of one to three frames at 30 per second.
    hip_swap : float
        Chance that left and right hips change places for a moment 0.08–0.30 s after impact (down the line).
    far_arm : float
        Size of the error of the hidden far arm's wrist, torso lengths.
    """

    scale: float = 1.0
    wrist: float = 0.020
    wrist_fast: float = 0.033
    elbow: float = 0.016
    shoulder: float = 0.010
    trunk: float = 0.005
    ankle: float = 0.007
    face: float = 0.008
    correlated: float = 0.5
    correlation_s: float = 0.12
    dropout: float = 0.03
    hip_swap: float = 0.5
    far_arm: float = 0.12

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            top = 10.0 if name in ("scale", "correlation_s") else 1.0
            if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0.0 <= value <= top:
                raise InputError(f"{name} of the noise is {value!r}.", f"Give a number from 0 to {top:g}.")


HIP_CENTRES, SHOULDER_CENTRES = 0.111, 0.206
"""Distance of the joint centres of hips and shoulders, shares of stature.

The segment table behind ``Posture.joints`` gives outer breadths (over the trochanters, over the deltoids); a pose
model marks the joints within. By trial on rendered clips, see ``docs/studies/render_tracking.md``.
"""

FAST_HAND_M_S = 3.0
"""Hands faster than this blur."""


def frame_times(motion: Motion | Recording, rate_hz: float) -> FloatArray:
    """(T,) s: times of the frames of a clip of this motion."""
    if not np.isfinite(rate_hz) or rate_hz <= 0:
        raise InputError(f"{rate_hz} frames a second make no clip.", "Give a rate above 0.")
    return np.arange(0.0, motion.duration_s, 1.0 / rate_hz)


def landmark_points(state: dict[str, FloatArray], stature_m: float) -> FloatArray:
    """(T, 33, 3) m: where the pose model places its landmarks on this body.

    Hips and shoulders are the joint centres, nearer to one another than the outer breadths of the segment table;
    ankles are reported 6–10 % of torso length above the joint, face points stand on the face, hands on the fist.
    """
    n = len(state["head"])
    out = np.full((n, N_LANDMARKS, 3), np.nan)
    size = stature_m / 1.78
    right, forward, up = (state["head_axes"][..., i] for i in range(3))

    def face(r: float, f: float, u: float) -> FloatArray:
        return state["head"] + size * (r * right + f * forward + u * up)

    out[:, INDEX["nose"]] = face(0.0, 0.115, -0.015)
    for side, s in (("left", -1.0), ("right", 1.0)):
        out[:, INDEX[f"{side}_eye_inner"]] = face(s * 0.018, 0.088, 0.018)
        out[:, INDEX[f"{side}_eye"]] = face(s * 0.033, 0.085, 0.018)
        out[:, INDEX[f"{side}_eye_outer"]] = face(s * 0.047, 0.074, 0.018)
        out[:, INDEX[f"{side}_ear"]] = face(s * 0.075, -0.012, -0.035)
        out[:, INDEX[f"mouth_{side}"]] = face(s * 0.025, 0.088, -0.055)
        for joint in ("shoulder", "elbow", "wrist", "hip", "knee"):
            out[:, INDEX[f"{side}_{joint}"]] = state[f"{side}_{joint}"]
        trunk = np.linalg.norm(state["neck"] - state["pelvis"], axis=-1, keepdims=True)
        shin = state[f"{side}_knee"] - state[f"{side}_ankle"]
        shin = shin / np.linalg.norm(shin, axis=-1, keepdims=True)
        out[:, INDEX[f"{side}_ankle"]] = state[f"{side}_ankle"] + 0.08 * trunk * shin
        out[:, INDEX[f"{side}_heel"]] = state[f"{side}_heel"] + np.array([0.0, 0.0, 0.02])
        out[:, INDEX[f"{side}_foot_index"]] = state[f"{side}_toe"] + np.array([0.0, 0.0, 0.02])
        wrist, hand, shaft = state[f"{side}_wrist"], state[f"{side}_hand"], state["shaft"]
        along = hand - wrist
        out[:, INDEX[f"{side}_index"]] = wrist + 1.15 * along + 0.030 * size * shaft
        out[:, INDEX[f"{side}_pinky"]] = wrist + 1.10 * along - 0.030 * size * shaft
        out[:, INDEX[f"{side}_thumb"]] = wrist + 0.75 * along + 0.040 * size * shaft
    for name, apart in (("hip", HIP_CENTRES), ("shoulder", SHOULDER_CENTRES)):
        pair = [INDEX[f"left_{name}"], INDEX[f"right_{name}"]]
        middle = out[:, pair].mean(axis=1, keepdims=True)
        width = np.linalg.norm(out[:, pair[0]] - out[:, pair[1]], axis=-1)
        keep = np.minimum(1.0, apart * stature_m / np.maximum(width, 1e-6))
        out[:, pair] = middle + keep[:, None, None] * (out[:, pair] - middle)
    return out


def hidden_share(state: dict[str, FloatArray], points: FloatArray, camera: CameraSpec) -> FloatArray:
    """(T, 33) 0–1: how much trunk, head, thighs and the other arm stand between the camera and each landmark.

    All are taken as round cones about their bones; an arm never hides its own landmarks.
    """
    eye = camera.position
    hidden = np.zeros(points.shape[:2])
    solids: list[tuple[FloatArray, FloatArray, float, str]] = [
        (state["pelvis"], state["neck"], 0.13, ""),
        (state["head"], state["head"] + 1e-3, 0.10, ""),
    ]
    for side in ("left", "right"):
        solids += [
            (state[f"{side}_shoulder"], state[f"{side}_elbow"], 0.06, side),
            (state[f"{side}_elbow"], state[f"{side}_hand"], 0.055, side),
            (state[f"{side}_hip"], state[f"{side}_knee"], 0.08, ""),
        ]
    for low, high, radius, own in solids:
        cover = np.nan_to_num(behind_bar(low, high, radius, points, eye))
        if own:
            cover[:, [i for name, i in INDEX.items() if own in name]] = 0.0
        hidden = np.maximum(hidden, cover)
    return hidden


_NEVER_HIDDEN = tuple(
    INDEX[name] for name in LANDMARKS if name.endswith(("shoulder", "hip", "knee", "ankle", "heel", "foot_index"))
)


def truth_track(
    motion: Motion | Recording, camera: CameraSpec, rate_hz: float, *, noise: NoiseSpec | None = None, seed: int = 0
) -> PoseTrack:
    """The pose track a model would give of this swing.

    Parameters
    ----------
    motion : Motion or Recording
    camera : CameraSpec
    rate_hz : float
        Frames per second.
    noise : NoiseSpec or None
        None: the exact truth.
    seed : int
        Same seed, same errors.

    Returns
    -------
    PoseTrack
        33 landmarks in px; ``visibility`` from self-occlusion; depth relative to the hips, px.

    Raises
    ------
    InputError
        Camera and player are set to different hands, or the rate is not above 0.
    """
    _check_hands(motion, camera)
    times = frame_times(motion, rate_hz)
    state = motion.state(times)
    return track_of_state(
        state, times, camera, motion.spec.body.stature_m, noise=noise, seed=seed,
        impacts_s=motion.impacts_s, lead="left" if motion.spec.handedness == "right" else "right",
    )  # fmt: skip


def _check_hands(motion: Motion | Recording, camera: CameraSpec) -> None:
    if camera.handedness != motion.spec.handedness:
        raise InputError(
            f"The camera is set up for a {camera.handedness}-handed player, not a {motion.spec.handedness}-handed one.",
            "Use CameraSpec.for_motion, or give the camera the player's handedness.",
        )


def track_of_state(
    state: dict[str, FloatArray],
    times: FloatArray,
    camera: CameraSpec,
    stature_m: float,
    *,
    noise: NoiseSpec | None,
    seed: int,
    impacts_s: tuple[float, ...],
    lead: str,
) -> PoseTrack:
    """``truth_track`` for any states (of a swing or of a whole recording) at ``times`` (T,)."""
    points = landmark_points(state, stature_m)
    picture = camera.project(points, times)
    local = camera.camera_coordinates(points)
    hips = local[:, [INDEX["left_hip"], INDEX["right_hip"]], 2].mean(axis=1, keepdims=True)
    depth = (local[..., 2] - hips) * camera.focal_px / np.maximum(hips, 0.1)
    hidden = hidden_share(state, points, camera)
    hidden[:, _NEVER_HIDDEN] = 0.0
    visibility = 0.98 - 0.93 * hidden
    torso = _torso_px(picture)
    log = ["synthetic truth"]
    if noise is not None:
        picture, visibility = _spoil(
            picture, visibility, hidden, state, times, torso, noise, seed, impacts_s, camera, lead
        )
        log.append(f"synthetic pose errors, seed {seed}")
    gone = np.any(np.isnan(picture), axis=-1, keepdims=True)[..., 0]
    picture = np.where(gone[..., None], np.nan, picture)
    visibility = np.where(gone, 0.0, visibility)
    depth = np.where(gone, np.nan, depth)
    return PoseTrack(
        points=picture,
        depth=depth,
        visibility=visibility,
        time_s=times,
        image_size=(camera.width_px, camera.height_px),
        source="synthetic",
        model="golfer-1",
        log=tuple(log),
    )


def _torso_px(picture: FloatArray) -> float:
    middle = [
        0.5 * (picture[:, INDEX[f"left_{name}"]] + picture[:, INDEX[f"right_{name}"]]) for name in ("shoulder", "hip")
    ]
    return float(np.nanmedian(np.linalg.norm(middle[0] - middle[1], axis=-1)))


def _drift(rng: np.random.Generator, times: FloatArray, width: int, correlation_s: float) -> FloatArray:
    """(T, width) unit-variance noise whose correlation fades over ``correlation_s``."""
    out = rng.normal(size=(len(times), width))
    if correlation_s <= 0:
        return out
    for i in range(1, len(times)):
        keep = float(np.exp(-(times[i] - times[i - 1]) / correlation_s))
        out[i] = keep * out[i - 1] + np.sqrt(1 - keep * keep) * out[i]
    return out


def _sizes(noise: NoiseSpec) -> tuple[FloatArray, FloatArray]:
    """(33,) noise at rest and added by speed, torso lengths."""
    rest, fast = np.zeros(N_LANDMARKS), np.zeros(N_LANDMARKS)
    for name, i in INDEX.items():
        joint = name.split("_", 1)[-1]
        if joint in ("wrist", "pinky", "index", "thumb"):
            rest[i], fast[i] = noise.wrist, noise.wrist_fast
        else:
            value = {
                "elbow": noise.elbow, "shoulder": noise.shoulder, "hip": noise.trunk, "knee": noise.trunk,
                "ankle": noise.ankle, "heel": noise.ankle, "foot_index": noise.ankle,
            }.get(joint, noise.face)  # fmt: skip
            rest[i] = fast[i] = value
    return rest, fast


def _spoil(
    picture: FloatArray,
    visibility: FloatArray,
    hidden: FloatArray,
    state: dict[str, FloatArray],
    times: FloatArray,
    torso: float,
    noise: NoiseSpec,
    seed: int,
    impacts_s: tuple[float, ...],
    camera: CameraSpec,
    lead: str,
) -> tuple[FloatArray, FloatArray]:
    rng = np.random.default_rng([seed, 11])
    n = len(times)
    rest, fast = _sizes(noise)
    speed = np.linalg.norm(np.gradient(state["grip"], times, axis=0), axis=-1) if n > 2 else np.zeros(n)
    blur = np.clip(speed / FAST_HAND_M_S - 0.5, 0.0, 1.0)[:, None]
    sigma = noise.scale * torso * (rest[None] * (1 - blur) + fast[None] * blur)
    slow = _drift(rng, times, 2 * N_LANDMARKS, noise.correlation_s).reshape(n, N_LANDMARKS, 2)
    quick = rng.normal(size=(n, N_LANDMARKS, 2))
    share = noise.correlated
    out = picture + sigma[..., None] * (np.sqrt(share) * slow + np.sqrt(1 - share) * quick)

    # What the model cannot see it invents: a slowly wandering guess, for a whole arm at once.
    wander = _drift(rng, times, 4, 0.35).reshape(n, 2, 2)
    for s, side in enumerate(("left", "right")):
        for joint, part in (("elbow", 0.7), ("wrist", 1.0), ("pinky", 1.0), ("index", 1.0), ("thumb", 1.0)):
            i = INDEX[f"{side}_{joint}"]
            out[:, i] += noise.scale * noise.far_arm * part * torso * hidden[:, i, None] * wander[:, s]
    visibility = np.clip(visibility + rng.normal(0.0, 0.02, visibility.shape), 0.01, 0.999)

    if noise.dropout > 0:
        length_s = 2 / 30
        for side in ("left", "right"):
            arm = [INDEX[f"{side}_{joint}"] for joint in ("wrist", "pinky", "index", "thumb")]
            span = float(times[-1] - times[0]) if n > 1 else 0.0
            for start in rng.uniform(times[0], times[-1], rng.poisson(noise.dropout * span / length_s)):
                run = rng.uniform(1 / 30, 3 / 30)
                lost = np.flatnonzero((times >= start) & (times < start + run))
                out[lost[:, None], arm] = np.nan
    if camera.view == "dtl":
        for impact in impacts_s:
            if rng.uniform() < noise.hip_swap:
                start = impact + rng.uniform(0.08, 0.22)
                stop = min(start + rng.uniform(0.03, 0.12), impact + 0.30)
                swap = (times >= start) & (times <= stop)
                left, right = INDEX["left_hip"], INDEX["right_hip"]
                held = out[swap, left].copy()
                out[swap, left] = out[swap, right]
                out[swap, right] = held
    return out, visibility


def true_club(motion: Motion | Recording, camera: CameraSpec, times_s: FloatArray) -> ClubTrack:
    """The shaft in the picture, exactly.

    Parameters
    ----------
    times_s : (T,) float, strictly increasing

    Returns
    -------
    ClubTrack
        Angle clockwise from the picture's +x, grip towards club head; ``length_px`` the visible length; state
        "measured" throughout.
    """
    _check_hands(motion, camera)
    times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
    state = motion.state(times)
    grip = camera.project(state["grip"], times)
    head = camera.project(state["club_head"], times)
    gap = head - grip
    measured: ClubState = "measured"
    states = (measured,) * len(times)
    return ClubTrack(
        time_s=times,
        grip=grip,
        angle_deg=np.degrees(np.arctan2(gap[:, 1], gap[:, 0])),
        length_px=np.linalg.norm(gap, axis=-1),
        state=states,
    )
