"""Joining the stages: several swings of one recording, saved tracks, stopping, scenarios of the demo."""

from __future__ import annotations

import dataclasses
import threading
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from overlay import pipeline
from overlay.data import PoseTrack
from overlay.demo import check_folder, load_scenario
from overlay.errors import InputError, OutputError
from overlay.pipeline import (
    ClipOptions,
    Inspection,
    OutputOptions,
    compare_clips,
    comparing,
    inspect_clip,
    write_outputs,
)
from overlay.progress import Progress
from overlay.video import VideoWriter


def swing_track(seed: int, **spec: Any) -> PoseTrack:
    from overlay.golfer import CameraSpec, GolferSpec, NoiseSpec, simulate, truth_track

    motion = simulate(GolferSpec(**spec))
    camera = CameraSpec.for_motion(motion, view="fo")
    return truth_track(motion, camera, 60.0, noise=NoiseSpec(dropout=0.0, hip_swap=0.0), seed=seed)


def joined(*tracks: PoseTrack) -> PoseTrack:
    """One recording after the other, as if the camera had gone on running."""
    starts, clock = [], 0.0
    for track in tracks:
        starts.append(clock - float(track.time_s[0]))
        clock += float(track.time_s[-1] - track.time_s[0]) + 1 / 60
    return dataclasses.replace(
        tracks[0],
        points=np.concatenate([track.points for track in tracks]),
        depth=np.concatenate([track.depth for track in tracks]),
        visibility=np.concatenate([track.visibility for track in tracks]),
        filled=np.concatenate([track.filled for track in tracks]),
        time_s=np.concatenate([track.time_s + start for track, start in zip(tracks, starts, strict=True)]),
    )


def save(path: Path, track: PoseTrack, handedness: str | None = "right") -> Path:
    from overlay.pose import save_track

    save_track(path, track, view="fo", handedness=handedness)  # type: ignore[arg-type]
    return path


@pytest.fixture(scope="module")
def recordings(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Two swings of one player, the first with a sway: each alone, and both in one recording."""
    folder = tmp_path_factory.mktemp("recordings")
    swayed, plain = swing_track(3, faults={"sway": 1.5}), swing_track(4)
    return {
        "swayed": save(folder / "swayed.npz", swayed),
        "plain": save(folder / "plain.npz", plain),
        "both": save(folder / "both.npz", joined(swayed, plain)),
    }


def test_two_swings_of_one_recording_compare_as_two_recordings_would(recordings: dict[str, Path]) -> None:
    apart = compare_clips(recordings["swayed"], recordings["plain"]).comparison
    together = compare_clips(
        recordings["both"],
        recordings["both"],
        student_options=ClipOptions(swing=1),
        reference_options=ClipOptions(swing=2),
    )
    comparison = together.comparison
    assert apart.largest is not None
    assert comparison.largest is not None
    assert (comparison.largest.phase, comparison.largest.part) == (apart.largest.phase, apart.largest.part)
    assert comparison.largest.part == "pelvis"
    assert (comparison.first is None) == (apart.first is None)
    for one, other in zip(comparison.differences, apart.differences, strict=True):
        assert (one.phase, one.part, one.words) == (other.phase, other.part, other.words)
        # The cleaning filters across the join, so the last digits differ.
        assert one.value == pytest.approx(other.value, abs=0.001, nan_ok=True), (one.phase, one.part)
    assert "Both swings are from one recording, so one is compared with one." in comparison.notes
    assert "The student's recording holds 2 swings: swing 1 is compared." in comparison.notes
    assert "The reference's recording holds 2 swings: swing 2 is compared." in comparison.notes
    assert together.student is together.reference


def test_a_copy_of_a_recording_is_the_same_recording(recordings: dict[str, Path]) -> None:
    one = inspect_clip(recordings["both"])
    clip = dataclasses.replace(make_clip(), content_hash="ab")
    student = dataclasses.replace(one, clip=clip, path=Path("a.mp4"))
    reference = dataclasses.replace(one, clip=clip, path=Path("copy-of-a.mp4"))
    comparison = pipeline.compare_inspections(student, reference, student_swing=1, reference_swing=2)
    assert any("one recording" in note for note in comparison.notes)
    assert comparison.largest is not None


def make_clip() -> Any:
    from overlay.data import Clip

    return Clip(Path("a.mp4"), "", 480, 854, 0, False, np.array([0.0, 0.1]), Fraction(10), None, False, False)


def test_other_swings_of_a_recording_are_said_to_be_scored_too(recordings: dict[str, Path]) -> None:
    comparison = compare_clips(recordings["both"], recordings["plain"], student_options=ClipOptions(swing=1)).comparison
    note = "The student's recording holds 2 swings: swing 1 is shown, and the scores are the mean of all 2."
    assert note in comparison.notes
    assert not any("one recording" in note or "reference's recording" in note for note in comparison.notes)


def test_one_recording_is_inspected_once_and_two_ways_of_reading_it_twice(
    recordings: dict[str, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[ClipOptions] = []

    def inspect(path: Path, options: ClipOptions, *, progress: Progress) -> Inspection:
        asked.append(options)
        return inspect_clip(path, options, progress=progress)

    monkeypatch.setattr(comparing, "inspect_clip", inspect)
    path = recordings["both"]
    one, other = comparing.inspect_all([(path, ClipOptions(swing=1)), (path, ClipOptions(swing=2))])
    assert one is other
    assert len(asked) == 1
    comparing.inspect_all([(path, ClipOptions()), (path, ClipOptions(view="fo"))])
    assert len(asked) == 3


def test_a_mirrored_saved_track_changes_its_hand(tmp_path: Path) -> None:
    # A left-hander seen in a mirror is filed as the right-hander he looks like.
    track = swing_track(5, handedness="left").mirrored()
    path = save(tmp_path / "mirror.npz", track, "right")
    found = inspect_clip(path, ClipOptions(mirrored=True)).swings[0]
    assert found.handedness == "left"
    told = inspect_clip(path, ClipOptions(mirrored=True, handedness="left")).swings[0]
    assert found.positions.found == told.positions.found
    assert inspect_clip(path).swings[0].handedness == "right"


@pytest.mark.parametrize("options", [ClipOptions(rotation_deg=0), ClipOptions(capture_rate=Fraction(240))])
def test_what_is_for_clips_is_refused_for_a_saved_track(recordings: dict[str, Path], options: ClipOptions) -> None:
    with pytest.raises(InputError, match="for clips"):
        inspect_clip(recordings["plain"], options)


@pytest.mark.parametrize("use_cache", [True, False])
def test_no_cache_reaches_the_look_for_people(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, use_cache: bool) -> None:
    asked: list[Any] = []

    def look(path: Path, **told: Any) -> None:
        asked.append(told["use_cache"])
        raise InputError("seen enough", "")

    path = tmp_path / "a.mp4"
    with VideoWriter(path, 64, 48, 30) as writer:
        for _ in range(4):
            writer.write(np.zeros((48, 64, 3), np.uint8))
    monkeypatch.setattr("overlay.pose.people.check_one_person", look)
    # As in a long clip, where people are looked for before the body is.
    monkeypatch.setattr("overlay.pose.people.Glimpses.of", lambda *_: None)
    with pytest.raises(InputError, match="seen enough"):
        inspect_clip(path, ClipOptions(use_cache=use_cache, everywhere=True))
    assert asked == [use_cache]


def test_an_error_in_the_report_stops_the_video_and_is_told(
    recordings: dict[str, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    outcome = compare_clips(recordings["swayed"], recordings["plain"])
    started = threading.Event()

    def report(*_: Any, **__: Any) -> None:
        assert started.wait(30)
        raise OutputError("the report's own error", "")

    def video(*_: Any, progress: Progress, **__: Any) -> None:
        started.set()
        for _step in range(3000):
            progress.advance()
            threading.Event().wait(0.01)
        pytest.fail("the video was drawn to its end")

    monkeypatch.setattr("overlay.report.write_report", report)
    monkeypatch.setattr("overlay.compose.render_video", video)
    with pytest.raises(OutputError, match="the report's own error"):
        write_outputs(outcome, tmp_path, OutputOptions(wanted=frozenset({"video", "report"})))


def test_results_are_not_written_over_a_clip(recordings: dict[str, Path], tmp_path: Path) -> None:
    outcome = compare_clips(recordings["swayed"], recordings["plain"])
    precious = tmp_path / "comparison.mp4"
    precious.write_bytes(b"the only take")
    student = dataclasses.replace(outcome.student, path=precious)
    with pytest.raises(OutputError, match="over or into"):
        write_outputs(dataclasses.replace(outcome, student=student), tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["comparison.mp4"]
    assert precious.read_bytes() == b"the only take"


def test_the_demo_leaves_other_peoples_clips_alone(tmp_path: Path) -> None:
    check_folder(tmp_path / "new")
    check_folder(tmp_path)
    (tmp_path / "reference.mp4").write_bytes(b"the only take")
    with pytest.raises(OutputError, match=r"reference\.mp4 is there already"):
        check_folder(tmp_path)
    (tmp_path / "demo.txt").write_text("")
    check_folder(tmp_path)


def scenario(folder: Path, old: str, new: str) -> Path:
    """The shipped scenario with one mistake in it."""
    from overlay.shipped import shipped_folder

    text = (shipped_folder("demo") / "larkspur.toml").read_text(encoding="utf-8")
    assert old in text
    path = folder / "mine.toml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("student_faults = { sway = 1.3 }", "student_faults = 3", "student_faults .* not a table"),
        ("student_faults = { sway = 1.3 }", "student_faults = { sulk = 1.0 }", "'sulk' is not a fault"),
        ("student_faults = { sway = 1.3 }", 'student_faults = { sway = "much" }', "size 'much'"),
        ('look = "wren"', 'look = "nobody"', r"mine\.toml, student: 'nobody' is not a look"),
        ('look = "wren"\nseed = 11', 'look = "wren"\nseed = -1', "seed is -1"),
        ('student_camera = { view = "fo" }', 'student_camera = { view = "fo", lens = 3 }', "no lens"),
        ('reference_camera = { view = "fo" }', "reference_camera = { motion = 3 }", "reference: .* no motion"),
        ('student_camera = { view = "fo" }', 'student_camera = { zoom = "far" }', "zoom of the camera"),
        ('student_camera = { view = "fo" }', "student_camera = 3", "student is not complete"),
        ("[views.fo]", "[elsewhere]", "has no view 'fo'"),
    ],
)
def test_mistakes_in_a_scenario(tmp_path: Path, old: str, new: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        load_scenario(scenario(tmp_path, old, new))


def test_views_that_are_no_tables(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    for text in ("views = 3", "[views]\nfo = 3"):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(InputError, match="not a table of tables"):
            load_scenario(path)


def test_the_shipped_scenario_has_both_views() -> None:
    assert dict(load_scenario(view="fo").planted) == {"sway": 1.3}
    assert dict(load_scenario(view="dtl").planted) == {"posture_loss": 1.2}


def test_the_lines_of_what_comes_first_are_drawn_unless_lines_are_named() -> None:
    from overlay.compose.options import DEFAULT_GUIDES
    from overlay.data import Check, Checklist, FirstThing, Measure
    from overlay.pipeline import outputs

    measure = Measure("hips_line_release", 0.2, "torso", (0.15, 0.25))
    check = Check(9, "Release", measure, (-0.2, 0.1), "out", "Out.")
    found = Checklist((check,), FirstThing("Hips.", check))
    assert outputs._drawn(None, (), found.first)["guides"] == DEFAULT_GUIDES | {"hip_line"}
    assert outputs._drawn(frozenset({"ball_line"}), (), found.first)["guides"] == {"ball_line"}
    assert "guides" not in outputs._drawn(None, (), FirstThing("Nothing."))
    assert outputs._drawn(None, ("hand-path",), None) == {"hand_path": False}


def test_a_hand_that_contradicts_the_picture_is_noted(recordings: dict[str, Path]) -> None:
    told = inspect_clip(recordings["plain"], ClipOptions(handedness="left"))
    assert any("looks right-handed" in note for note in told.notes)
    assert not any("looks" in note for note in inspect_clip(recordings["plain"], ClipOptions(handedness="right")).notes)
    wrong_view = inspect_clip(recordings["plain"], ClipOptions(view="dtl"))
    assert any("looks face on" in note for note in wrong_view.notes)
