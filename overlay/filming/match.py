"""How two cameras differ, and what that does to the pictures when the swings are compared."""

from __future__ import annotations

import math

from overlay.data import FilmingFinding, FilmingReport, FilmingVerdict
from overlay.filming.place import about_cm, graded
from overlay.settings.filming import FilmingSettings


def match_cameras(
    student: FilmingReport, reference: FilmingReport, settings: FilmingSettings | None = None
) -> tuple[FilmingFinding, ...]:
    """The differences student − reference between two filming checks of the same view.

    Parameters
    ----------
    student, reference : FilmingReport
    settings : FilmingSettings

    Returns
    -------
    tuple of FilmingFinding
        ``match_height``, ``match_offset``, ``match_yaw``, ``match_roll``, ``match_line`` (how
        differently the two lenses look at the hands, which is what turns the club) and ``match_distance``; worst first.
        "not seen" where one of the two was not.
    """
    settings = settings or FilmingSettings()
    one, other = student, reference
    findings = (
        _line(one, other, settings),
        _height(one, other, settings),
        _difference(one, other, "camera_offset", "match_offset", settings.offset_warn_cm, settings.offset_fail_cm),
        _difference(one, other, "yaw", "match_yaw", settings.yaw_warn_deg, settings.yaw_fail_deg),
        _difference(one, other, "roll", "match_roll", settings.roll_warn_deg, settings.roll_fail_deg),
        _size(one, other, settings),
    )
    order: tuple[FilmingVerdict, ...] = ("fail", "warn", "not seen", "pass")
    return tuple(sorted(findings, key=lambda finding: order.index(finding.verdict)))


def _number(report: FilmingReport, name: str) -> tuple[float, float]:
    """Value and standard deviation of a finding; NaN when it was not made."""
    finding = report.get(name)
    if finding is None or finding.verdict == "not seen" or not math.isfinite(finding.value):
        return math.nan, math.nan
    if finding.interval is None:
        return finding.value, 0.0
    return finding.value, (finding.interval[1] - finding.interval[0]) / (2 * 1.96)


def _gap(student: FilmingReport, reference: FilmingReport, name: str) -> tuple[float, tuple[float, float]]:
    (mine, my_sd), (theirs, their_sd) = _number(student, name), _number(reference, name)
    value, half = mine - theirs, 1.96 * math.hypot(my_sd, their_sd)
    return value, (value - half, value + half)


def _unseen(name: str, unit: str) -> FilmingFinding:
    return FilmingFinding(
        name, math.nan, unit, None, "not seen", "Cannot be compared: it was not seen in one of the two clips."
    )


WORDS = {
    "match_offset": ("cm", "look past the hands", "Set both cameras on the hand line (face on: at the body's middle)."),
    "match_yaw": ("deg", "are turned against each other", "Film both along the same line."),
    "match_roll": ("deg", "are tilted against each other", "Set both cameras upright."),
}


def _difference(
    student: FilmingReport, reference: FilmingReport, source: str, name: str, warn: float, fail: float
) -> FilmingFinding:
    unit, words, advice = WORDS[name]
    value, interval = _gap(student, reference, source)
    if not math.isfinite(value):
        return _unseen(name, unit)
    verdict = graded(abs(value), warn * math.sqrt(2), fail * math.sqrt(2))
    size = about_cm(value) if unit == "cm" else f"{abs(value):.0f}°"
    if verdict == "pass":
        return FilmingFinding(name, value, unit, interval, verdict, f"The cameras agree ({size}).")
    if name == "match_roll":
        sentence = f"The cameras {words} by about {size}: every line in the student's picture is turned by that."
    elif name == "match_yaw":
        sentence = f"The cameras {words} by about {size}."
    else:
        sentence = f"The cameras {words} {size} apart."
    return FilmingFinding(name, value, unit, interval, verdict, sentence, advice)


def _height(student: FilmingReport, reference: FilmingReport, settings: FilmingSettings) -> FilmingFinding:
    value, interval = _gap(student, reference, "camera_height")
    if not math.isfinite(value):
        return _unseen("match_height", "cm")
    fail_cm = settings.height_fail_cm * math.sqrt(2)
    verdict = graded(abs(value), settings.height_warn_cm * math.sqrt(2), fail_cm)
    if verdict == "fail" and min(abs(interval[0]), abs(interval[1])) < fail_cm / 2:
        # So unsure that the cameras may stand nearly alike: no reason to throw the pictures away.
        verdict = "warn"
    if verdict == "pass":
        return FilmingFinding("match_height", value, "cm", interval, verdict, "The cameras stand at the same height.")
    tilt = _bearing(value, _distance_cm(student, reference))
    side = "higher" if value > 0 else "lower"
    return FilmingFinding(
        "match_height", value, "cm", interval, verdict,
        f"The student's camera stands about {about_cm(value)} {side} against the hands: a level shaft looks about "
        f"{abs(tilt):.0f}° off level.",
        f"{'Lower' if value > 0 else 'Raise'} the student's camera about {about_cm(value)}.",
    )  # fmt: skip


def _distance_cm(student: FilmingReport, reference: FilmingReport) -> float:
    seen = [
        100 * value for report in (student, reference) if math.isfinite(value := _number(report, "camera_distance")[0])
    ]
    return sum(seen) / len(seen) if seen else FilmingSettings().distance * FilmingSettings().stature_cm


def _bearing(beside_cm: float, distance_cm: float) -> float:
    return math.degrees(math.atan2(beside_cm, distance_cm))


def _line(student: FilmingReport, reference: FilmingReport, settings: FilmingSettings) -> FilmingFinding:
    """How much further outside (towards the toes) the student's lens looks at the hands from, degrees."""
    name = "match_line"
    parts = []
    for report in (student, reference):
        offset, offset_sd = _number(report, "camera_offset")
        yaw, yaw_sd = _number(report, "yaw")
        distance = 100 * _number(report, "camera_distance")[0]
        if not all(map(math.isfinite, (offset, yaw, distance))):
            return _unseen(name, "deg")
        # With + yaw the lens stands inside the hand line (dtl), or on the trail side (fo).
        value = _bearing(offset, distance) - yaw
        parts.append((value, math.hypot(math.degrees(offset_sd / distance), yaw_sd)))
    value = parts[0][0] - parts[1][0]
    half = 1.96 * math.hypot(parts[0][1], parts[1][1])
    interval = (value - half, value + half)
    verdict = graded(abs(value), settings.line_warn_deg, settings.line_fail_deg)
    if verdict == "pass":
        return FilmingFinding(name, value, "deg", interval, verdict, "Both cameras look at the hands alike.")
    if "face on" in _sentence(student, "view"):
        where = "target" if value > 0 else "trail"
        sentence = (
            f"The student's camera stands about {abs(value):.0f}° further round to the {where} side: hands and club "
            f"look that much {'less' if value > 0 else 'more'} ahead."
        )
        advice = f"Carry it round the player towards the {'trail' if value > 0 else 'target'} side."
    else:
        sentence = (
            f"The student's camera stands about {abs(value):.0f}° further {'outside' if value > 0 else 'inside'}: that "
            f"makes the club look about {abs(value):.0f}° more {'inside' if value > 0 else 'outside'}."
        )
        advice = f"Carry it towards the {'heel' if value > 0 else 'toe'} line, the hands in the middle."
    return FilmingFinding(name, value, "deg", interval, verdict, sentence, advice)


def _sentence(report: FilmingReport, name: str) -> str:
    finding = report.get(name)
    return "" if finding is None else finding.sentence


def _size(student: FilmingReport, reference: FilmingReport, settings: FilmingSettings) -> FilmingFinding:
    (mine, _), (theirs, _) = _number(student, "distance"), _number(reference, "distance")
    if not (math.isfinite(mine) and math.isfinite(theirs) and theirs > 0):
        return _unseen("match_distance", "%")
    value = 100.0 * (mine / theirs - 1.0)
    if abs(value) < settings.size_warn:
        return FilmingFinding("match_distance", value, "%", None, "pass", "Both players are about equally large.")
    return FilmingFinding(
        "match_distance", value, "%", None, "warn",
        f"The student is {abs(value):.0f} % {'larger' if value > 0 else 'smaller'} in the picture. The comparison "
        "scales that out, but what is near the camera looks larger from close by.",
        "Film both from the same distance.",
    )  # fmt: skip
