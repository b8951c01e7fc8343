"""The shipped reference models, measured: against their parameters, published values, a body's limits, the checklist.

    python studies/reference_models.py [--edits 24] [--quick] [--stills FOLDER]

First the shipped files are measured. Then a coach's edits are tried: from each model several numbers at once are moved
by random amounts, and the swing is solved for; said is how often that succeeds, how near the made swing comes, and how
many trials it takes. ``--stills`` draws the nine positions of both views with the golfer's renderer into FOLDER, to be
looked at. ``--quick`` tries few edits and writes no page.
"""

from __future__ import annotations

import argparse
from collections import Counter
from pathlib import Path

import numpy as np

from overlay.checklist import check_swing, load_checklist
from overlay.data import Model, SpaceTrack
from overlay.errors import InputError
from overlay.files import write_text
from overlay.golfer import CameraSpec, Motion
from overlay.guides import guide_lines
from overlay.landmarks import INDEX
from overlay.maker import (
    KINDS,
    PARAMETERS,
    Parameters,
    make_swing,
    measured,
    plausibility,
    seen_from,
    shipped_parameters,
    unlikely,
)
from overlay.maker.bands import repeats, separation_deg
from overlay.maker.make import kept_space
from overlay.measure import measure_swing
from overlay.models import load_model
from overlay.settings.maker import BANDS
from overlay.shipped import shipped_folder
from overlay.terms import PARTS, PHASES, POSITION_NAMES, words

OUT = Path(__file__).resolve().parent.parent / "docs" / "studies" / "reference_models.md"
EDITED: dict[str, float] = {
    "forward_bend_deg": 3.0, "knee_flex_deg": 3.0, "arm_hang_deg": 2.0, "stance_cm": 4.0, "shoulder_turn_deg": 8.0,
    "pelvis_turn_deg": 5.0, "side_bend_top_deg": 3.0, "points_back_cm": 6.0, "lead_arm_to_spine_deg": 4.0,
    "hands_over_heels_cm": 3.0, "shaft_past_level_deg": 10.0, "shaft_across_deg": 5.0, "steeper_down_deg": 3.0,
    "points_down_cm": 6.0, "shift_cm": 3.0, "push_cm": 1.0, "backswing_s": 0.10, "downswing_s": 0.02,
    "lean_impact_deg": 2.0, "lag_deg": 6.0, "stature_m": 0.08,
}  # fmt: skip
"""Number → standard deviation of a coach's edit of it."""


def shipped(kind: str) -> Model:
    return load_model(shipped_folder("reference_models") / f"{KINDS[kind]}.swing")


def asked_and_measured(spaces: dict[str, SpaceTrack]) -> list[str]:
    lines = [
        "| number | unit | within | mid iron: asked | measured | driver: asked | measured |",
        "|---|---|---|---|---|---|---|",
    ]
    found = {kind: measured(space) for kind, space in spaces.items()}
    for parameter in PARAMETERS:
        cells = [parameter.name, parameter.unit, f"{parameter.tolerance:g}"]
        for kind in KINDS:
            value = found[kind].get(parameter.name)
            cells += [f"{shipped_parameters(kind)[parameter.name]:g}", "set" if value is None else f"{value:.2f}"]
        lines.append(f"| {' | '.join(cells)} |")
    return lines


def published(spaces: dict[str, SpaceTrack]) -> list[str]:
    lines = ["| value | published | mid iron | driver | source |", "|---|---|---|---|---|"]

    def add(name: str, wanted: str, value, source: str, form: str = ".2f") -> None:  # type: ignore[no-untyped-def]
        lines.append(
            f"| {name} | {wanted} | {' | '.join(format(value(s), form) for s in spaces.values())} | {source} |"
        )

    golfdb = "GolfDB labels (McNally et al. 2019), computed"

    def between(a: str, b: str):  # type: ignore[no-untyped-def]
        return lambda s: s.positions.time(b) - s.positions.time(a)

    add("backswing, s", "0.87 (5–95 %: 0.67–1.40)", between("address", "top"), golfdb)
    add("downswing, s", "0.27 (0.20–0.30)", between("top", "impact"), golfdb)
    add(
        "tempo ratio",
        "3.43 (2.57–5.33)",
        lambda s: between("address", "top")(s) / between("top", "impact")(s),
        golfdb,
    )
    for name, median in (
        ("shaft_level_back", 0.25),
        ("lead_arm_level_back", 0.34),
        ("top", 0.49),
        ("lead_arm_level_down", 0.57),
        ("impact", 0.64),
        ("shaft_level_through", 0.68),
    ):
        add(
            f"{words(name)}, share of address → finish",
            f"{median:.2f}",
            lambda s, n=name: between("address", n)(s) / between("address", "finish")(s),
            golfdb,
        )
    zheng = "Zheng et al. 2008, doi 10.1055/s-2007-989229"
    add("shoulders against pelvis at the top, °", "60 ± 7", top_separation, zheng, ".1f")
    add("lead shoulder, horizontal adduction at the top, °", "125 ± 6", adduction, zheng, ".1f")
    add(
        "trail hip inside the trail-leg line at the top, cm",
        "4.27",
        lambda s: measured(s)["gap_cm"],
        "one ball, Rules of Golf; common practice",
    )
    add("shift of the pelvis, cm", "20", lambda s: measured(s)["shift_cm"], "common practice, about 8 in", ".1f")
    return lines


def _line(space: SpaceTrack, joint: str, i: int) -> np.ndarray:
    return np.asarray(space.points[i, INDEX[f"left_{joint}"]] - space.points[i, INDEX[f"right_{joint}"]])


def _row(space: SpaceTrack, name: str) -> int:
    return int(np.argmin(np.abs(space.time_s - (space.positions.time(name) or 0.0))))


def top_separation(space: SpaceTrack) -> float:
    found = measured(space)
    return found["shoulder_turn_deg"] - found["pelvis_turn_deg"]


def adduction(space: SpaceTrack) -> float:
    i = _row(space, "top")
    p = space.points[i]
    spine = sum(p[INDEX[f"{s}_shoulder"]] - p[INDEX[f"{s}_hip"]] for s in ("left", "right"))
    spine = spine / np.linalg.norm(spine)
    lead, arm = _line(space, "shoulder", i), p[INDEX["left_elbow"]] - p[INDEX["left_shoulder"]]
    lead, arm = (v - (v @ spine) * spine for v in (lead, arm))
    return float(np.degrees(np.arccos(lead @ arm / np.linalg.norm(lead) / np.linalg.norm(arm))))


def limits(spaces: dict[str, SpaceTrack]) -> list[str]:
    found = [plausibility(space) for space in spaces.values()]
    lines = ["| | mid iron | driver |", "|---|---|---|"]
    for name in found[0]:
        lines.append(f"| {name} | {' | '.join(f'{one[name]:.4g}' for one in found)} |")
    return lines


def checklist(spaces: dict[str, SpaceTrack]) -> tuple[list[str], str]:
    lines = ["| measure | view | tolerance | mid iron | verdict | driver | verdict |", "|---|---|---|---|---|---|---|"]
    told: Counter[str] = Counter()
    for view in ("dtl", "fo"):
        columns = []
        for space in spaces.values():
            for hand in ("left", "right"):
                swing = seen_from(space, view, hand)  # type: ignore[arg-type]
                found = check_swing(measure_swing(swing, guide_lines(swing)), view, load_checklist())  # type: ignore[arg-type]
                checks = [check for check in found.checks if check.measure.name != "camera_setup"]
                told.update(check.verdict for check in checks)
            columns.append(checks)
        for a, b in zip(*columns):
            low, high = a.tolerance
            cells = [f"{one.measure.value:.2f} | {one.verdict}" for one in (a, b)]
            lines.append(f"| {a.measure.name} | {view} | {low:g} to {high:g} | {' | '.join(cells)} |")
    total = sum(told.values())
    return lines, ", ".join(
        f"{told[word]} {word}" for word in ("in", "unclear", "out", "not measured")
    ) + f" of {total}"


def bands(models: dict[str, Model]) -> list[str]:
    lines = []
    for kind, model in models.items():
        for view, band in model.bands.items():
            lines += ["", f"{kind}, {view}, {band.n_swings} swings:", ""]
            lines += [f"| | {' | '.join(words(phase.name) for phase in PHASES)} |", "|---" * (len(PHASES) + 1) + "|"]
            for part in PARTS:
                cells = [band.get(phase.name, part) for phase in PHASES]
                lines.append(
                    f"| {words(part)} | {' | '.join('–' if cell is None else f'{cell.sd:.3f}' for cell in cells)} |"
                )
    return lines


def variation() -> str:
    parts = []
    for kind in KINDS:
        made = make_swing(shipped_parameters(kind))
        peaks = np.array([separation_deg(kept_space(motion, kind)) for motion in repeats(made.spec)])
        parts.append(f"{100 * np.std(peaks, ddof=1) / np.mean(peaks):.1f} % ({kind})")
    return ", ".join(parts)


def edits(n: int) -> list[str]:
    """Success of ``n`` coaches' edits."""
    rng = np.random.default_rng(1)
    by_name = {parameter.name: parameter for parameter in PARAMETERS}
    made, refused, worst, unlike = 0, [], [], 0
    for i in range(n):
        kind = list(KINDS)[i % len(KINDS)]
        values = dict(shipped_parameters(kind).values)
        for name in rng.choice(list(EDITED), size=int(rng.integers(1, 8)), replace=False):
            parameter = by_name[str(name)]
            values[str(name)] = float(
                np.clip(values[str(name)] + rng.normal(0.0, EDITED[str(name)]), parameter.low, parameter.high)
            )
        parameters = Parameters(kind, values)
        try:
            found = make_swing(parameters)
        except InputError as error:
            refused.append(error.message)
            continue
        made += 1
        unlike += bool(unlikely(found.space))
        worst.append(
            max(
                abs(found.measured[p.name] - parameters[p.name]) / p.tolerance
                for p in PARAMETERS
                if p.name in found.measured
            )
        )
    lines = [
        f"{n} edits of one to seven numbers each, drawn about the shipped ones: {made} made, {len(refused)} refused, "
        f"{unlike} of the made ones told to be no human swing. The largest miss of a made one was "
        f"{max(worst, default=float('nan')):.2f} of its tolerance (median of the largest of each "
        f"{np.median(worst) if worst else float('nan'):.2f})."
    ]
    return lines + [f"- refused: {message}" for message in refused]


def stills(motion: Motion, path: Path) -> None:
    """The nine positions, face on above and down the line below."""
    from PIL import Image as Picture

    from overlay.golfer.render import render_frame

    rows = []
    for view in ("fo", "dtl"):
        camera = CameraSpec.for_motion(motion, view, width_px=420, height_px=420, fov_deg=42.0)
        pictures = [render_frame(motion.posture(motion.position_times[name]), camera) for name in POSITION_NAMES]
        rows.append(np.concatenate(pictures, axis=1))
    Picture.fromarray(np.concatenate(rows)).save(path)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--edits", type=int, default=24)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--stills", type=Path, default=None)
    arguments = parser.parse_args()
    models = {kind: shipped(kind) for kind in KINDS}
    spaces = {kind: model.space for kind, model in models.items() if model.space is not None}
    if arguments.stills is not None:
        arguments.stills.mkdir(parents=True, exist_ok=True)
        for kind in KINDS:
            stills(make_swing(shipped_parameters(kind)).motion, arguments.stills / f"{KINDS[kind]}.png")
    rows, told = checklist(spaces)
    page = [
        "# Reference models, measured",
        "",
        "Made by `python studies/reference_models.py`. What the numbers mean stands in the parameter files, and in "
        "[reference-models](../reference-models.md).",
        "",
        "## Asked and measured",
        "Measured in space, on the joints and the club that the files hold.",
        "",
        *asked_and_measured(spaces),
        "",
        "## Against published values",
        *published(spaces),
        "",
        "## A body's limits",
        "Shares of length, metres, metres and degrees a second; see `overlay.maker.plausibility`.",
        "",
        *limits(spaces),
        "",
        "## By the project's own measures",
        "Seen by well set up cameras, positions and club exact, held against the default checklist, both hands: "
        f"{told}. *Unclear* is a value inside its tolerance whose interval, made for the errors of a pose model, "
        "reaches over the edge.",
        "",
        *rows,
        "",
        "## Bands",
        f"SD of one coordinate of a part's phase mean between {BANDS.swings} repeats, torso lengths, with the errors "
        "of a pose model. Coefficient of variation of the repeats' peak separation of shoulders and pelvis: "
        f"{variation()}; published 7.4 % (Meister et al. 2011, J Appl Biomech 27:242).",
        *bands(models),
        "",
        "## A coach's edits",
        *edits(6 if arguments.quick else arguments.edits),
        "",
    ]
    text = "\n".join(page)
    if arguments.quick:
        print(text)
    else:
        write_text(OUT, text)
        print(f"written: {OUT}")


if __name__ == "__main__":
    main()
