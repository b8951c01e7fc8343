"""The comparison video end to end on clips made here: frames in step, sizes even, every layout, with and without
pictures."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import comparison_factory as factory
import numpy as np
import pytest

from overlay.compose import LAYOUTS, ComposeOptions, Source, render_video
from overlay.compose.sources import Pictures
from overlay.compose.timing import plan_video
from overlay.compose.video import Canvas, place
from overlay.draw import REFERENCE, STUDENT
from overlay.errors import InputError, OutputError
from overlay.settings.compose import COMPOSE
from overlay.video import VideoWriter, open_clip

SMALL = replace(
    COMPOSE, least_pane_px=320, most_pane_px=320, most_small_pane_px=320, single_least_px=320, single_pane_px=320
)
"""Small panes: the same code in a tenth of the time."""

GROUNDS = {"light": (238, 240, 236), "dark": (22, 26, 24)}


def write_clip(swing: Any, path: Path, ground: tuple[int, int, int]) -> Path:
    """A clip of the stick player; the grey of a block in the upper left corner tells the frame number."""
    width, height = swing.pose.image_size
    with VideoWriter(path, width, height, 30, quality=8) as writer:
        n = round(swing.pose.time_s[-1] * 30) + 1
        first = n - len(swing.pose)
        for k in range(n):
            image = factory.picture_of(swing, max(0, k - first), ground, (120, 60, 60))
            image[:40, :40] = 30 + 3 * k
            writer.write(image)
    return path


@pytest.fixture(scope="module")
def clips(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("clips")
    student = factory.make_swing(clip_path=folder / "student.mp4")
    reference = factory.make_swing(
        start_s=0.5, length_s=1.2, torso=80.0, feet=(250.0, 300.0), size=(480, 340),
        clip_path=folder / "reference.mp4", lean=6.0,
    )  # fmt: skip
    write_clip(student, folder / "student.mp4", GROUNDS["light"])
    write_clip(reference, folder / "reference.mp4", GROUNDS["dark"])
    return {
        "comparison": factory.make_comparison(student, reference),
        "student": Source(folder / "student.mp4", factory.BodyMasks(student), label="Mara"),
        "reference": Source(folder / "reference.mp4", factory.BodyMasks(reference), label="Tomas"),
    }


def numbers_shown(source: Source, swing: Any, times_s: np.ndarray) -> np.ndarray:
    with Pictures(source, swing) as pictures:
        shown = list(pictures.walk(pictures.nearest(times_s)))
    return np.array([round((float(image[8:32, 8:32].mean()) - 30) / 3) for _, image in shown])


@pytest.mark.parametrize("lead", ["student", "reference"])
def test_both_clips_show_the_frames_the_map_asks_for(clips: dict[str, Any], lead: Any) -> None:
    comparison = clips["comparison"]
    plan = plan_video(comparison, lead=lead, hold_s=0.1)
    for name, times_s in (("student", plan.student_s), ("reference", plan.reference_s)):
        swing = getattr(comparison, name)
        shown = numbers_shown(clips[name], swing, times_s)
        wanted = np.clip(times_s, swing.start_s, swing.stop_s) * 30
        # The nearest frame is at most half a frame off.
        assert np.abs(shown - wanted).max() <= 0.5 + 1e-6


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_layout_is_written_and_plays(clips: dict[str, Any], layout: Any, tmp_path: Path) -> None:
    options = ComposeOptions(layout=layout, hold_s=0.1, settings=SMALL)
    out = render_video(clips["comparison"], tmp_path / "out.mp4", student=clips["student"],
                       reference=clips["reference"], options=options)  # fmt: skip
    plan = plan_video(clips["comparison"], hold_s=0.1)
    with open_clip(out) as reader:
        assert reader.clip.n_frames == len(plan)
        assert float(reader.clip.nominal_rate) == pytest.approx(30.0)
        assert reader.clip.width % 2 == reader.clip.height % 2 == 0
        image = reader.frame_at(1.0).image
    families = [STUDENT.strong] if layout == "ghost" else [STUDENT.strong, REFERENCE.strong]
    for colour in families:
        assert np.count_nonzero(np.abs(image.astype(int) - colour).sum(axis=-1) < 90) > 100


def canvas_at(clips: dict[str, Any], options: ComposeOptions, name: str) -> tuple[Canvas, np.ndarray]:
    comparison = clips["comparison"]
    canvas = Canvas(comparison, clips["student"], clips["reference"], options)
    student_s = np.array([comparison.student.positions.time(name)])
    pictures, times = [], []
    for who, at in (("student", student_s), ("reference", comparison.time_map.to_reference(student_s))):
        with Pictures(clips[who], getattr(comparison, who)) as source:
            ((time_s, picture),) = source.walk(source.nearest(at))
        pictures.append(picture)
        times.append(time_s)
    return canvas, canvas.draw((times[0], times[1]), (pictures[0], pictures[1]), name).copy()


def part(image: np.ndarray, box: tuple[int, int, int, int]) -> np.ndarray:
    left, top, width, height = box
    return image[top : top + height, left : left + width]


def test_the_ghost_lies_on_the_student_and_leaves_its_background_behind(clips: dict[str, Any]) -> None:
    canvas, image = canvas_at(clips, ComposeOptions(), "top")
    student, ghost = part(image, canvas.places.student), part(image, canvas.places.ghost)
    changed = np.abs(student.astype(int) - ghost.astype(int)).sum(axis=-1) > 40
    label_rows = canvas.places.text_px * 3
    changed[:label_rows] = False
    # Something is laid over, but only about a body's worth, and the dark ground of the reference is not part of it.
    assert 0.02 < changed.mean() < 0.25
    corner = ghost[-60:-10, 5:30].reshape(-1, 3).mean(axis=0)
    assert corner == pytest.approx(GROUNDS["light"], abs=12)


def test_an_unchanged_moment_is_not_drawn_again(clips: dict[str, Any]) -> None:
    canvas, first = canvas_at(clips, ComposeOptions(), "top")
    calls = []
    canvas.players[0].annotate = lambda *_: calls.append(1)  # type: ignore[method-assign]
    times = (canvas._shown["student time"], canvas._shown["reference time"])
    again = canvas.draw(times, (None, None), "top")  # type: ignore[arg-type]
    assert calls == []
    assert np.array_equal(first, again)


def test_drawing_does_not_depend_on_what_was_drawn_before(clips: dict[str, Any]) -> None:
    fresh_canvas, fresh = canvas_at(clips, ComposeOptions(), "impact")
    canvas = Canvas(clips["comparison"], clips["student"], clips["reference"], ComposeOptions())
    comparison = clips["comparison"]
    with (
        Pictures(clips["student"], comparison.student) as one,
        Pictures(clips["reference"], comparison.reference) as other,
    ):
        times_s = np.array([comparison.student.positions.time(name) for name in ("address", "top", "impact")])
        followed = comparison.time_map.to_reference(times_s)
        for (a, x), (b, y), name in zip(
            one.walk(one.nearest(times_s)), other.walk(other.nearest(followed)), ("address", "top", "impact")
        ):
            image = canvas.draw((a, b), (x, y), name)
    assert np.array_equal(image, fresh)
    assert fresh_canvas.places == canvas.places


@pytest.mark.parametrize("with_picture", [(False, False), (True, False), (False, True)])
def test_saved_tracks_without_pictures_are_drawn(
    clips: dict[str, Any], with_picture: tuple[bool, bool], tmp_path: Path
) -> None:
    student, reference = (
        clips[name] if has else Source(label="drawn") for name, has in zip(("student", "reference"), with_picture)
    )
    out = render_video(clips["comparison"], tmp_path / "drawn.mp4", student=student, reference=reference,
                       options=ComposeOptions(hold_s=0.0, settings=SMALL))  # fmt: skip
    with open_clip(out) as reader:
        image = reader.frame_at(1.0).image.astype(int)
        assert reader.clip.n_frames > 60
    for family in (STUDENT, REFERENCE):
        assert np.count_nonzero(np.abs(image - family.strong).sum(axis=-1) < 120) > 400


def test_the_follower_of_another_hand_is_mirrored_and_says_so(clips: dict[str, Any]) -> None:
    left = factory.make_swing(handedness="left")
    comparison = factory.make_comparison(factory.make_swing(), left)
    canvas = Canvas(comparison, Source(), Source(), ComposeOptions())
    assert canvas.framing.mirrored
    assert canvas._labels["reference"].text == "Reference (mirrored)"


@pytest.mark.parametrize("pane", [(303, 541), (480, 854), (640, 800)])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_panes_do_not_overlap_and_fill_an_even_canvas(layout: Any, pane: tuple[int, int]) -> None:
    pane = (pane[0] + pane[0] % 2, pane[1] + pane[1] % 2)
    places = place(layout, pane)
    taken = np.zeros((places.height, places.width), int)
    boxes = (places.heading, places.time_bar, places.scores, places.student, places.reference, places.ghost)
    for box in boxes:
        if box is not None:
            left, top, width, height = box
            assert left + width <= places.width
            assert top + height <= places.height
            taken[top : top + height, left : left + width] += 1
    assert taken.max() == 1
    assert taken.mean() > 0.95
    assert places.width % 2 == places.height % 2 == 0
    # Text stays readable when the video fills a phone 390 px wide.
    assert places.text_px / places.width * 390 >= 10


def test_unknown_wishes_are_refused() -> None:
    with pytest.raises(InputError, match="no layout"):
        ComposeOptions(layout="mosaic")  # type: ignore[arg-type]
    with pytest.raises(InputError, match="cannot lead"):
        ComposeOptions(lead="coach")  # type: ignore[arg-type]


def test_a_video_that_cannot_be_written_leaves_nothing(clips: dict[str, Any], tmp_path: Path) -> None:
    blocker = tmp_path / "file"
    blocker.write_text("in the way")
    with pytest.raises(OutputError):
        render_video(clips["comparison"], blocker / "out.mp4", student=Source(), reference=Source())
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file"]


def test_a_missing_clip_leaves_nothing(clips: dict[str, Any], tmp_path: Path) -> None:
    with pytest.raises(InputError):
        render_video(clips["comparison"], tmp_path / "out.mp4", student=Source(tmp_path / "gone.mp4"),
                     reference=Source())  # fmt: skip
    assert list(tmp_path.iterdir()) == []


def test_the_ghosts_caption_fits_its_pane() -> None:
    from overlay.draw.text import text_width

    for student, reference in (("A", "B"), ("Wren Halloway of the Larkspur Range", "Tobin Larkmead the Elder")):
        sources = Source(None, label=student), Source(None, label=reference)
        canvas = Canvas(factory.make_comparison(), *sources, ComposeOptions(layout="both"))
        pane = canvas.places.ghost
        assert pane is not None
        caption = canvas._ghost_name(reference, student, canvas.places.text_px)
        assert text_width(caption, canvas.places.text_px, bold=True) < pane[2]
        assert "Ghost" in caption or "(blue)" in caption
