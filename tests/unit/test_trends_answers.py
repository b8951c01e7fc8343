"""From a library to the answer: what is asked of it, what the cameras veto, what is told beside it, what is refused."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from holding_factory import FIRST, Day, keep_season, library, season
from record_factory import season as sessions_of
from record_factory import series_of

from overlay.data import CameraShift, ChangeAnswer, MeasureSeries, SpaceTrack
from overlay.errors import DataError, InputError
from overlay.library import open_store
from overlay.trends import Asked, answer_of, answers_of, change_answer, change_answers, known_measure, reference_key_of
from overlay.trends.judging import Changed


@pytest.fixture(scope="module")
def space() -> SpaceTrack:
    from overlay.pipeline import usual_swing

    return usual_swing()


def ask(path: Path, measure: str = "hips_line_release", **options: object) -> ChangeAnswer:
    with open_store(path) as store:
        return change_answer(store, "robin sparrow", measure, **options)  # type: ignore[arg-type]


def test_a_change_that_holds(tmp_path: Path) -> None:
    answer = ask(library(tmp_path, season()))
    assert answer.holding.word == "holding"
    assert answer.holding.is_focus
    assert answer.holding.aim == "lower"
    assert answer.player == "Robin Sparrow"
    assert answer.since == FIRST + datetime.timedelta(days=25)
    assert answer.holding.change == pytest.approx(-0.12, abs=0.04)
    assert [mean.n for mean in answer.means] == [8] * 9
    assert answer.camera is None
    assert answer.notes == ()


def test_the_day_the_aim_and_the_focus_can_be_told(tmp_path: Path) -> None:
    path = library(tmp_path, season())
    told = ask(path, since=FIRST + datetime.timedelta(days=15), aim="higher")
    assert (told.holding.n_baseline, told.holding.n_later) == (3, 6)
    assert told.holding.aim == "higher"
    other = ask(path, "hand_depth_back", since=FIRST + datetime.timedelta(days=25))
    assert other.holding.word == "not holding"
    assert other.holding.aim == "either"
    assert any("declares this measure" in note for note in other.notes)


def test_others_are_tested_together_in_the_checklists_order(tmp_path: Path) -> None:
    with open_store(library(tmp_path, season())) as store:
        answers = change_answers(store, "Robin Sparrow")
    assert [answer.measure for answer in answers] == [
        "hips_line_release",
        "hand_depth_back",
        "shoulders_to_spine_top",
        "tempo_ratio",
    ]
    assert [answer.holding.is_focus for answer in answers] == [True, False, False, False]
    others = [answer.holding for answer in answers[1:]]
    assert min(holding.p_adjusted for holding in others) == pytest.approx(
        min(1.0, 3 * min(holding.p for holding in others))
    )
    assert {answer.since for answer in answers} == {answers[0].since}


def test_no_focus_at_all(tmp_path: Path) -> None:
    path = library(tmp_path, [replace(day, focus="") for day in season()])
    with open_store(path) as store:
        with pytest.raises(InputError, match="Since when is not told: no session of Robin Sparrow has a focus"):
            change_answers(store, "Robin Sparrow")
        answers = change_answers(store, "Robin Sparrow", since=FIRST + datetime.timedelta(days=25))
    assert not any(answer.holding.is_focus for answer in answers)
    changed = [answer.measure for answer in answers if answer.holding.word == "holding"]
    assert changed == ["hips_line_release"]


def test_a_focus_without_values(tmp_path: Path) -> None:
    """Never seen, or in the other view: the others are told all the same, and that it is lacking."""
    days = [replace(day, focus="shaft_to_trail_arm_through" if day.focus else "") for day in season(n=3)]
    path = library(tmp_path, days)
    with open_store(path) as store:
        answers = change_answers(store, "Robin Sparrow")
        assert not any(answer.holding.is_focus for answer in answers)
        assert all("The focus shaft_to_trail_arm_through itself" in answer.notes[0] for answer in answers)
        with pytest.raises(InputError, match="valid value of hand_depth_back"):
            change_answers(store, "Robin Sparrow", ["tempo_ratio", "hand_depth_back"], club="putter")
        with pytest.raises(InputError, match="with the putter has a valid value of shaft_to"):
            change_answers(store, "Robin Sparrow", club="putter")
    days = [replace(day, focus="hands.backswing" if day.focus else "") for day in season(n=2)]
    with open_store(library(tmp_path / "other", days)) as store:
        answers = change_answers(store, "Robin Sparrow")
    assert all("The focus hands.backswing itself" in answer.notes[0] for answer in answers)


def test_a_measure_of_another_focus_needs_its_day(tmp_path: Path) -> None:
    path = library(tmp_path, season())
    with pytest.raises(InputError, match="no session of Robin Sparrow declares tempo_ratio") as stopped:
        ask(path, "tempo_ratio")
    assert "--since 2031-03-27 (since when hips_line_release is the focus)" in stopped.value.hint


def test_a_camera_that_moved_vetoes(tmp_path: Path, space: SpaceTrack) -> None:
    """Hands 0.05 torso lengths further inside, and a camera 25 cm further outside, which makes as much by itself."""
    days = []
    for i, day in enumerate(season(0.0, focus="hand_depth_back")):
        later = i >= 5
        levels = {**day.levels, "hand_depth_back": -0.05 - (0.05 if later else 0.0) + 0.004 * (i % 3)}
        days.append(replace(day, levels=levels, offset_cm=25.0 if later else 0.0))
    path = library(tmp_path, days)
    blind = ask(path, "hand_depth_back")
    assert blind.holding.word == "holding"
    seen = ask(path, "hand_depth_back", space=space)
    assert seen.holding.word == "cameras differ"
    assert seen.camera is not None
    assert seen.camera.vetoes
    assert seen.holding.sentence.startswith("Cameras differ: nothing can be decided.")
    assert "it would be “holding”: 0.05 torso lengths further inside" in seen.holding.reason
    # The numbers are those of the sessions all the same.
    assert (seen.holding.change, seen.holding.p) == (blind.holding.change, blind.holding.p)


def test_a_camera_that_stood_still_is_told(tmp_path: Path, space: SpaceTrack) -> None:
    answer = ask(library(tmp_path, season()), space=space)
    assert answer.holding.word == "holding"
    assert answer.camera is not None
    assert not answer.camera.vetoes
    assert "agree" in answer.camera.sentence


def test_cameras_are_looked_at_only_where_a_change_was_seen() -> None:
    looked: list[tuple[float, int, int]] = []

    def look(
        series: MeasureSeries, changed: Changed, baseline: Sequence[int], later: Sequence[int]
    ) -> CameraShift | None:
        looked.append((changed.change, len(baseline), len(later)))
        return CameraShift((), 0.0, 0.01, 0.01, False, "They agree.")

    sessions = sessions_of(10)
    since = sessions[5].date

    def answer(levels: list[float]) -> ChangeAnswer:
        return answer_of("Robin", Asked(series_of(sessions, levels)), since, look=look)

    assert answer([0.1] * 10).camera is None
    assert looked == []
    assert answer([0.1] * 5 + [0.3] * 5).camera is not None
    assert looked.pop() == (pytest.approx(0.2, abs=0.04), 5, 5)
    # What has faded was made by the first of the later sessions: their cameras count.
    assert answer([0.1] * 5 + [0.4] * 3 + [0.1] * 2).holding.word == "faded"
    assert looked.pop() == (pytest.approx(0.3, abs=0.05), 5, 3)
    few = answer_of("Robin", Asked(series_of(sessions, [0.1] * 8 + [0.3] * 2)), sessions[9].date, look=look)
    assert few.holding.word == "not enough sessions"
    assert looked == []


def test_what_is_told_beside_it(tmp_path: Path) -> None:
    days = season(n=4)
    days[1] = replace(days[1], filming_fails=True)
    days[2] = replace(days[2], levels={**days[2].levels, "hips_line_release": math.nan})
    days[3] = replace(days[3], n=1)
    notes = " ".join(ask(library(tmp_path, days)).notes)
    assert "The filming check failed in the session of 2031-03-07" in notes
    assert "1 session without a valid value" in notes
    assert "Only one swing in the session of 2031-03-17" in notes
    assert "4 + 4 sessions are few" in notes


def test_sessions_of_very_unequal_size_are_told(tmp_path: Path) -> None:
    days = [replace(day, n=2 if i >= 6 else 12) for i, day in enumerate(season(before=6, since=3))]
    answer = ask(library(tmp_path, days))
    assert any("12 swings, sessions since 2 (medians)" in note and "widened" in note for note in answer.notes)


def test_a_baseline_that_moved_already_is_told() -> None:
    sessions = sessions_of(9)
    answer = answer_of(
        "Robin", Asked(series_of(sessions, [0.0, 0.1, 0.2, 0.3, 0.4, 0.6, 0.6, 0.6, 0.6])), sessions[5].date
    )
    assert any("on the move already" in note for note in answer.notes)


def test_a_change_on_its_way_back_is_told_while_it_holds() -> None:
    sessions = sessions_of(9)
    series = series_of(sessions, [0.0] * 5 + [0.9, 0.8, 0.7, 0.6])
    answer = answer_of("Robin", Asked(series), sessions[5].date)
    assert answer.holding.word == "holding"
    assert "drift back" in answer.notes[0]
    growing = answer_of("Robin", Asked(series_of(sessions, [0.0] * 5 + [0.6, 0.7, 0.8, 0.9])), sessions[5].date)
    assert not any("drift back" in note for note in growing.notes)


def test_clips_read_by_another_version_are_told(tmp_path: Path) -> None:
    path = library(tmp_path, season())
    with open_store(path) as store:
        clip = store.clips()[0]
        assert not any("same version" in note for note in ask(path).notes)
        store._db.run("UPDATE clips SET engine = 'older' WHERE id = ?", (clip.id,))
    assert any("overlay add --outdated --player 'Robin Sparrow'" in note for note in ask(path).notes)


def test_one_club_and_one_view(tmp_path: Path) -> None:
    days = season()
    path = library(tmp_path, days)
    with open_store(path) as store:
        keep_season(store, [replace(day, club="driver", day=day.day + 1, n=3) for day in days], seed=2)
        keep_season(store, [replace(day, view="fo", n=2) for day in days[:5]], seed=3)
    answer = ask(path)
    assert {session.club for session in answer.series.sessions} == {"7 iron"}
    assert answer.series.view == "dtl"
    assert any("left out: driver (27)" in note for note in answer.notes)
    assert any("down the line" in note for note in answer.notes)
    driver = ask(path, club="Driver", view="dtl")
    assert [mean.n for mean in driver.means] == [3] * 9
    with pytest.raises(InputError, match="No swing of Robin Sparrow with the putter"):
        ask(path, club="putter")


def test_all_answers_are_about_the_focus_club(tmp_path: Path) -> None:
    """Of another measure most values are with the driver: told is what the focus' club gives all the same."""
    days = season(n=3)
    path = library(tmp_path, [replace(day, n=6, levels={"hips_line_release": 0.1 * (i >= 5)}) for i, day in
                              enumerate(days)])  # fmt: skip
    with open_store(path) as store:
        levels = {"tempo_ratio": 3.0, "hand_depth_back": 0.1}
        keep_season(store, [replace(day, club="driver", levels=levels, day=day.day + 1) for day in days], seed=2)
        keep_season(store, [replace(day, levels={"tempo_ratio": 3.1}, n=1) for day in days], seed=3)
        answers = change_answers(store, "Robin Sparrow", focus="hips_line_release")
    assert [answer.measure for answer in answers] == ["hips_line_release", "tempo_ratio"]
    assert [mean.n for mean in answers[1].means] == [1] * 9


def compared(references: Sequence[str] = ("Model one",)) -> list[Day]:
    sizes = [[0.20, 0.22, 0.24]] * 5 + [[0.08, 0.10, 0.12]] * 4
    return [
        replace(day, compared=size, references=references, focus="hands.backswing" if i >= 5 else "")
        for i, (day, size) in enumerate(zip(season(), sizes))
    ]


def test_a_difference_to_a_reference(tmp_path: Path, space: SpaceTrack) -> None:
    path = library(tmp_path, compared())
    answer = ask(path, "hands.backswing", space=space)
    assert answer.holding.word in ("holding", "cameras differ")
    assert answer.holding.change == pytest.approx(-0.12, abs=0.02)
    assert answer.camera is not None
    assert ask(path, "Hands.Backswing.X", since=answer.since).holding.change == pytest.approx(-0.096, abs=0.02)


def test_differences_to_two_references_are_not_mixed(tmp_path: Path) -> None:
    path = library(tmp_path, compared(("Model one", "Model one", "My January")))
    answer = ask(path, "hands.backswing")
    assert sum(mean.n for mean in answer.means) == 54
    assert any("Differences are those to Model one (54 swings)" in note for note in answer.notes)
    assert any("My January (18 swings) are left out" in note for note in answer.notes)
    with open_store(path) as store:
        key = reference_key_of(store, "Robin Sparrow", "my  january")
        assert reference_key_of(store, "Robin Sparrow", key[:8]) == key
        with pytest.raises(InputError, match="compared with nothing such"):
            reference_key_of(store, "Robin Sparrow", "nothing such")
    other = ask(path, "hands.backswing", reference_key=key)
    assert sum(mean.n for mean in other.means) == 18


def test_names_that_are_not_known(tmp_path: Path) -> None:
    path = library(tmp_path, season(n=2))
    with open_store(path) as store:
        assert known_measure(store, "Robin Sparrow", "Hand depth-back") == "hand_depth_back"
        assert known_measure(store, "Robin Sparrow", "Hand depth (takeaway)") == "hand_depth_back"
        with pytest.raises(InputError, match="no measure hand dept of Robin Sparrow") as stopped:
            known_measure(store, "Robin Sparrow", "hand dept")
        assert stopped.value.hint == "Did you mean hand_depth_back?"
        with pytest.raises(InputError, match=r"no measure hands\.elbow"):
            known_measure(store, "Robin Sparrow", "hands.elbow")
        store.ensure_player("Wren Holloway")
        with pytest.raises(InputError, match="No measure of Wren Holloway is kept"):
            known_measure(store, "Wren Holloway", "hand_depth_back")
        with pytest.raises(InputError, match="No session of Wren Holloway"):
            change_answers(store, "Wren Holloway")
        with pytest.raises(InputError, match="Nobody"):
            change_answers(store, "Nobody")
        with pytest.raises(DataError, match="no aim"):
            change_answers(store, "Robin Sparrow", aim="sideways")  # type: ignore[arg-type]


def test_two_focuses_are_refused() -> None:
    sessions = sessions_of(5)
    asked = [Asked(series_of(sessions, [0.0] * 5)), Asked(series_of(sessions, [0.0] * 5))]
    with pytest.raises(DataError, match="More than one measure"):
        answers_of("Robin", asked, sessions[3].date)


def test_the_reference_beside_the_series(tmp_path: Path) -> None:
    """A kept swing as reference: its own value of the measure, and none where it cannot be known."""
    import hashlib

    from model_factory import swing_model

    from overlay.guides import guide_lines
    from overlay.measure import measure_swing
    from overlay.models import model_bytes
    from overlay.trends import with_reference

    model = swing_model()
    content = model_bytes(model)
    key = hashlib.sha256(content).hexdigest()
    path = library(tmp_path, compared())
    swing = model.swings["dtl"]
    expected = {measure.name: measure for measure in measure_swing(swing, guide_lines(swing)) if measure.valid}
    name = next(name for name in ("hips_line_release", "hand_depth_back") if name in expected)
    with open_store(path) as store:
        store.keep_reference(key, "January", content)
        answer = change_answer(store, "Robin Sparrow", name, since=FIRST, reference_key=key)
        unknown = change_answer(store, "Robin Sparrow", name, since=FIRST)
    assert answer.series.reference is not None
    assert answer.series.reference[0] == pytest.approx(expected[name].value, abs=0.02)
    # Of the reference that the swings were compared with only the name is kept here.
    assert unknown.series.reference is None
    series = answer.series
    assert with_reference(replace(series, name="hands.backswing", reference=None), model).reference is None
    assert with_reference(replace(series, view="other", reference=None), model).reference is None
    assert with_reference(replace(series, reference=None), None).reference is None
