"""Models from inspected recordings: the right frames cut out, both views on their own clocks, views in step."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from comparison_factory import make_swing
from model_factory import full_swing, swing_model, template_model

from overlay.data import Clip, TimeMap, ViewPair
from overlay.errors import ContentError, InputError
from overlay.models import Library, kept_picture, kept_swing, save_model
from overlay.pipeline.clips import Inspection
from overlay.pipeline.model_making import build_model, in_step
from overlay.pipeline.models import Told, cut_outs, find_model, kept_map, seen_swings
from overlay.pose.masks import MaskTrack, pack


def clip_of(path: Path, n: int, size: tuple[int, int], capture: int | None) -> Clip:
    rate = None if capture is None else Fraction(capture)
    return Clip(path, "0" * 64, *size, 0, False, np.arange(n) / 30.0, Fraction(30), rate, False, False)


@pytest.fixture(scope="module")
def filmed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A clip of 90 frames: frame i has a person of brightness 60 + 2 i before a white wall."""
    from overlay.video import VideoWriter

    path = tmp_path_factory.mktemp("clip") / "swing.mp4"
    with VideoWriter(path, 96, 128, 30, quality=10) as video:
        for i in range(90):
            picture = np.full((128, 96, 3), 255, np.uint8)
            picture[24:104, 32:64] = 60 + 2 * i
            video.write(picture)
    return path


def inspected(path: Path, capture: int | None = None) -> Inspection:
    clip = clip_of(path, 90, (96, 128), capture)
    mask = np.zeros((64, 48), np.uint8)
    mask[12:52, 16:32] = 255
    masks = MaskTrack(clip.times_s, (48, 64), (96, 128), (pack(mask),) * 90)
    swing = replace(make_swing(size=(96, 128), feet=(48.0, 100.0), torso=25.0), clip=clip)
    return Inspection(path, clip, swing.pose, masks, (swing,))


def brightness(kept: object, i: int) -> float:
    colour, alpha = kept_picture(kept, i)  # type: ignore[arg-type]
    return float(np.median(colour[alpha > 250]))


def test_the_frames_of_the_positions_are_cut_out_and_the_wall_is_not(filmed: Path) -> None:
    inspection = inspected(filmed)
    swing = inspection.swings[0]
    kept = cut_outs(inspection, swing, "positions")
    assert kept is not None
    assert kept.size == (96, 128)
    wanted = [round(time_s * 30) for time_s in swing.positions.times().values()]
    np.testing.assert_allclose(kept.times_s * 30, wanted, atol=1e-6)
    for i, frame in enumerate(wanted):
        assert brightness(kept, i) == pytest.approx(60 + 2 * frame, abs=2.5)
    colour, alpha = kept_picture(kept, 0)
    assert alpha[60, 48] == 255
    assert colour[60, 6].max() < 4
    assert colour[6, 48].max() < 4


def test_a_ghost_has_every_frame_of_the_swing(filmed: Path) -> None:
    inspection = inspected(filmed)
    swing = inspection.swings[0]
    kept = cut_outs(inspection, swing, "ghost")
    assert kept is not None
    inside = [i for i in range(90) if swing.start_s - 1e-6 <= i / 30 <= swing.stop_s + 1e-6]
    np.testing.assert_allclose(kept.times_s * 30, inside, atol=1e-6)
    assert brightness(kept, 30) == pytest.approx(60 + 2 * inside[30], abs=2.5)
    assert cut_outs(inspection, swing, "none") is None


def test_pictures_are_on_the_clock_of_the_kept_swing(filmed: Path) -> None:
    """Filmed at 120, played at 30: the clock of the pictures and of the kept swing runs four times as fast."""
    inspection = inspected(filmed, capture=120)
    swing = inspection.swings[0]
    kept, pictures = kept_swing(swing), cut_outs(inspection, swing, "positions")
    assert pictures is not None
    for i, time_s in enumerate(kept.positions.times().values()):
        assert abs(pictures.times_s[i] - time_s) <= 0.5 / 120 + 1e-9
        assert brightness(pictures, i) == pytest.approx(60 + 2 * round(time_s * 120), abs=2.5)


def test_without_pictures_none_are_kept(filmed: Path) -> None:
    inspection = inspected(filmed)
    for without in (replace(inspection, masks=None), replace(inspection, clip=None)):
        with pytest.raises(ContentError, match="no pictures that could be kept"):
            cut_outs(without, inspection.swings[0], "ghost")


def test_a_pair_is_kept_on_the_clocks_of_its_kept_swings() -> None:
    """240/30 is eightfold slow; the other is not told and stays: 8 s of one lie at 3 s of the other, so do 1 s now."""
    dtl = replace(full_swing("dtl"), clip=clip_of(Path("a.mp4"), 100, (240, 320), 240))
    fo = replace(full_swing("fo"), clip=clip_of(Path("b.mp4"), 100, (240, 320), None))
    known = TimeMap(np.array([0.0, 8.0, 16.0]), np.array([2.0, 3.0, 4.5]), {"cost": 1.0}, 0.125, ("Doubtful.",))
    kept = kept_map(ViewPair(dtl, fo, known, True, 0.004, ("By the sound.",)))
    np.testing.assert_allclose(kept.to_reference(np.array([0.0, 1.0, 2.0])), [2.0, 3.0, 4.5])
    for dtl_s in (-4.0, 24.0):
        assert float(kept.to_reference(dtl_s / 8)) == pytest.approx(float(known.to_reference(dtl_s)))
    assert kept.diagnostics == {"cost": 1.0, "one_swing": 1.0, "sd_s": 0.004}
    assert kept.notes == ("By the sound.", "Doubtful.")


def test_views_are_in_step_at_the_positions_both_have() -> None:
    dtl = make_swing(view="dtl", missing=("top",))
    fo = make_swing(view="fo", start_s=1.0, length_s=2.0, missing=("finish",))
    stepped = in_step({"dtl": dtl, "fo": fo})
    assert stepped is not None
    shared = set(dtl.positions.times()) & set(fo.positions.times())
    assert len(stepped.student_s) == len(shared) == 7
    for name in shared:
        assert float(stepped.to_reference(dtl.positions.times()[name])) == pytest.approx(fo.positions.times()[name])
    assert in_step({"dtl": dtl}) is None


def test_a_model_is_found_by_name_or_file(tmp_path: Path) -> None:
    library = Library(tmp_path / "library", shipped=tmp_path / "none")
    library.add(swing_model("Best"))
    save_model(template_model("Other"), tmp_path / "given.swing")
    assert find_model("best", library).kind == "swing"
    assert find_model(str(tmp_path / "given.swing"), library).name == "Other"
    with pytest.raises(InputError, match="no model 'nothing'"):
        find_model("nothing", library)
    with pytest.raises(InputError, match="There is no file"):
        find_model(str(tmp_path / "nothing.swing"), library)


def test_a_swing_in_space_is_seen_in_both_views_and_built_of_nothing(tmp_path: Path) -> None:
    from overlay.golfer import GolferSpec, simulate, space_track

    model = replace(space_of(space_track(simulate(GolferSpec()), 60)), name="Space")
    seen = seen_swings(model)
    assert [swing.view for swing in seen.values()] == ["dtl", "fo"]
    save_model(model, tmp_path / "space.swing")
    with pytest.raises(InputError, match="cannot be among those"):
        build_model([tmp_path / "space.swing"], Told("x"))


def space_of(track: object) -> object:
    from model_factory import space_model

    return replace(space_model(), space=track)  # type: ignore[arg-type]


def test_a_template_of_models_of_both_views(tmp_path: Path) -> None:
    """Every view of every model file counts; what is said of them is kept."""
    from overlay.clean import clean
    from overlay.golfer import CameraSpec, GolferSpec, NoiseSpec, simulate, truth_track
    from overlay.positions import find_swings

    paths = []
    for seed in range(2):
        swings = {}
        for view in ("dtl", "fo"):
            motion = simulate(GolferSpec(handedness="left" if (seed, view) == (0, "fo") else "right"))
            noise = NoiseSpec(dropout=0.0, hip_swap=0.0)
            track = truth_track(motion, CameraSpec.for_motion(motion, view=view), 60, noise=noise, seed=seed)
            swings[view] = find_swings(clean(track), None, view=view, handedness=motion.spec.handedness)[0]
        for view, swing in swings.items():
            path = tmp_path / f"{view} {seed}.swing"
            save_model(
                replace(swing_model(), name="x", swings={view: kept_swing(swing)}, filming={}, pair_map=None), path
            )
            paths.append(path)
    model = build_model(paths, Told("Both", player="Robin", note="of May"), whose="one player")
    assert set(model.swings) == {"dtl", "fo"}
    assert model.pair_map is not None
    assert {swing.handedness for swing in model.swings.values()} == {"right"}
    assert {band.n_swings for band in model.bands.values()} == {2}
    assert {band.of for band in model.bands.values()} == {"one player"}
    assert model.provenance.label == "The middle of 4 recorded swings of one player, not a norm."
    assert sorted(model.provenance.sources) == [
        "dtl 0.swing, down the line", "dtl 1.swing, down the line", "fo 0.swing, face on", "fo 1.swing, face on",
    ]  # fmt: skip
    save_model(model, tmp_path / "both.swing")


def test_the_club_of_a_shipped_model_is_not_cut_off_in_its_pictures() -> None:
    from overlay.compose.framing import transformed
    from overlay.pipeline.model_pictures import _player

    model = Library().get("mid_iron")
    swing = seen_swings(model)["dtl"]
    _, framing = _player(model, "dtl", swing, stills=True)
    assert swing.club is not None
    for name in ("address", "lead_arm_level_back", "lead_arm_level_down", "impact"):
        i = int(np.argmin(np.abs(swing.club.time_s - (swing.positions.time(name) or 0.0))))
        x, y = transformed(swing.club.head[i], framing.places[0].matrix)
        assert 0 <= x <= framing.pane_size[0], name
        assert 0 <= y <= framing.pane_size[1], name
