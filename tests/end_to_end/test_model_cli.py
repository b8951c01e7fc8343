"""``overlay model``: save, show, list, pass on, build; on saved tracks, which need no picture and no pose model."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from overlay.cli.main import run
from overlay.models import Library, load_model

Run = Callable[..., "subprocess.CompletedProcess[str]"]
PLAYERS: tuple[dict[str, Any], ...] = ({}, {"faults": {"sway": 0.4}}, {"tempo": {"backswing_s": 0.9}})


def write_track(path: Path, view: str, seed: int, rate_hz: float = 60.0, **spec: Any) -> dict[str, float]:
    from overlay.golfer import CameraSpec, GolferSpec, NoiseSpec, simulate, truth_track
    from overlay.pose import write_csv

    motion = simulate(GolferSpec(**spec))
    camera = CameraSpec.for_motion(motion, view=view)
    track = truth_track(motion, camera, rate_hz, noise=NoiseSpec(dropout=0.0, hip_swap=0.0), seed=seed)
    write_csv(path, track, view=view, handedness=spec.get("handedness", "right"))
    return dict(motion.position_times)


@pytest.fixture(scope="module")
def tracks(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four swings face on, one of them with a fault, and one down the line."""
    folder = tmp_path_factory.mktemp("tracks")
    for i in range(4):
        write_track(folder / f"fo {i}.csv", "fo", i)
    write_track(folder / "dtl.csv", "dtl", 5)
    write_track(folder / "left.csv", "dtl", 6, handedness="left")
    return folder


@pytest.fixture
def models(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("OVERLAY_MODELS", str(tmp_path / "models"))
    return tmp_path / "models"


def called(capsys: pytest.CaptureFixture[str], *arguments: object, code: int = 0) -> str:
    """What a command prints; its errors where it is to fail."""
    capsys.readouterr()
    got = run([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    assert got == code, err
    if code:
        assert out == ""
        lines = [line for line in err.strip().splitlines() if not line.endswith("…")]
        assert len(lines) == 2, err
        assert lines[0].startswith("error: ")
        return err
    return out


def test_a_swing_is_saved_listed_shown_passed_on_and_removed(
    tracks: Path, models: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said = called(
        capsys, "model", "save", tracks / "fo 0.csv", "--name", "My best", "--player", "Robin", "--club", "mid iron",
        "--note", "Larkspur Range, evening", "-q",
    )  # fmt: skip
    assert "Kept as My best: face on, 9 of 9 positions, no pictures" in said
    assert (models / "My best.swing").is_file()
    listed = called(capsys, "model", "list")
    assert "My best" in listed
    assert "Robin" in listed
    shown = called(capsys, "model", "show", "my BEST", "--out", tmp_path / "best.png")
    assert "Tempo ratio" in shown
    assert "From: fo 0.csv, swing 1" in shown
    assert "Note: Larkspur Range, evening" in shown
    assert (tmp_path / "best.png").read_bytes()[:4] == b"\x89PNG"
    called(capsys, "model", "export", "My best", tmp_path / "given.swing")
    assert "Imported From a friend" in called(
        capsys, "model", "import", tmp_path / "given.swing", "--name", "From a friend"
    )
    assert "Player: Robin" in called(capsys, "model", "show", tmp_path / "given.swing")
    removed = called(capsys, "model", "remove", "My best")
    assert "Removed My best:" in removed
    assert str(models / "My best.swing") in removed
    assert [path.name for path in models.iterdir()] == ["From a friend.swing"]


def test_the_folder_can_be_told(tracks: Path, models: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    other = tmp_path / "other"
    called(capsys, "model", "save", tracks / "fo 0.csv", "--name", "x", "--models", other, "-q")
    assert (other / "x.swing").is_file()
    assert not models.exists()
    assert json.loads(called(capsys, "model", "list", "--models", other, "--json"))["folder"] == str(other)


def test_json_says_what_the_tables_say(tracks: Path, models: Path, capsys: pytest.CaptureFixture[str]) -> None:
    saved = json.loads(called(capsys, "model", "save", tracks / "fo 0.csv", "--name", "x", "-q", "--json"))
    assert (saved["name"], saved["views"], saved["positions"]) == ("x", ["fo"], {"fo": 9})
    listed = json.loads(called(capsys, "model", "list", "--json"))
    assert {key: value for key, value in saved.items() if key not in ("kind", "schema")} in listed["models"]
    shown = json.loads(called(capsys, "model", "show", "x", "--json"))
    assert shown["views"]["fo"]["swing"]["handedness"] == "right"
    assert any(measure["valid"] for measure in shown["views"]["fo"]["measures"])


def test_both_views_are_kept_together_and_paired(
    tracks: Path, models: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    called(capsys, "model", "save", tracks / "fo 0.csv", "--name", "two", "--second", tracks / "dtl.csv", "-q")
    model = Library(models).get("two")
    assert set(model.swings) == {"dtl", "fo"}
    assert model.pair_map is not None
    for name in ("top", "impact"):
        dtl, fo = (model.swings[view].positions.times()[name] for view in ("dtl", "fo"))
        assert float(model.pair_map.to_reference(dtl)) == pytest.approx(fo, abs=0.05)
    shown = called(capsys, "model", "show", "two")
    assert "Down the line, right-handed" in shown
    assert "Face on, right-handed" in shown
    assert "Both views are paired." in shown


def test_what_does_not_go_together_is_refused(tracks: Path, models: Path, capsys: pytest.CaptureFixture[str]) -> None:
    fo, other, left = tracks / "fo 0.csv", tracks / "fo 1.csv", tracks / "left.csv"
    called(capsys, "model", "save", fo, "--name", "x", "--second", other, "-q", code=5)
    called(capsys, "model", "save", fo, "--name", "x", "--second", left, "-q", code=5)
    assert "saved track" in called(capsys, "model", "save", fo, "--name", "x", "--pictures", "ghost", "-q", code=4)
    assert "--second" in called(capsys, "model", "save", fo, "--name", "x", "--second-view", "dtl", "-q", code=2)
    assert "cannot be the name" in called(capsys, "model", "save", fo, "--name", "a/b", "-q", code=8)
    assert "no file" in called(capsys, "model", "save", tracks / "none.csv", "--name", "x", "-q", code=3)
    assert not models.exists()


def test_a_taken_name_is_told_before_the_work(tracks: Path, models: Path, capsys: pytest.CaptureFixture[str]) -> None:
    called(capsys, "model", "save", tracks / "fo 0.csv", "--name", "x", "-q")
    before = (models / "x.swing").read_bytes()
    absent = tracks / "there is no such clip.csv"
    assert "already" in called(capsys, "model", "save", absent, "--name", "X", "-q", code=6)
    assert "already" in called(capsys, "model", "build", absent, "--name", "X", "-q", code=6)
    assert (models / "x.swing").read_bytes() == before


def test_a_damaged_model_is_named_and_the_others_work(
    tracks: Path, models: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    called(capsys, "model", "save", tracks / "fo 0.csv", "--name", "good", "-q")
    (models / "bad.swing").write_bytes((models / "good.swing").read_bytes()[:-9])
    listed = called(capsys, "model", "list")
    assert "bad.swing cannot be used: bad.swing: its end is missing" in listed
    assert "good" in listed
    assert "bad.swing" in called(capsys, "model", "show", "bad", code=3)
    assert "bad.swing" in called(capsys, "model", "export", "bad", models / "out.swing", code=3)
    called(capsys, "model", "remove", "bad")
    assert "bad" not in called(capsys, "model", "list")


def test_a_hostile_file_is_refused_in_two_lines(
    models: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    import zipfile

    hostile = tmp_path / "hostile.swing"
    with zipfile.ZipFile(hostile, "w") as target:
        target.writestr("model.json", '{"kind": "overlay model", "schema": 1, "name": "../x"}')
        target.writestr("../escaped.swing", "x")
    for arguments in (("import", hostile), ("import", hostile, "--name", "x"), ("show", hostile)):
        said = called(capsys, "model", *arguments, code=3)
        assert "hostile.swing" in said
        assert "would leave the model's own folder" in said
    hostile.write_bytes(b"PK\x03\x04" + bytes(100))
    called(capsys, "model", "import", hostile, code=3)
    assert [path.name for path in tmp_path.iterdir()] == ["hostile.swing"]


def test_a_template_is_built_of_clips_and_models(
    tracks: Path, models: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    called(capsys, "model", "save", tracks / "fo 3.csv", "--name", "kept", "-q")
    clips = [tracks / f"fo {i}.csv" for i in range(3)]
    said = called(
        capsys,
        "model",
        "build",
        *clips,
        models / "kept.swing",
        tracks / "dtl.csv",
        "--name",
        "mine",
        "--of",
        "one",
        "-q",
    )
    assert "The middle of 4 recorded swings of one player, not a norm." in said
    assert "left out: dtl.csv, swing 1: it is the only swing filmed down the line" in said
    model = Library(models).get("mine")
    assert model.kind == "template"
    assert model.bands["fo"].n_swings == 4
    assert model.bands["fo"].of == "one player"
    assert model.provenance.sources == (
        "fo 0.csv, swing 1", "fo 1.csv, swing 1", "fo 2.csv, swing 1", "kept.swing, face on",
    )  # fmt: skip
    shown = called(capsys, "model", "show", "mine", "--out", tmp_path / "mine.png")
    assert "the middle of 4 swings" in shown
    assert "Variation between 4 swings of one player" in shown
    listed = json.loads(called(capsys, "model", "list", "--json"))["models"]
    assert {facts["name"]: facts["swings"] for facts in listed if not facts["shipped"]} == {"kept": 1, "mine": 4}


def test_too_few_swings_make_no_template(tracks: Path, models: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = called(capsys, "model", "build", tracks / "fo 0.csv", tracks / "dtl.csv", "--name", "x", "-q", code=3)
    assert "found were 1 down the line, 1 face on" in said
    assert not models.exists()


def test_nothing_of_the_folders_is_kept(tracks: Path, models: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A model that is passed on tells the names of its files and nothing of the disk they lay on."""
    import zipfile

    called(capsys, "model", "save", tracks / "fo 0.csv", "--name", "x", "-q")
    with zipfile.ZipFile(models / "x.swing") as source:
        everything = b"".join(source.read(name) for name in source.namelist())
    assert b"fo 0.csv" in everything
    assert str(tracks).encode() not in everything
    assert str(tracks.name).encode() not in everything


def test_a_kept_swing_compares_as_its_track_does(
    tracks: Path, models: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is kept is all that a comparison needs: the scores against the model are those against the track."""
    from overlay.align import align
    from overlay.pipeline import inspect_clip, look_closer
    from overlay.score import score

    called(capsys, "model", "save", tracks / "fo 1.csv", "--name", "x", "-q")
    student, track = (look_closer(inspect_clip(tracks / f"fo {i}.csv")).chosen(None) for i in (0, 1))
    kept = Library(models).get("x").swings["fo"]
    one, other = (score(student, reference, align(student, reference)) for reference in (track, kept))
    a, b = (np.array([row.value for row in comparison.differences]) for comparison in (one, other))
    np.testing.assert_array_equal(a, b)
    assert np.isfinite(a).sum() > 20


def test_a_parameter_file_is_written_looked_at_and_kept(
    models: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    import functools

    from overlay import maker

    # How much such a swing varies is the maker's own business and takes longest.
    monkeypatch.setattr(maker, "make_model", functools.partial(maker.make_model, bands=None))
    mine = tmp_path / "mine.toml"
    called(capsys, "model", "parameters", mine, "--club", "driver")
    assert "already" in called(capsys, "model", "parameters", mine, code=6)
    text = mine.read_text(encoding="utf-8")
    assert "[posture]" in text
    said = called(capsys, "model", "derive", mine, "--name", "My idea", "--note", "longer", "-q")
    assert "not a norm" in said
    model = Library(models).get("My idea")
    assert model.kind == "space"
    assert model.club_kind == "driver"
    assert model.provenance.notes[-1] == "longer"
    assert model.provenance.made_at
    mine.write_text(text.replace("stature_m = 1.78", "stature_m = 17.8"), encoding="utf-8")
    assert "stature_m" in called(capsys, "model", "derive", mine, "--name", "x", "-q", code=3)
    mine.write_text("[posture", encoding="utf-8")
    called(capsys, "model", "preview", mine, "--out", tmp_path / "x.png", "-q", code=3)
    assert not (tmp_path / "x.png").exists()


def test_a_preview_moves_as_long_as_the_swing_does(
    tracks: Path, models: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from overlay.video import open_clip

    called(capsys, "model", "save", tracks / "fo 0.csv", "--name", "x", "-q")
    called(capsys, "model", "preview", "x", "--out", tmp_path / "x.mp4", "--speed", 1.0, "-q")
    swing = Library(models).get("x").swings["fo"]
    with open_clip(tmp_path / "x.mp4") as reader:
        assert reader.clip.duration_s == pytest.approx(swing.stop_s - swing.start_s, abs=0.05)
        first, middle = (reader.frame_at(time_s).image for time_s in (0.1, 0.5 * reader.clip.duration_s))
    assert np.abs(first.astype(int) - middle).mean() > 0.5
    assert "png" in called(capsys, "model", "preview", "x", "--out", tmp_path / "x.gif", code=2)


@pytest.mark.real
@pytest.mark.pose
def test_a_real_clip_is_kept_with_its_ghost(real_data: Path, models: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The person is there and the place is not; the file is small."""
    from overlay.models import kept_picture

    clip = real_data / "real_dtl_slow_motion.mp4"
    called(capsys, "model", "save", clip, "--name", "real", "--pictures", "ghost", "-q")
    called(capsys, "model", "save", clip, "--name", "bare", "-q")
    assert (models / "real.swing").stat().st_size < 5_000_000
    assert (models / "bare.swing").stat().st_size < 400_000
    model = Library(models).get("real")
    kept = model.pictures["dtl"]
    slow = model.swings["dtl"].quality["slow_factor_estimate"]
    assert len(kept.times_s) <= 61 * (kept.times_s[-1] - kept.times_s[0]) / slow + 9
    for i in range(0, len(kept.times_s), 20):
        picture, alpha = kept_picture(kept, i)
        assert 0.02 < (alpha > 128).mean() < 0.3
        assert (picture.max(axis=2) > 12).mean() < 2.0 * (alpha > 0).mean()
    assert not Library(models).get("bare").pictures


def test_as_a_user_types_it(overlay_command: Run, tracks: Path, tmp_path: Path) -> None:
    done = overlay_command("model", "save", tracks / "dtl.csv", "--name", "typed")
    assert done.returncode == 0, done.stderr
    assert "Kept as typed: down the line" in done.stdout
    assert "finding the swing" in done.stderr
    done = overlay_command("model", "export", "typed", tmp_path)
    assert done.returncode == 0, done.stderr
    assert load_model(tmp_path / "typed.swing").name == "typed"
    done = overlay_command("model", "show", "nothing")
    assert done.returncode == 3
    assert done.stderr.splitlines()[0].startswith("error: There is no model 'nothing'")


def test_help_of_the_group_loads_nothing_heavy() -> None:
    code = "import sys; from overlay.cli.main import run; run(['model', '--help']); print(sorted(set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(json.loads(done.stdout.splitlines()[-1].replace("'", '"')))
    assert loaded & {"numpy", "av", "cv2", "scipy", "matplotlib", "mediapipe", "numba", "tslearn", "rich"} == set()
    assert "preview" in done.stdout


def test_a_picture_of_a_model_is_a_png(models: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "end it in .png" in called(capsys, "model", "show", "mid_iron", "--out", tmp_path / "it.jpg", code=2)
    assert not (tmp_path / "it.jpg").exists()
