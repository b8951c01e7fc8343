"""Thresholds of recognising two views of one swing, and of what both views measure together."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Mapping

from overlay.settings import setting


@dataclass(frozen=True)
class SoundMatchSettings:
    """How two sound tracks are held against each other. Real seconds."""

    low_hz: float = setting(1500.0, "Hz", "wind, steps and voices lie mostly below; a strike reaches far up")
    high_hz: float = setting(9000.0, "Hz", "codecs of phones keep this much")
    step_s: float = setting(0.002, "s", "grid of the energy")
    quiet_s: float = setting(0.060, "s", "what was heard before, against which a rise is held")
    rise_db: float = setting(6.0, "dB", "a smaller rise is the unrest of the place")
    most_db: float = setting(30.0, "dB", "a larger rise counts as this much: the loudest sound must not decide alone")
    blur_s: float = setting(0.008, "s", "sounds from different places reach two phones up to 16 ms differently apart")
    level_db: float = setting(-75.0, "dB of full scale", "a track quieter than this holds nothing")
    least_overlap_s: float = setting(1.0, "s", "less heard by both is no comparison")
    gate_s: float = setting(0.10, "s", "to each side of what the movement says, plus three of its SD")
    strike_s: float = setting(0.15, "s", "about the strike: any two strikes fall together there, so it proves nothing")
    distance_sd_m: float = setting(1.2, "m", "of each microphone from the ball, as for a single clip")
    speed_m_s: float = setting(343.0, "m/s", "speed of sound at 20 °C")
    offset_sd_s: float = setting(0.006, "s", "sound against picture in one recording, as for a single clip")
    alike: float = setting(0.65, "fraction", "of the band: one strike keeps its phase on two phones; synthetic 0.87")
    alike_sd: float = setting(0.2, "fraction", "one SD of it")
    unlike: float = setting(0.36, "fraction", "the same of two strikes; synthetic")
    unlike_sd: float = setting(0.10, "fraction", "one SD of it")
    most_alike: float = setting(2.0, "log odds", "of the strikes alone: tried on synthetic sounds only")
    most_odds: float = setting(6.0, "log odds", "the sound alone says no more than 400 to 1")


@dataclass(frozen=True)
class RecordedSettings:
    """What the times say at which the files were recorded."""

    clock_sd_s: float = setting(2.0, "s", "of two phones that set their clocks by the network, and whole seconds")
    wrong: float = setting(0.15, "probability", "a clock is off by minutes or hours, or it is the time of copying")
    wrong_span_s: float = setting(86_400.0, "s", "then the times may lie this far apart")
    between_s: float = setting(100.0, "s", "from one swing to the next at a range, no source")
    session_s: float = setting(1800.0, "s", "two swings that were filmed one at a time lie this far apart at most")
    most_odds: float = setting(4.0, "log odds", "clocks are weak evidence: 50 to 1 at most")


ACROSS_SD: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "shoulder:top": (0.07, 0.12),
        "hip:top": (0.055, 0.05),
        "shoulder:impact": (0.045, 0.06),
        "hip:impact": (0.04, 0.06),
    }
)
"""joint:position → SD of the two ends against each other across the picture, down the line and face on (eleven rendered
players)."""

LOST: Mapping[str, float] = MappingProxyType({"shoulder:top": 0.15, "hip:top": 0.3, "shoulder:impact": 0.15})
"""joint:position → how often the face-on place of a line says nothing (rendered clips: hips at the top 2 of 8)."""

SWAPPED: Mapping[str, float] = MappingProxyType({"shoulder:top": 0.5})
"""joint:position → how often its ends are marked the other way round, as if turned less (rendered clips: 5 of 8)."""

USUAL_DEG: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "shoulder:top": (95.0, 35.0),
        "hip:top": (45.0, 20.0),
        "shoulder:impact": (-20.0, 30.0),
        "hip:impact": (-38.0, 30.0),
    }
)
"""joint:position → turn from the target line and how widely it is taken to vary between players (SD): about common
practice (87° and 55° at the top, McTeigue 1994), three to four times as wide as players differ. It only decides
between directions that both pictures show alike."""


@dataclass(frozen=True)
class LineSettings:
    """How the direction of the shoulder and the hip line is found. Torso lengths."""

    across_sd: Mapping[str, tuple[float, float]] = field(
        default_factory=lambda: dict(ACROSS_SD),
        metadata={"unit": "torso", "reason": "the pose model on rendered clips; docs/studies/pair_views.md"},
    )
    across_sd_other: tuple[float, float] = setting((0.06, 0.06), "torso", "at other positions")
    up_sd: float = setting(0.04, "torso", "height of one end over the other, down the line")
    width_sd: float = setting(0.05, "fraction", "of the line's length as seen at address")
    lost: Mapping[str, float] = field(
        default_factory=lambda: dict(LOST),
        metadata={"unit": "probability", "reason": "the pose model on rendered clips"},
    )
    swapped: Mapping[str, float] = field(
        default_factory=lambda: dict(SWAPPED),
        metadata={"unit": "probability", "reason": "the pose model on rendered clips"},
    )
    lost_other: float = setting(0.1, "probability", "at other positions")
    arm_share: float = setting(0.91, "ratio", "lead shoulder to hands at the top over address: synthetic, 0.90")
    arm_sd: float = setting(0.04, "fraction", "of it: some bend the lead arm")
    usual_deg: Mapping[str, tuple[float, float]] = field(
        default_factory=lambda: dict(USUAL_DEG),
        metadata={"unit": "deg", "reason": "common practice, taken very widely"},
    )


POINT_SD_DTL: Mapping[str, float] = MappingProxyType(
    {"shoulder": 0.045, "elbow": 0.05, "wrist": 0.04, "hip": 0.03, "knee": 0.03, "ankle": 0.03, "heel": 0.03,
     "hands": 0.05, "hands:address": 0.08, "grip": 0.02, "head": 0.03}
)  # fmt: skip
"""Error of one coordinate of a point down the line, torso lengths: of a point, or of a point at one position."""

POINT_SD_FO: Mapping[str, float] = MappingProxyType(
    {"shoulder": 0.045, "elbow": 0.05, "wrist": 0.04, "hip": 0.03, "knee": 0.03, "ankle": 0.03, "heel": 0.03,
     "hands": 0.05, "grip": 0.02, "head": 0.03}
)  # fmt: skip
"""The same face on."""

BIAS_DTL: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "lead_shoulder:address": (-0.08, 0.0),
        "trail_shoulder:address": (0.05, 0.09),
        "lead_hip:address": (-0.06, 0.01),
        "trail_hip:address": (0.0, -0.05),
        "lead_ankle:address": (0.0, -0.05),
        "trail_ankle:address": (0.0, -0.02),
        "lead_shoulder:top": (0.0, 0.04),
        "trail_shoulder:top": (0.01, -0.06),
        "lead_hip:top": (0.02, -0.03),
        "trail_hip:top": (-0.01, 0.01),
        "hands:top": (0.0, -0.02),
        "lead_shoulder:impact": (-0.06, -0.02),
        "trail_shoulder:impact": (0.01, 0.06),
        "lead_hip:impact": (0.0, -0.01),
        "trail_hip:impact": (-0.04, -0.01),
    }
)
"""point:position → (right, up) torso lengths by which the pose model marks it off, of a right-hander down the line.

Medians over eight rendered players, all alike: it marks the hidden lead side nearer and the trail side, which is nearer
to the lens, higher than the joints are."""

BIAS_FO: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "trail_shoulder:address": (0.03, 0.01),
        "lead_hip:address": (0.02, -0.04),
        "trail_hip:address": (0.0, -0.07),
        "lead_ankle:address": (-0.01, 0.0),
        "trail_ankle:address": (0.0, -0.02),
        "trail_hip:top": (-0.04, -0.06),
        "hands:top": (0.06, 0.03),
        "lead_shoulder:impact": (-0.03, -0.01),
        "trail_shoulder:impact": (0.01, 0.03),
        "lead_hip:impact": (0.03, -0.02),
        "trail_hip:impact": (-0.05, -0.02),
    }
)
"""The same face on."""


@dataclass(frozen=True)
class SpaceSettings:
    """How both pictures are joined to points in space, and how unsure that is. Torso lengths in space."""

    yaw_sd_deg: float = setting(2.55, "deg", "direction of a camera that is not told: ±5° at 95 %")
    least_yaw_sd_deg: float = setting(1.5, "deg", "of one that was measured")
    roll_sd_deg: float = setting(1.0, "deg", "tilt of a hand-set tripod")
    distance: float = setting(7.8, "torso", "camera to player: 3.8–4.1 m at a torso of .288 of stature")
    distance_sd: float = setting(1.3, "torso", "one SD of it")
    height: float = setting(0.0, "torso", "lens above the hands at address (common practice: at hand height)")
    height_sd: float = setting(0.25, "torso", "13 cm: one SD of it")
    scale_sd: float = setting(0.025, "fraction", "of one picture's scale against the other's, from the joints' heights")
    draws: int = setting(400, "count", "random errors of cameras and joints an interval is taken from")
    level: float = setting(0.95, "fraction", "common practice")
    still_s: float = setting(0.25, "s", "before address over which a place is a median")
    window_s: float = setting(0.020, "s", "to each side of a position, at least one frame, that is read")
    bridge_s: float = setting(0.070, "s", "unmeasured stretch around a position that is bridged")
    shaft_bridge_s: float = setting(
        0.16, "s", "the same of the shaft, which is hidden longest at the top, where it stands still to turn round"
    )
    least_visibility: float = setting(0.5, "fraction", "arms and hands seen less well are left out")
    club_length_sd: float = setting(0.08, "fraction", "visible length of the shaft: its thin end fades")
    height_noise: float = setting(0.04, "torso", "of one point's height between the two views")
    shaft_sd_deg: float = setting(2.0, "deg", "of the shaft where its tracker does not say")
    least_shaft_sd_deg: float = setting(1.0, "deg", "the tracker's median error is 0.5°, its accepted worst 1.7°")
    angle_sd_deg: float = setting(2.55, "deg", "no angle of the body from pictures is finer than ±5° at 95 %")
    point_sd_dtl: Mapping[str, float] = field(
        default_factory=lambda: dict(POINT_SD_DTL),
        metadata={"unit": "torso", "reason": "the pose model on rendered clips; docs/studies/pair_views.md"},
    )
    point_sd_fo: Mapping[str, float] = field(
        default_factory=lambda: dict(POINT_SD_FO),
        metadata={"unit": "torso", "reason": "the pose model on rendered clips; docs/studies/pair_views.md"},
    )
    biased_model: str = setting("mediapipe", "", "the biases are this pose model's; other joints are taken as they are")
    bias_dtl: Mapping[str, tuple[float, float]] = field(
        default_factory=lambda: dict(BIAS_DTL),
        metadata={"unit": "torso", "reason": "of the pose model on rendered clips, taken off"},
    )
    bias_fo: Mapping[str, tuple[float, float]] = field(
        default_factory=lambda: dict(BIAS_FO),
        metadata={"unit": "torso", "reason": "of the pose model on rendered clips, taken off"},
    )
    line: LineSettings = LineSettings()
    two_swings: float = setting(0.03, "torso", "by which a joint's place differs between two swings of one player")
    two_swings_deg: float = setting(4.0, "deg", "the same of a turn: trunk rotation varies by 7.4 % (Meister 2011)")
    widest_deg: float = setting(25.0, "deg", "half an interval wider than this says nothing")
    widest: float = setting(0.5, "torso", "half an interval wider than this says nothing")


TRUST: Mapping[str, tuple[float, float]] = MappingProxyType({"address": (2.0, 0.5)})
"""Position → factors on the standard deviations that both views tell, down the line and face on."""


@dataclass(frozen=True)
class PairSettings:
    """All of it."""

    tempo_sd: float = setting(
        0.03, "fraction", "by which one player's stretches differ from swing to swing; the synthetic player: 2 %"
    )
    sound: SoundMatchSettings = SoundMatchSettings()
    recorded: RecordedSettings = RecordedSettings()
    space: SpaceSettings = SpaceSettings()
    told_sd_s: float = setting(0.03, "s", "of an offset told by hand: a frame at 30 a second")
    told_odds: float = setting(8.0, "log odds", "what a person says counts more than any other evidence")
    position_sd_s: float = setting(0.03, "s", "real time, of a position that does not say how sure it is")
    least_sd_s: float = setting(0.003, "s", "of the map: sensors are read out line by line")
    rate_sd: float = setting(0.25, "fraction", "of a slow factor that is estimated from the swing's tempo")
    other_rate: float = setting(
        0.25, "log", "play at speeds further apart are a slowed clip; nearer, it is another backswing"
    )
    same_rate_sd: float = setting(1e-4, "fraction", "clocks of two phones run apart by less")
    odds: float = setting(2.94, "log odds", "one swing is said from 95 % on")
    contradiction: float = setting(0.001, "probability", "movements of one swing differ so much as rarely as this")
    disagreement: float = setting(4.0, "sd", "two clues further apart than this contradict each other")
    trust: Mapping[str, tuple[float, float]] = field(
        default_factory=lambda: dict(TRUST), metadata={"unit": "factor", "reason": "as ``trust_other``"}
    )
    trust_other: tuple[float, float] = setting(
        (1.0, 0.5),
        "factor",
        "on the sd told, when positions are put together: on eight rendered players errors were 0.25–1.0 of it down "
        "the line (address 2.1) and 0.14–0.7 face on",
    )
