"""What every page shares: the template engine, pictures inside the page, and numbers as they are printed."""

from __future__ import annotations

import base64
import math
from pathlib import Path
from typing import TYPE_CHECKING, Any, Sequence

import numpy as np

from overlay import __version__
from overlay.arrays import Image
from overlay.compose import ComposeOptions, Source
from overlay.compose.wording import confidence_words
from overlay.data import Comparison, Swing
from overlay.terms import POSITION_NAMES, SOURCE_WORDS, VIEW_WORDS, words

if TYPE_CHECKING:
    from jinja2 import Template


def template(name: str) -> Template:
    """A page of this folder; whatever is filled in is escaped."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals["version"] = __version__
    return environment.get_template(name)


def data_uri(image: Image, quality: int = 84) -> str:
    """A picture (H, W, 3) RGB as a JPEG inside an address."""
    import cv2

    done, content = cv2.imencode(
        ".jpg", cv2.cvtColor(np.ascontiguousarray(image), cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, quality]
    )
    assert done
    return "data:image/jpeg;base64," + base64.b64encode(content.tobytes()).decode("ascii")


def file_name(source: Source) -> str:
    """What the page calls the recording."""
    return "a saved track, no pictures" if source.clip_path is None else source.clip_path.name


def has_pictures(source: Source) -> bool:
    """Whether there is anything to see of the player but a drawn figure."""
    return source.clip_path is not None or getattr(source, "kept", None) is not None


def reference_name(comparison: Comparison, source: Source) -> str:
    """What the page calls the reference: its file, or its name where it was kept."""
    if comparison.reference_model is not None:
        return f"reference {comparison.reference_model.name}"
    return file_name(source)


def in_space(comparison: Comparison) -> bool:
    """Whether the reference is a swing in space: nobody filmed it, and there is nothing to be unsure of in it."""
    return comparison.fit is not None and comparison.fit.in_student_picture


def ghost_words(comparison: Comparison) -> str:
    """What the ghost is, with the fit that was made."""
    fit = comparison.fit
    if fit is None:
        return "Ghost: the reference in blue over the student, same size, feet at the same place."
    if fit.in_student_picture:
        return "Ghost: the reference in blue, posed on the student's body and seen by his camera, in his shoes."
    return "Ghost: the reference in blue over the student, brought to his build, feet at the same place."


def tempo(swing: Swing) -> str:
    """Backswing to downswing, as it is printed."""
    return "not known" if swing.tempo_ratio is None else f"{swing.tempo_ratio:.1f} : 1"


def number(value: float, digits: int) -> str:
    """The number, "" when it is missing."""
    return f"{value:.{digits}f}" if math.isfinite(value) else ""


def span(values: tuple[float, float], digits: int) -> str:
    """Both ends of an interval, "" when one is missing."""
    low, high = values
    return f"{low:.{digits}f} to {high:.{digits}f}" if math.isfinite(low) and math.isfinite(high) else ""


def position_cell(swing: Swing, name: str) -> dict[str, Any]:
    """When a position is, how sure and from what; or why it was not found."""
    position = swing.positions.get(name)
    if position is None:
        return {"found": False, "time": "", "sure": "", "text": swing.positions.missing[name] or "not found"}
    return {
        "found": True,
        "time": f"{position.time_s:.3f} s",
        "sure": confidence_words(position.confidence),
        "text": f"from {SOURCE_WORDS[position.source]}",
    }


def filled_share(swing: Swing) -> float:
    """Share of the joint values of the swing that were filled in by cleaning, 0–1."""
    track = swing.pose
    known = np.isfinite(track.points[..., 0])
    return int(np.count_nonzero(track.filled & known)) / max(1, int(np.count_nonzero(known)))


def uncertain_text(swing: Swing) -> str:
    """What of one swing is a finding with doubts, in sentences."""
    text = (
        f"filmed {VIEW_WORDS[swing.view]} ({confidence_words(swing.view_confidence)}), "
        f"{swing.handedness}-handed ({confidence_words(swing.handedness_confidence)}). "
        f"{filled_share(swing):.0%} of the joint values were filled in across short gaps; they are drawn hollow "
        "and dashed and never scored."
    )
    hands = swing.quality.get("hands_seen")
    if hands is not None and math.isfinite(hands):
        text += f" The hands are seen in {hands:.0%} of the frames."
    club = swing.club
    if club is not None and len(club.time_s):
        counts = {state: club.state.count(state) / len(club.state) for state in ("measured", "marked", "interpolated")}
        text += f" The shaft is measured in {counts['measured']:.0%} of the frames"
        if counts["marked"]:
            text += f", marked by hand in {counts['marked']:.0%}"
        if counts["interpolated"]:
            text += f", and only interpolated, which counts for nothing, in {counts['interpolated']:.0%}"
        text += "."
    missing = [words(name) for name in POSITION_NAMES if swing.positions.get(name) is None]
    if missing:
        text += f" Not found: {', '.join(missing)}."
    return text


def strike_text(swing: Swing) -> str:
    """What is known of ball and strike, in sentences; "" when nobody looked."""
    strike = swing.strike
    if strike is None:
        return ""
    lead = {True: "The ball was struck.", False: "No ball was struck: a rehearsal swing.", None: ""}[strike.struck]
    text = strike.reason.strip()
    if lead and not text.lower().startswith(lead[:-1].lower()):
        text = f"{lead} {text}".strip()
    if math.isfinite(strike.time_s) and math.isfinite(strike.sd_s):
        text += f" Strike at {strike.time_s:.3f} s ± {1960 * strike.sd_s:.0f} ms (95 %)."
    return text.replace(" %", "\N{NO-BREAK SPACE}%")


def shown_words(swings: Sequence[Swing], options: ComposeOptions) -> str:
    """What else the lines on the stills mean, as far as they are drawn."""
    texts = []
    if options.club and any(swing.club is not None for swing in swings):
        texts.append(
            "The shaft is solid where it was measured, has dots where a person marked it, and is dashed where it is "
            "only interpolated."
        )
    if options.guides:
        texts.append("Pale lines: guide lines from each player's own address.")
    return "".join(f"{text} " for text in texts)


__all__ = [
    "data_uri",
    "file_name",
    "filled_share",
    "ghost_words",
    "has_pictures",
    "in_space",
    "number",
    "position_cell",
    "reference_name",
    "shown_words",
    "span",
    "strike_text",
    "template",
    "tempo",
    "uncertain_text",
]
