"""The demo's season: read with every doubt, played, put into a library of its own, and asked."""

from __future__ import annotations

from pathlib import Path

import pytest

from overlay.demo.season import check_season_folder, film_season, load_season, run_season
from overlay.errors import InputError, OutputError
from overlay.library import open_store
from overlay.shipped import shipped_folder


def shipped() -> str:
    return (shipped_folder("demo") / "season.toml").read_text(encoding="utf-8")


def small(tmp_path: Path, sessions: int, swings: int) -> Path:
    """The shipped season cut to its sessions nearest to the change."""
    head, *days = shipped().split("[[session]]")
    middle = 5
    kept = days[middle - sessions : middle + sessions]
    path = tmp_path / "small.toml"
    path.write_text("[[session]]".join([head.replace("swings = 8", f"swings = {swings}"), *kept]), encoding="utf-8")
    return path


def test_the_shipped_season_is_five_and_four_sessions() -> None:
    season = load_season()
    assert sum(day.date < season.since for day in season.days) == 5
    assert sum(day.date >= season.since for day in season.days) == 4
    assert season.days[0].golfer.faults["sway"] > 2 * season.days[-1].golfer.faults["sway"]


def test_no_two_swings_of_it_are_the_same(tmp_path: Path) -> None:
    filmed = film_season(load_season(small(tmp_path, 1, 2)), tmp_path / "tracks")
    contents = {path.read_bytes() for _, paths in filmed for path in paths}
    assert len(contents) == 4


def test_a_season_is_played_kept_and_asked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OVERLAY_CACHE_DIR", str(tmp_path / "cache"))
    made = run_season(tmp_path / "season", path=small(tmp_path, 2, 2))
    assert made.n_swings == 8
    assert made.answer.holding.word == "not enough sessions"
    assert made.answer.holding.more_baseline == 1
    assert made.trend.read_bytes().startswith(b"\x89PNG")
    assert "Wren Halloway" in made.page.read_text(encoding="utf-8")
    with open_store(made.library, must_exist=True) as store:
        assert len(store.sessions()) == 4
        assert [swing.date for swing in store.best("wren halloway")] == [
            made.season.days[-1].date,
            made.season.days[0].date,
        ]
        assert store.check() == ()
    # Again over its own folder: nothing is there twice.
    again = run_season(tmp_path / "season", path=small(tmp_path, 2, 2))
    with open_store(again.library, must_exist=True) as store:
        assert store.count_swings() == 8


def test_a_folder_of_ones_own_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "library.sqlite").write_bytes(b"mine")
    with pytest.raises(OutputError, match="no earlier demo"):
        check_season_folder(tmp_path)
    with pytest.raises(OutputError, match="is a file"):
        check_season_folder(tmp_path / "library.sqlite")


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        ('view = "fo"', 'view = "up"', "a view 'up'"),
        ('aim = "lower"', 'aim = "sideways"', "sideways"),
        ("swings = 8", "swings = 0", "0 swings"),
        ("date = 2026-05-04", 'date = "soon"', "not a date"),
        ("since = 2026-05-25", "since = 2026-05-25T10:00:00", "not a date"),
        ("sway = 0.95", "swai = 0.95", "swai"),
        ("height_m = 0.80", "height_m = 80", "height_m"),
        ("[change]", "[chance]", "not complete"),
        ("place =", "place", "cannot be read"),
    ],
)
def test_a_season_file_with_a_mistake_is_refused(tmp_path: Path, old: str, new: str, problem: str) -> None:
    path = tmp_path / "mine.toml"
    text = shipped()
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError, match=problem):
        load_season(path)
