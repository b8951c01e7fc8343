"""A library that cannot take any more: what was kept before stays, and the next run goes on."""

from __future__ import annotations

from pathlib import Path

import pytest
from batch_factory import HerePool, write_track

from overlay.batch import AddRow, AddSpec, add_clips
from overlay.errors import OutputError
from overlay.library import open_store


def test_a_full_disk_ends_the_run_and_nothing_else(tmp_path: Path) -> None:
    for i in range(3):
        write_track(tmp_path / "range" / f"swing{i}.npz", i)
    spec = AddSpec(player="Rowan Vale")
    with open_store(tmp_path / "library.sqlite") as store:

        def fill(row: AddRow) -> None:
            """After the first clip the file may not grow any more."""
            pages = store._db.number("PRAGMA page_count")
            store._db.number(f"PRAGMA max_page_count = {pages}")

        with pytest.raises(OutputError, match="full"):
            add_clips(store, [tmp_path / "range"], spec, HerePool(), told=fill)
        assert [clip.path.name for clip in store.clips()] == ["swing0.npz"]
        assert store.check() == ()
    with open_store(tmp_path / "library.sqlite") as store:
        pool = HerePool()
        report = add_clips(store, [tmp_path / "range"], spec, pool)
        assert report.counts == {"added": 2, "known": 1}
        assert pool.read == ["swing1.npz", "swing2.npz"]
