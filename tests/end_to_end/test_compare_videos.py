"""The main job on rendered video, through the command line, as a player would run it.

Truth comes from the synthetic golfer's own geometry. All of it runs in one worker, which renders two clips once.
"""

from __future__ import annotations

import functools
import json
import re
import signal
import subprocess
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from overlay.terms import PARTS, PHASES, POSITION_NAMES

pytestmark = [pytest.mark.pose, pytest.mark.slow, pytest.mark.xdist_group("compare")]

Run = Callable[..., "subprocess.CompletedProcess[str]"]
RATE_HZ = 60


@dataclass(frozen=True)
class Pair:
    student: Path
    reference: Path
    student_times: dict[str, float]
    reference_times: dict[str, float]
    folder: Path
    document: dict[str, Any]
    done: subprocess.CompletedProcess[str]


def film(path: Path, view: str = "fo", stop_s: float | None = None, **spec: Any) -> dict[str, float]:
    """Render one small clip; returns the true position times in the clip's own time."""
    from overlay.golfer import CameraSpec, GolferSpec, TempoSpec, render_clip, simulate

    spec.setdefault("tempo", TempoSpec(pre_s=0.8, relax_s=0.6, post_s=0.0))
    look = spec.pop("look", "rowan")
    motion = simulate(GolferSpec(**spec))
    camera = CameraSpec.for_motion(motion, view=view, width_px=360, height_px=640)
    render_clip(motion, camera, path, rate_hz=RATE_HZ, look=look, seed=1, stop_s=stop_s)
    return dict(motion.position_times)


@pytest.fixture(scope="module")
def pair(tmp_path_factory: pytest.TempPathFactory, overlay_command: Run) -> Pair:
    from overlay.golfer import BodySpec, TempoSpec

    folder = tmp_path_factory.mktemp("pair")
    student, reference, out = folder / "student.mp4", folder / "reference.mp4", folder / "out"
    slower = TempoSpec(pre_s=0.8, backswing_s=1.0, downswing_s=0.3, relax_s=0.6, post_s=0.0)
    one = film(student, faults={"sway": 1.6}, tempo=slower, body=BodySpec(stature_m=1.70), look="mara")
    other = film(reference)
    done = overlay_command("compare", student, reference, "--out", out, "--stature-cm", "170", "--json")
    assert done.returncode == 0, done.stderr
    return Pair(student, reference, one, other, out, json.loads(done.stdout), done)


def test_everything_asked_for_is_written(pair: Pair) -> None:
    names = {path.name for path in pair.folder.iterdir()}
    assert names == {"comparison.mp4", "stills.png", "report.html", "comparison.json"}
    assert json.loads((pair.folder / "comparison.json").read_text())["schema"] == 1


def test_positions_agree_with_the_golfer(pair: Pair) -> None:
    # Tolerance: McNally et al. 2019 (arXiv 1903.06528), max(round(n / 30), 1) frames with n from address to impact.
    right = wanted = 0
    for side, truth in (("student", pair.student_times), ("reference", pair.reference_times)):
        found = {row["name"]: row["time_s"] for row in pair.document[side]["positions"]}
        tolerance_s = max(round((truth["impact"] - truth["address"]) * RATE_HZ / 30), 1) / RATE_HZ
        for name in POSITION_NAMES:
            wanted += 1
            right += name in found and abs(found[name] - truth[name]) <= tolerance_s + 0.5 / RATE_HZ
    assert right >= 0.8 * wanted, f"{right} of {wanted}"


def test_the_planted_fault_is_found(pair: Pair) -> None:
    largest = pair.document["largest"]
    assert largest is not None
    assert largest["part"] in ("pelvis", "trail_leg", "lead_leg", "head", "spine", "shoulders")
    rows = {(row["phase"], row["part"]): row for row in pair.document["differences"]}
    assert set(rows) == {(phase.name, part) for phase in PHASES for part in PARTS}
    pelvis = rows["backswing", "pelvis"]
    assert pelvis["words"] not in ("no difference detected", "not scored")
    assert pelvis["interval"][0] <= pelvis["value"] <= pelvis["interval"][1]
    # Drillis & Contini 1966 (in Winter 2009, fig. 4.1): shoulders .818, hips .530 of stature, so a torso is .288 of it;
    # bent towards the camera it looks shorter, and a torso length of the picture is then fewer centimetres.
    assert 0.20 <= pelvis["value_cm"] / (pelvis["value"] * 170) <= 0.288 * 1.02


def test_the_time_map_meets_at_true_impact_and_top(pair: Pair) -> None:
    pairs = np.array(pair.document["time_map"]["pairs_s"])
    assert np.all(np.diff(pairs, axis=0) > 0)
    for name in ("top", "impact"):
        mapped = np.interp(pair.student_times[name], pairs[:, 0], pairs[:, 1])
        assert abs(mapped - pair.reference_times[name]) < 0.07, name


def test_the_club_is_followed_and_the_strike_is_found(pair: Pair) -> None:
    for side, truth in (("student", pair.student_times), ("reference", pair.reference_times)):
        swing = pair.document[side]
        states = [row["state"] for row in swing["club"]]
        assert states.count("measured") >= 0.5 * len(states), side
        strike = swing["strike"]
        assert strike["struck"] is True, strike
        assert strike["ball"] is not None
        # One frame: the ball is there in one picture and gone in the next.
        assert abs(strike["time_s"] - truth["impact"]) <= 1.0 / RATE_HZ, (side, strike)
        impact = next(row for row in swing["positions"] if row["name"] == "impact")
        assert impact["source"] in ("ball", "club")


def test_the_checklist_names_the_planted_sway_first(pair: Pair) -> None:
    checklist = pair.document["checklist"]
    first = checklist["first"]
    # Row 5 of the checklist is the body in the backswing, face on: sway, side bend, head (common practice, no source).
    assert first["row"] == 5, first
    assert first["focus"] in ("pelvis_push_back", "pelvis_gap_top")
    assert first["why"]
    assert first["look_for"]
    rows = [check["row"] for check in checklist["checks"]]
    assert rows == sorted(rows)
    assert set(rows) >= {1, 5, 8, 10}
    for check in checklist["checks"]:
        measure = check["measure"]
        assert measure["valid"] or measure["reason"], measure["name"]
        assert check["sentence"]


def test_the_filming_of_both_clips_is_checked(pair: Pair) -> None:
    filming = pair.document["filming"]
    assert filming["match"]
    for side in ("student", "reference"):
        findings = {finding["name"]: finding for finding in filming[side]["findings"]}
        # Both stand where a camera should (CameraSpec.for_motion): nothing about its place may fail.
        for name in ("camera_height", "camera_offset", "roll", "yaw"):
            assert findings[name]["verdict"] in ("pass", "warn", "not seen"), findings[name]


def test_one_clip_has_a_report_of_its_own(pair: Pair, overlay_command: Run, tmp_path: Path) -> None:
    report, sheet = tmp_path / "swing.html", tmp_path / "swing.png"
    done = overlay_command("inspect", pair.student, "--report", report, "--sheet", sheet, "--guides", "all")
    assert done.returncode == 0, done.stderr
    page = report.read_text(encoding="utf-8")
    assert "licensed health professional" in page
    assert not re.search(r"(?:src|href)=[\"']?(?:https?:)?//", page)
    assert sheet.stat().st_size > 10_000


def test_a_mark_by_hand_wins_and_is_kept(pair: Pair, overlay_command: Run, tmp_path: Path) -> None:
    clip = tmp_path / "marked.mp4"
    clip.write_bytes(pair.student.read_bytes())
    top_s = pair.student_times["top"] + 0.05
    done = overlay_command("mark", clip, "--position", f"top={top_s:.3f}")
    assert done.returncode == 0, done.stderr
    assert clip.with_name("marked.mp4.marks.json").exists()
    again = overlay_command("inspect", clip, "--json")
    assert again.returncode == 0, again.stderr
    top = next(row for row in json.loads(again.stdout)["swings"][0]["positions"] if row["name"] == "top")
    assert top["source"] == "marked"
    assert abs(top["time_s"] - top_s) < 0.002


def test_the_video_plays_on_phones_and_browsers(pair: Pair) -> None:
    import av

    path = pair.folder / "comparison.mp4"
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        assert stream.codec_context.name == "h264"
        assert stream.codec_context.pix_fmt == "yuv420p"
        assert stream.width % 2 == 0
        assert stream.height % 2 == 0
        frames = sum(1 for _ in container.decode(video=0))
    swing_s = pair.student_times["finish"] - pair.student_times["address"]
    assert frames >= swing_s * RATE_HZ
    head = path.read_bytes()[:4096]
    assert b"moov" in head, "the index must stand before the pictures"


def test_the_report_stands_alone(pair: Pair) -> None:
    page = (pair.folder / "report.html").read_text(encoding="utf-8")
    assert not re.search(r"(?:src|href)=[\"']?(?:https?:)?//", page)
    assert "<script" not in page.lower()
    for word in ("licensed health professional", "clear circle", "takeaway", "not medical advice"):
        assert word.replace("not medical", "no medical") in page or word in page, word


def test_a_known_clip_is_not_tracked_again(pair: Pair, overlay_command: Run) -> None:
    again = overlay_command("inspect", pair.student, "--json")
    assert again.returncode == 0
    assert "finding the body" not in again.stderr
    first, second = pair.document["student"]["positions"], json.loads(again.stdout)["swings"][0]["positions"]
    assert first == second


def test_a_still_golfer_is_no_swing(overlay_command: Run, tmp_path: Path) -> None:
    film(tmp_path / "still.mp4", stop_s=0.6)
    done = overlay_command("inspect", tmp_path / "still.mp4")
    assert done.returncode == 4, done.stderr
    assert "swing" in done.stderr


def frames_of(path: Path) -> list[np.ndarray]:
    from overlay.video import open_clip

    with open_clip(path) as reader:
        return [frame.image.copy() for frame in reader.frames()]


def write(path: Path, images: list[np.ndarray]) -> Path:
    from overlay.video import VideoWriter

    height, width = images[0].shape[:2]
    with VideoWriter(path, width, height, RATE_HZ) as writer:
        for image in images:
            writer.write(image)
    return path


def test_two_people_are_refused_unless_allowed(pair: Pair, overlay_command: Run, tmp_path: Path) -> None:
    images = frames_of(pair.reference)[::4]
    clip = write(tmp_path / "two.mp4", [np.hstack([image, image[:, ::-1]]) for image in images])
    done = overlay_command("inspect", clip)
    assert done.returncode == 4, done.stderr
    assert "two" in done.stderr.lower() or "person" in done.stderr.lower()


def test_a_cut_off_body_is_refused(pair: Pair, overlay_command: Run, tmp_path: Path) -> None:
    images = frames_of(pair.reference)[::4]
    clip = write(tmp_path / "cut.mp4", [np.ascontiguousarray(image[: int(0.62 * len(image))]) for image in images])
    done = overlay_command("inspect", clip)
    assert done.returncode == 4, done.stderr
    assert "feet" in done.stderr or "cut" in done.stderr


def test_a_full_disk_leaves_nothing_half_written(pair: Pair, overlay_command: Run, tmp_path: Path) -> None:
    small = tmp_path / "small"
    small.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=200k", "tmpfs", str(small)], capture_output=True, check=False
    )
    if mounted.returncode:
        pytest.skip("a small file system cannot be mounted here")
    try:
        done = overlay_command("compare", pair.student, pair.reference, "--out", small)
        assert done.returncode == 6, done.stderr
        assert "full" in done.stderr
        assert "Traceback" not in done.stderr
        assert not [path for path in small.iterdir() if path.name.startswith(".") or path.stat().st_size == 0]
    finally:
        subprocess.run(["umount", str(small)], check=True)


def test_an_output_folder_that_cannot_be(pair: Pair, overlay_command: Run, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    done = overlay_command("compare", pair.student, pair.reference, "--out", tmp_path / "taken")
    assert done.returncode == 6, done.stderr
    assert (tmp_path / "taken").read_text() == "a file"


def test_stopping_leaves_nothing(
    pair: Pair, overlay_arguments: list[str], overlay_environment: dict[str, str], tmp_path: Path
) -> None:
    out = tmp_path / "out"
    command = [
        *overlay_arguments,
        "compare",
        str(pair.student),
        str(pair.reference),
        "--out",
        str(out),
        "--speed",
        "0.1",
    ]
    # A shell's background job, such as a CI run, may hand down "ignore Ctrl-C".
    listen = functools.partial(signal.signal, signal.SIGINT, signal.SIG_DFL)
    with subprocess.Popen(
        command,
        preexec_fn=listen,
        env=overlay_environment,
        cwd=tmp_path,
        stderr=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stderr is not None
        for line in process.stderr:
            if line.startswith("drawing the video"):
                time.sleep(0.3)
                process.send_signal(signal.SIGINT)
                break
        rest = process.stderr.read()
        process.wait(timeout=60)
    assert process.returncode == 130, rest
    assert "Traceback" not in rest
    assert {path.name for path in out.iterdir()} <= {"stills.png", "report.html", "comparison.json"}
