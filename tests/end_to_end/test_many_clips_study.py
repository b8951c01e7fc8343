"""A small version of studies/many_clips.py: its clips are what its page says, and its figures are counted."""

from __future__ import annotations

import importlib.util
import math
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from batch_factory import still_track, write_track


@pytest.fixture(scope="module")
def study(repository: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location("many_clips", repository / "studies" / "many_clips.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["many_clips"] = module
    spec.loader.exec_module(module)
    return module


def test_every_clip_holds_its_swing_and_is_cut_in_its_own_way(study: ModuleType) -> None:
    starts = {}
    for seed in range(16):
        master = study.masters()[seed % study.MASTERS]
        motion = master.motion()
        first = study.first_frame(motion, seed)
        start_s = first / study.RATE_HZ
        assert 0.0 <= start_s <= motion.position_times["address"] - 0.5
        assert motion.position_times["finish"] <= start_s + study.CLIP_S <= motion.duration_s + 1 / study.RATE_HZ
        starts.setdefault(master.number, set()).add(first)
    assert {master.camera.view for master in study.masters()} == {"dtl", "fo"}
    assert sum(len(each) for each in starts.values()) > len(starts)


def test_a_take_is_enlarged_lit_and_noisy_in_its_own_way(study: ModuleType) -> None:
    grey = np.full((study.RENDERED[1], study.RENDERED[0], 3), 120, np.uint8)
    takes = [study.Camera(seed) for seed in (0, 1)]
    pictures = [take.take(grey) for take in takes]
    for take, picture in zip(takes, pictures):
        assert picture.shape == (study.SIZE[1], study.SIZE[0], 3)
        assert picture.dtype == np.uint8
        assert picture.mean() == pytest.approx(round(120 * take.gain), abs=0.1)
        assert picture.std() == pytest.approx(study.NOISE_LEVELS, rel=0.05)
    assert not np.array_equal(pictures[0], pictures[1])
    assert not np.array_equal(pictures[0], takes[0].take(grey)), "each frame has noise of its own"
    assert np.array_equal(pictures[0], study.Camera(0).take(grey)), "and the same in every run"


@pytest.mark.skipif(sys.platform != "linux", reason="reads memory from /proc")
def test_a_run_is_counted_whole(study: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    paths = [write_track(tmp_path / f"swing {k}.npz", k) for k in range(3)]
    paths.append(still_track(tmp_path / "still.npz"))
    run = study.add(paths, 2)
    assert run.counts == {"added": 3, "failed": 1}
    assert run.n_swings == 3
    assert sorted(run.swings_each) == [0, 1, 1, 1]
    # Three processes that import numpy, each more than a tenth of a second of processor time.
    assert run.cpu_s > 0.3
    assert 20.0 < run.parent_mb < 4000.0
    assert 20.0 < run.worker_mb < 4000.0
    told = {"stages": {"one": [3.0, 2.0], "other": [1.0, 1.0]}, "posed": 10, "frames": 40.0}
    clip = tmp_path / "clip.mp4"
    clip.write_bytes(bytes(6_000_000))
    text = "\n".join(study.page("", [clip], run, [(run, run)], (1, told), (run, told, 186.0)))
    assert "H.264 at 16 Mbit/s" in text
    assert "Median ratio **1.00**" in text
    assert f"**{run.seconds / 4:.2f}**" in text
    assert "1 clips gave another number of swings than one" in text
    assert "| one | 3.00 | 2.00 | 75% |" in text
    assert "| 10 | 40 | 25% |" in text
    assert not math.isnan(run.each_s)


def test_the_long_recording_goes_on_without_a_seam(
    study: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from types import SimpleNamespace

    from overlay.video import open_clip, read_sound

    n = 30
    recording = SimpleNamespace(
        duration_s=(n - 0.5) / study.RATE_HZ, impacts_s=(0.2,), spec=SimpleNamespace(club="mid_iron")
    )
    camera = study.masters()[1].camera
    monkeypatch.setattr(study, "long_session", lambda: (recording, camera, "mara"))
    monkeypatch.setattr(study, "SIZE", (108, 192))
    monkeypatch.setattr(study, "RENDERED", (54, 96))
    greys = [np.full((96, 54, 3), 50 + 5 * k, np.uint8) for k in range(n)]
    monkeypatch.setattr(study, "pictures", lambda path: iter(greys))
    study.make_long(tmp_path, tmp_path / "long.mp4", rounds=3)
    with open_clip(tmp_path / "long.mp4") as reader:
        clip = reader.clip
        seen = [float(frame.image.mean()) for frame in reader.frames()]
    assert clip.n_frames == 3 * n
    assert np.allclose(np.diff(clip.times_s), 1 / study.RATE_HZ, atol=1e-6)
    assert clip.warnings == ()
    assert np.allclose(seen[:n], seen[n : 2 * n], atol=0.01)
    assert np.all(np.diff(seen[:n]) > 0)
    assert read_sound(tmp_path / "long.mp4").duration_s == pytest.approx(3 * n / study.RATE_HZ, abs=0.05)
