"""What of a swing is kept: everything that was found, on the real clock where it is known, and no clip."""

from __future__ import annotations

from dataclasses import replace

from overlay.data import Model, PoseTrack, Swing
from overlay.models.checks import tidy

REAL_TIME = "real_time"
"""Named number of a kept swing's quality: 1 where its seconds are real ones, 0 where the capture rate was unknown."""


def real_factor(swing: Swing) -> float:
    """Clip seconds per second of the clock of ``kept_swing``: the slow factor where the capture rate is known."""
    clip = swing.clip
    return clip.slow_factor if clip is not None and clip.capture_rate is not None else 1.0


def kept_swing(swing: Swing) -> Swing:
    """The swing without its clip, its times in real seconds when the capture rate is known.

    Where it is not, the times stay those of playback, and the estimate of the slow factor stays with them.
    ``quality["real_time"]`` says which.
    """
    clip = swing.clip
    known = clip is not None and clip.capture_rate is not None
    factor = real_factor(swing)
    quality = {name: float(value) for name, value in swing.quality.items()}
    if clip is not None:
        quality[REAL_TIME] = float(known)
    if known:
        quality["slow_factor_estimate"] = 1.0
    kept = replace(
        swing,
        clip=None,
        quality=quality,
        notes=tuple(tidy(note, 1000) for note in swing.notes),
        pose=replace(swing.pose, log=tuple(tidy(line, 1000) for line in swing.pose.log)),
    )
    return kept if factor == 1.0 else slowed(kept, 1.0 / factor)


def slowed(swing: Swing, factor: float) -> Swing:
    """The swing with every time and every uncertainty of a time multiplied by ``factor``."""
    positions, club, strike, motion = swing.positions, swing.club, swing.strike, swing.camera_motion
    found = tuple(
        replace(
            position,
            time_s=position.time_s * factor,
            sd_s=None if position.sd_s is None else position.sd_s * factor,
        )
        for position in positions.found
    )
    pose: PoseTrack = replace(
        swing.pose,
        time_s=swing.pose.time_s * factor,
        log=(*swing.pose.log, f"times multiplied by {factor:.9g}: real seconds"),
    )
    if strike is not None:
        ball = strike.ball
        strike = replace(
            strike,
            time_s=strike.time_s * factor,
            sd_s=strike.sd_s * factor,
            ball=None
            if ball is None
            else replace(ball, last_seen_s=ball.last_seen_s * factor, gone_s=ball.gone_s * factor),
            clues=tuple(replace(clue, time_s=clue.time_s * factor, sd_s=clue.sd_s * factor) for clue in strike.clues),
        )
    return replace(
        swing,
        pose=pose,
        positions=replace(positions, found=found),
        club=None if club is None else replace(club, time_s=club.time_s * factor),
        strike=strike,
        camera_motion=None if motion is None else replace(motion, time_s=motion.time_s * factor),
    )


def without_pictures(model: Model) -> Model:
    """The model without the cut-outs of the player."""
    return replace(model, pictures={})


def anonymous(model: Model) -> Model:
    """The model without pictures, the player's name, remarks and file names, for passing it on.

    How the player moves stays, and so may who it is for somebody who knows the swing.
    """
    made = model.provenance
    sources = tuple(f"swing {i}" for i in range(1, len(made.sources) + 1))
    left_out = (f"{len(made.left_out)} that did not belong",) if made.left_out else ()
    # The remarks of a swing in space are the sources of its numbers.
    notes = made.notes if model.kind == "space" else ()
    kept = replace(made, sources=sources, left_out=left_out, notes=notes)
    return replace(without_pictures(model), player="", provenance=kept)
