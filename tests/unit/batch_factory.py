"""Clips for the tests of many clips: saved tracks of the synthetic golfer, read in well under a second."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache
from pathlib import Path

from overlay.batch import ReadJob, Told, read_clip
from overlay.data import ClipRead, PoseTrack
from overlay.terms import View


@lru_cache(maxsize=8)
def golfer_track(seed: int, view: View = "dtl", rate_hz: float = 30.0) -> PoseTrack:
    """A swing of an invented player as a pose model would report it."""
    from overlay.golfer import CameraSpec, GolferSpec, NoiseSpec, simulate, truth_track

    motion = simulate(GolferSpec(seed=seed))
    camera = CameraSpec.for_motion(motion, view)
    return truth_track(motion, camera, rate_hz, noise=NoiseSpec(dropout=0.0, hip_swap=0.0), seed=seed)


def write_track(path: Path, seed: int = 0, view: View = "dtl") -> Path:
    """A saved track; each seed is another file."""
    from overlay.pose import save_track

    path.parent.mkdir(parents=True, exist_ok=True)
    save_track(path, golfer_track(seed, view), view=view, handedness="right")
    return path


def still_track(path: Path) -> Path:
    """A saved track of somebody who stands still: no swing."""
    import numpy as np

    from overlay.pose import save_track

    whole = golfer_track(0)
    stood = PoseTrack(
        points=np.repeat(whole.points[:1], 60, axis=0),
        depth=np.repeat(whole.depth[:1], 60, axis=0),
        visibility=np.repeat(whole.visibility[:1], 60, axis=0),
        time_s=np.arange(60) / 30.0,
        image_size=whole.image_size,
        source="test",
    )
    save_track(path, stood, view="dtl", handedness="right")
    return path


def copies(folder: Path, sources: list[Path], name: Callable[[int], str]) -> list[Path]:
    """The files again, under other names."""
    return [Path(shutil.copy2(source, folder / name(i))) for i, source in enumerate(sources)]


class HerePool:
    """Reads in this process, one clip after another: for what does not depend on processes."""

    workers = 1

    def __init__(self) -> None:
        self.read: list[str] = []
        """Names of the clips that were read."""

    def run(self, jobs: Iterable[ReadJob], told: Told | None = None) -> Iterator[ClipRead]:
        for job in jobs:
            if told is not None:
                told(job, "")
            self.read.append(job.path.name)
            yield read_clip(job)

    def close(self) -> None:
        return None

    def __enter__(self) -> HerePool:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
