"""A watched folder, in this process: what is taken, in which order, and how it ends."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from batch_factory import HerePool, write_track

from overlay.batch import AddRow, AddSpec, NewestFolder, watch_folder
from overlay.errors import InputError, OutputError
from overlay.library import Store, open_store
from overlay.settings.batch import WatchSettings

QUICK = WatchSettings(poll_s=0.01, still_s=0.0, patience_s=0.0)
ROWAN = AddSpec(player="Rowan Vale")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "library.sqlite") as opened:
        yield opened


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for i in range(2):
        path = write_track(tmp_path / "phone" / f"swing{i}.npz", i)
        os.utime(path, (1.7e9 + i, 1.7e9 + i))
    return tmp_path / "phone"


class Looks:
    """Ends a watch after so many looks at the folder."""

    def __init__(self, most: int) -> None:
        self.left = most

    def __call__(self) -> bool:
        self.left -= 1
        return self.left < 0


def test_the_newest_is_read_first_and_everything_once(store: Store, folder: Path) -> None:
    pool = HerePool()
    report = watch_folder(store, folder, ROWAN, pool, until=Looks(6), settings=QUICK)
    assert pool.read == ["swing1.npz", "swing0.npz"]
    assert report.counts == {"added": 2}
    again = watch_folder(store, folder, ROWAN, pool, until=Looks(6), settings=QUICK)
    assert again.counts == {"known": 2}
    assert len(pool.read) == 2


def test_what_is_there_can_be_left(store: Store, folder: Path) -> None:
    pool = HerePool()
    looks = Looks(8)

    def until() -> bool:
        if looks.left == 5:
            write_track(folder / "new.npz", 2)
        return looks()

    report = watch_folder(store, folder, ROWAN, pool, until=until, only_new=True, settings=QUICK)
    assert pool.read == ["new.npz"]
    assert [row.path.name for row in report.rows] == ["new.npz"]


def test_ctrl_c_is_the_way_it_ends(store: Store, folder: Path) -> None:
    def stop(row: AddRow) -> None:
        raise KeyboardInterrupt

    report = watch_folder(store, folder, ROWAN, HerePool(), told=stop, settings=QUICK)
    assert report.counts == {"added": 1}
    assert [(path.name, why) for path, why in report.left_out] == [("swing0.npz", "not read yet")]


def test_a_file_that_is_not_whole_is_told(store: Store, tmp_path: Path) -> None:
    (tmp_path / "phone").mkdir()
    (tmp_path / "phone" / "half.mp4").write_bytes((9999).to_bytes(4, "big") + b"mdat")
    late: list[tuple[str, str]] = []
    report = watch_folder(
        store,
        tmp_path / "phone",
        ROWAN,
        HerePool(),
        late=lambda path, why: late.append((path.name, why)),
        until=Looks(4),
        settings=QUICK,
    )
    assert late == [("half.mp4", "its end is missing")]
    assert report.rows == ()
    assert [(path.name, why) for path, why in report.left_out] == [("half.mp4", "not whole")]


def test_the_results_may_not_lie_among_the_clips(store: Store, folder: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="taken for clips"):
        watch_folder(store, folder, ROWAN, HerePool(), out=NewestFolder(folder), until=Looks(1), settings=QUICK)
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="in the way"):
        watch_folder(
            store, folder, ROWAN, HerePool(), out=NewestFolder(tmp_path / "file"), until=Looks(1), settings=QUICK
        )
    with pytest.raises(InputError, match="no folder"):
        watch_folder(store, tmp_path / "nowhere", ROWAN, HerePool(), until=Looks(1), settings=QUICK)
