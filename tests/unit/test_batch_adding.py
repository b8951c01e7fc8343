"""Clips into the library: what is known is left alone, what changed is read again, nothing is half-recorded."""

from __future__ import annotations

import dataclasses
import datetime
import os
import shutil
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest
from batch_factory import HerePool, golfer_track, still_track, write_track

from overlay.batch import AddReport, AddRow, AddSpec, ReadJob, Told, add_clips, add_outdated, report_document
from overlay.data import ClipRead
from overlay.errors import ContentError, InputError, OutputError, SetupError
from overlay.files import sha256_of
from overlay.library import Store, SwingFilter, open_store
from overlay.pipeline import ClipOptions
from overlay.pipeline.told import told_options

ROWAN = AddSpec(player="Rowan Vale", club="7 iron", date=datetime.date(2026, 5, 3))


@pytest.fixture(scope="module")
def originals(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("originals")
    return [write_track(folder / f"swing{i}.npz", i, "fo" if i == 2 else "dtl") for i in range(3)]


@pytest.fixture
def folder(tmp_path: Path, originals: list[Path]) -> Path:
    """A range session of three clips."""
    place = tmp_path / "range"
    place.mkdir()
    for path in originals:
        shutil.copy2(path, place)
    return place


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "library.sqlite") as opened:
        yield opened
        assert opened.check() == ()


def states(report: AddReport) -> dict[str, str]:
    return {row.path.name: row.state for row in report.rows}


def add(store: Store, *paths: Path, spec: AddSpec = ROWAN, **known: object) -> tuple[AddReport, list[str]]:
    """The report, and the names of what was read."""
    pool = HerePool()
    report = add_clips(store, paths, spec, pool, **known)  # type: ignore[arg-type]
    return report, pool.read


def test_a_folder_is_added_once(store: Store, folder: Path) -> None:
    told: list[AddRow] = []
    report, read = add(store, folder, told=told.append)
    assert states(report) == {"swing0.npz": "added", "swing1.npz": "added", "swing2.npz": "added"}
    assert report.exit_code == 0
    assert report.n_swings == 3
    (session,) = store.sessions()
    assert (session.player, session.club, session.date) == ("Rowan Vale", "7 iron", datetime.date(2026, 5, 3))
    assert (session.n_clips, session.n_swings) == (3, 3)
    assert {swing.view for swing in store.swings()} == {"dtl", "fo"}
    assert [row.read is not None for row in told] == [True] * 3
    assert [row.read for row in report.rows] == [None] * 3

    again, read = add(store, folder)
    assert set(states(again).values()) == {"known"}
    assert read == []
    assert [row.n_swings for row in again.rows] == [1, 1, 1]
    assert store.count_swings() == 3


def test_what_was_kept_is_what_was_read(store: Store, folder: Path) -> None:
    told: dict[str, ClipRead] = {}
    add(store, folder, told=lambda row: told.update({row.path.name: row.read}))  # type: ignore[dict-item]
    for clip in store.clips():
        read = told[clip.path.name].swings[0]
        (swing,) = (one for one in store.swings() if one.clip_id == clip.id)
        assert store.positions(swing.id) == read.positions
        kept = {measure.name: measure for measure in store.measures_of(swing.id)}
        assert {"tempo_ratio", "backswing_s", "downswing_s"} <= set(kept)
        assert kept["tempo_ratio"].value == pytest.approx(read.measures[-3].value)
        model = store.swing_model(swing.id)
        assert model.swings[swing.view].positions.times() == pytest.approx(read.positions.times())
        assert [finding.name for finding in store.filming_of(swing.id).findings] == [
            finding.name for finding in read.filming.findings
        ]


def test_the_same_content_is_one_clip(store: Store, folder: Path) -> None:
    shutil.copy(folder / "swing0.npz", folder / "zz copy.npz")
    report, _ = add(store, folder)
    assert states(report)["zz copy.npz"] == "skipped"
    row = next(row for row in report.rows if row.state == "skipped")
    assert "same clip as swing0.npz" in row.problem
    assert report.exit_code == 0
    assert len(store.clips()) == 3
    # In a later run the copy is simply known, and the first place stays.
    report, _ = add(store, folder / "zz copy.npz")
    assert states(report) == {"zz copy.npz": "known"}
    assert {clip.path.name for clip in store.clips()} == {"swing0.npz", "swing1.npz", "swing2.npz"}


def test_a_moved_file_is_found_again(store: Store, folder: Path, tmp_path: Path) -> None:
    add(store, folder)
    elsewhere = tmp_path / "archive"
    folder.rename(elsewhere)
    report, read = add(store, elsewhere)
    assert set(states(report).values()) == {"moved"}
    assert read == []
    assert {clip.path.parent for clip in store.clips()} == {elsewhere}


def test_what_is_told_newly_is_read_again_and_stays_told(store: Store, folder: Path) -> None:
    add(store, folder)
    (before,) = store.swings(SwingFilter(views=("fo",)))
    store.add_note("swing", before.id, "the one that felt right")
    store.mark_best(before.id)
    report, read = add(store, folder, spec=dataclasses.replace(ROWAN, options=ClipOptions(stature_cm=180.0)))
    assert set(states(report).values()) == {"renewed"}
    assert sorted(read) == ["swing0.npz", "swing1.npz", "swing2.npz"]
    (after,) = store.swings(SwingFilter(views=("fo",)))
    assert (after.id, after.is_best) == (before.id, True)
    assert [note.text for note in store.notes("swing", after.id)] == ["the one that felt right"]
    # What was told once stays told, until it is told otherwise or the clip is read --again as told now.
    report, read = add(store, folder)
    assert set(states(report).values()) == {"known"}
    assert {told_options(clip.told).stature_cm for clip in store.clips()} == {180.0}
    report, read = add(store, folder, spec=dataclasses.replace(ROWAN, again=True))
    assert set(states(report).values()) == {"renewed"}
    assert {told_options(clip.told).stature_cm for clip in store.clips()} == {None}


def test_what_is_known_of_the_player_is_told(store: Store, folder: Path) -> None:
    store.ensure_player("Rowan Vale", handedness="right", stature_cm=175.0)
    add(store, folder, spec=dataclasses.replace(ROWAN, player="rowan  vale"))
    assert {told_options(clip.told).handedness for clip in store.clips()} == {"right"}
    assert {told_options(clip.told).stature_cm for clip in store.clips()} == {175.0}
    assert [player.name for player in store.players()] == ["Rowan Vale"]


def test_a_mark_makes_a_clip_be_read_again(store: Store, folder: Path) -> None:
    from overlay.data import Marks
    from overlay.marks import save_marks

    add(store, folder)
    clip = folder / "swing1.npz"
    save_marks(clip, Marks(handedness="right"), sha256_of(clip))
    report, _ = add(store, folder)
    assert states(report) == {"swing0.npz": "known", "swing1.npz": "renewed", "swing2.npz": "known"}
    marked = {kept.path.name: store.clip_marks(kept.id) for kept in store.clips()}
    assert '"handedness": "right"' in marked["swing1.npz"]
    assert marked["swing0.npz"] == ""


def test_another_state_of_the_code_reads_again(
    store: Store, folder: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    from overlay.batch import adding, reading

    monkeypatch.setattr(reading, "engine", lambda: "an older one")
    monkeypatch.setattr(adding, "engine", lambda: "an older one")
    add(store, folder)
    store.ensure_player("Wren Alder")
    monkeypatch.setattr(reading, "engine", lambda: "a newer one")
    monkeypatch.setattr(adding, "engine", lambda: "a newer one")
    (folder / "swing0.npz").unlink()
    (folder / "swing1.npz").write_bytes(b"another file now")
    before = {swing.id for swing in store.swings()}
    pool = HerePool()
    report = add_outdated(store, None, pool)
    assert states(report) == {"swing0.npz": "skipped", "swing1.npz": "skipped", "swing2.npz": "renewed"}
    assert report.exit_code == 0
    assert pool.read == ["swing2.npz"]
    assert {clip.engine for clip in store.clips()} == {"an older one", "a newer one"}
    assert {swing.id for swing in store.swings()} == before
    assert add_outdated(store, AddSpec(player="Wren Alder"), HerePool()).rows == ()
    with pytest.raises(InputError, match="Nobody"):
        add_outdated(store, AddSpec(player="Nobody"), HerePool())


def test_a_failed_clip_is_kept_with_its_reason_and_not_tried_for_nothing(store: Store, folder: Path) -> None:
    still_track(folder / "practice.npz")
    report, read = add(store, folder)
    row = next(row for row in report.rows if row.state == "failed")
    assert "No full swing" in row.problem
    assert row.code == report.exit_code == 4
    assert store.sessions()[0].n_failed == 1
    report, read = add(store, folder)
    row = next(row for row in report.rows if row.state == "failed")
    assert "not tried again" in row.hint
    assert read == []
    assert report.exit_code == 4
    report, read = add(store, folder / "practice.npz", spec=dataclasses.replace(ROWAN, again=True))
    assert read == ["practice.npz"]


def test_a_reading_that_fails_now_does_not_cost_what_was_read_before(store: Store, folder: Path) -> None:
    """A clip whose marks were spoilt since."""
    add(store, folder)
    (folder / "swing0.npz.marks.json").write_text("{spoilt")
    report, _ = add(store, folder)
    row = next(row for row in report.rows if row.path.name == "swing0.npz")
    assert row.state == "failed"
    assert "What was read of it before stays." in row.hint
    assert store.count_swings() == 3


def test_a_clip_of_another_player_is_named(store: Store, folder: Path) -> None:
    add(store, folder)
    report, read = add(store, folder / "swing0.npz", spec=dataclasses.replace(ROWAN, player="Wren Alder"))
    (row,) = report.rows
    assert row.state == "skipped"
    assert "Rowan Vale" in row.problem
    assert report.exit_code == 5
    assert read == []


def test_sessions_are_days_and_clubs(store: Store, folder: Path) -> None:
    spec = dataclasses.replace(ROWAN, date=None)
    days = [datetime.datetime(2026, 5, day, 12, 0).timestamp() for day in (3, 3, 4)]
    for path, seconds in zip(sorted(folder.iterdir()), days):
        os.utime(path, (seconds, seconds))
    report, _ = add(store, folder, spec=spec)
    assert {row.dated_by for row in report.rows} == {"file"}
    assert sorted(session.date.day for session in store.sessions()) == [3, 4]
    # Told differently now: a clip lies in one session, and stays there.
    report, _ = add(store, folder, spec=dataclasses.replace(spec, club="driver"))
    assert {row.note for row in report.rows} == {
        "It stays in the session of 2026-05-03, 7 iron.",
        "It stays in the session of 2026-05-04, 7 iron.",
    }
    assert len(store.sessions()) == 2


def test_what_is_told_of_the_session_later_is_kept(store: Store, folder: Path) -> None:
    add(store, folder, spec=dataclasses.replace(ROWAN, place="Larkspur Range"))
    add(store, folder, spec=dataclasses.replace(ROWAN, worked_on="hands deeper", tags=("wind",)))
    (session,) = store.sessions()
    assert (session.place, session.worked_on) == ("Larkspur Range", "hands deeper")
    assert store.count_swings(SwingFilter(tags=("wind",))) == 3
    # Meant for another session: it does not touch the one in which the clips are.
    add(store, folder, spec=dataclasses.replace(ROWAN, club="driver", worked_on="tempo"))
    assert [session.worked_on for session in store.sessions()] == ["hands deeper"]


def test_a_clip_that_the_library_refuses_does_not_end_the_others(
    store: Store, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    known = store.keep

    def refusing(session_id: int, read: ClipRead) -> object:
        if read.path.name == "swing1.npz":
            store.remove_session(session_id)
        return known(session_id, read)

    monkeypatch.setattr(store, "keep", refusing)
    report, _ = add(store, folder)
    assert states(report) == {"swing0.npz": "added", "swing1.npz": "failed", "swing2.npz": "added"}
    assert report.exit_code == 3


def test_a_file_that_changes_while_it_is_read_is_not_recorded(store: Store, folder: Path) -> None:
    def grow(path: Path, stage: str) -> None:
        if path.name == "swing1.npz" and not stage:
            with open(path, "ab") as out:
                out.write(b"more")

    report, _ = add(store, folder, running=grow)
    row = next(row for row in report.rows if row.path.name == "swing1.npz")
    assert (row.state, row.code) == ("failed", 3)
    assert "changed while it was read" in row.problem
    assert {clip.path.name for clip in store.clips()} == {"swing0.npz", "swing2.npz"}


class MeddlingPool(HerePool):
    """Another program keeps the same clips while this one reads them."""

    def __init__(self, path: Path, spec: AddSpec) -> None:
        super().__init__()
        self.path, self.spec = path, spec

    def run(self, jobs: Iterable[ReadJob], told: Told | None = None) -> Iterator[ClipRead]:
        for read in super().run(jobs, told):
            with open_store(self.path) as other:
                add_clips(other, [read.path], self.spec, HerePool())
            yield read


def test_two_programs_add_the_same_folder(store: Store, folder: Path) -> None:
    report = add_clips(store, [folder], ROWAN, MeddlingPool(store.path, ROWAN))
    assert set(states(report).values()) == {"known"}
    assert [row.n_swings for row in report.rows] == [1, 1, 1]
    assert store.count_swings() == 3
    assert len(store.sessions()) == 1


def test_another_program_is_quicker_for_another_player(store: Store, folder: Path) -> None:
    other = dataclasses.replace(ROWAN, player="Wren Alder")
    report = add_clips(store, [folder / "swing0.npz"], ROWAN, MeddlingPool(store.path, other))
    assert states(report) == {"swing0.npz": "skipped"}
    assert "Wren Alder" in report.rows[0].problem


def test_an_interruption_keeps_what_was_done(store: Store, folder: Path) -> None:
    def stop(row: AddRow) -> None:
        if len(store.clips()) == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        add(store, folder, told=stop)
    assert len(store.clips()) == 2
    report, read = add(store, folder)
    assert sorted(states(report).values()) == ["added", "known", "known"]
    assert len(read) == 1


def test_swings_are_compared_where_the_reference_holds_the_view(store: Store, folder: Path, tmp_path: Path) -> None:
    reference = write_track(tmp_path / "reference.npz", 7, "dtl")
    report, _ = add(store, folder, spec=dataclasses.replace(ROWAN, reference=reference))
    assert report.reference_name == "reference"
    assert set(states(report).values()) == {"added"}
    noted = {row.path.name: row.note for row in report.rows}
    assert noted["swing0.npz"] == ""
    assert noted["swing2.npz"] == "Not compared with reference: it holds no swing face on."
    for swing in store.swings():
        comparison = store.comparison(swing.id)
        assert (comparison is not None) == (swing.view == "dtl")
        if comparison is not None:
            assert len(comparison.differences) == 54
            assert comparison.first
            assert store.reference(comparison.reference_key)[:2] == b"PK"
    # The same reference is the same tomorrow: nothing is read or compared again.
    keys = {store.comparison(swing.id).reference_key for swing in store.swings(SwingFilter(views=("dtl",)))}  # type: ignore[union-attr]
    again, read = add(store, folder, spec=dataclasses.replace(ROWAN, reference=reference))
    assert read == []
    assert {row.note for row in again.rows} == {""}
    assert len(keys) == 1


def test_what_is_known_is_compared_with_a_new_reference_from_what_was_kept(
    store: Store, folder: Path, tmp_path: Path
) -> None:
    reference = write_track(tmp_path / "reference.npz", 7, "dtl")
    add(store, folder / "swing1.npz", spec=dataclasses.replace(ROWAN, reference=reference))
    add(store, folder)
    report, read = add(store, folder, spec=dataclasses.replace(ROWAN, reference=reference))
    assert read == []
    assert {row.path.name: row.note for row in report.rows} == {
        "swing0.npz": "Now compared with reference.",
        "swing1.npz": "",
        "swing2.npz": "",
    }
    direct, kept = (
        next(store.comparison(swing.id) for swing in store.swings() if swing.path.name == name)
        for name in ("swing1.npz", "swing0.npz")
    )
    assert direct is not None
    assert kept is not None
    assert direct.reference_key == kept.reference_key


def test_a_comparison_from_what_was_kept_is_the_one_of_the_clip(store: Store, folder: Path, tmp_path: Path) -> None:
    reference = write_track(tmp_path / "reference.npz", 7, "dtl")
    clip = folder / "swing1.npz"
    add(store, clip, spec=dataclasses.replace(ROWAN, reference=reference))
    (swing,) = store.swings()
    direct = store.comparison(swing.id)
    store.remove_clip(swing.clip_id)
    add(store, clip)
    add(store, clip, spec=dataclasses.replace(ROWAN, reference=reference))
    (swing,) = store.swings()
    kept = store.comparison(swing.id)
    assert direct is not None
    assert kept is not None
    for one, other in zip(direct.differences, kept.differences, strict=True):
        assert (one.phase, one.part, one.words) == (other.phase, other.part, other.words)
        assert other.value == pytest.approx(one.value, abs=1e-6, nan_ok=True)


def test_best_is_the_players_own(store: Store, folder: Path) -> None:
    add(store, folder)
    (one,) = (swing for swing in store.swings() if swing.path.name == "swing0.npz")
    with pytest.raises(InputError, match="best"):
        add(store, folder, spec=dataclasses.replace(ROWAN, reference="best"))
    store.mark_best(one.id)
    store.ensure_player("Rowan Vale", reference="best")
    report, _ = add(store, folder)
    assert report.reference_name.startswith("best of Rowan Vale")
    # Not with itself: its zeros would count in the means of its session.
    assert {row.path.name for row in report.rows if row.note} == {"swing1.npz"}
    assert store.comparison(one.id) is None
    again = dataclasses.replace(ROWAN, again=True)
    report, _ = add(store, folder / "swing0.npz", spec=again)
    assert "the reference itself" in report.rows[0].note
    assert store.comparison(one.id) is None
    report, _ = add(store, folder, spec=dataclasses.replace(ROWAN, reference="none"))
    assert report.reference_name == ""


def test_a_usual_reference_that_is_gone_is_a_note(store: Store, folder: Path) -> None:
    store.ensure_player("Rowan Vale", reference="spring model")
    report, _ = add(store, folder / "swing0.npz")
    assert states(report) == {"swing0.npz": "added"}
    assert "spring model" in report.notes[0]


def test_what_is_not_there_is_told_before_any_work(store: Store, folder: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no file or folder"):
        add(store, folder, tmp_path / "nothing.mp4")
    with pytest.raises(InputError, match="no file nobody"):
        add(store, folder, spec=dataclasses.replace(ROWAN, reference="nobody"))
    (tmp_path / "empty").mkdir()
    with pytest.raises(ContentError, match="no clip"):
        add(store, tmp_path / "empty")
    assert store.players() == ()


def test_a_clip_that_is_cut_off_is_not_read(store: Store, folder: Path) -> None:
    """Its swing may be in it, and would count a second time once the whole clip is there."""
    half = folder / "half.mp4"
    half.write_bytes((16).to_bytes(4, "big") + b"ftypisom\0\0\0\0" + (9999).to_bytes(4, "big") + b"mdat" + b"x" * 500)
    report, read = add(store, half)
    assert read == []
    assert (report.rows[0].state, report.rows[0].problem) == ("failed", "half.mp4 is cut off: its end is missing.")
    assert store.clips() == ()
    # All of the last box is there: whatever else is wrong with it, the reader says.
    half.write_bytes((16).to_bytes(4, "big") + b"ftypisom\0\0\0\0" + (508).to_bytes(4, "big") + b"mdat" + b"x" * 500)
    report, read = add(store, half)
    assert read == ["half.mp4"]


def test_half_a_copy_is_forgotten_once_it_is_whole(store: Store, folder: Path) -> None:
    clip = folder / "swing0.npz"
    whole = clip.read_bytes()
    clip.write_bytes(whole[:3000])
    assert add(store, clip)[0].rows[0].state == "failed"
    clip.write_bytes(whole[:4000])
    assert add(store, clip)[0].rows[0].state == "failed"
    (session,) = store.sessions()
    noted = store.clips()[0]
    store.add_note("clip", noted.id, "the phone ran out of battery")
    clip.write_bytes(whole)
    assert add(store, clip)[0].rows[0].state == "added"
    assert [(one.id == noted.id, bool(one.problem)) for one in store.clips(session.id)] in (
        [(True, True), (False, False)],
        [(False, False), (True, True)],
    )
    # Another content under the name of one that was read: both swings were hit.
    clip.write_bytes((folder / "swing1.npz").read_bytes())
    add(store, clip)
    assert store.count_swings() == 2


def test_hostile_files_fail_one_by_one(store: Store, folder: Path) -> None:
    (folder / "empty.mp4").touch()
    (folder / "text.mp4").write_text("not a video")
    (folder / "-dash\n😀.mp4").write_bytes(b"\x00" * 100)
    (folder / "dir.mp4").mkdir()
    (folder / "loop").symlink_to(folder, target_is_directory=True)
    report, _ = add(store, folder)
    found = states(report)
    assert found["swing0.npz"] == found["swing1.npz"] == found["swing2.npz"] == "added"
    assert found["empty.mp4"] == found["text.mp4"] == found["-dash\n😀.mp4"] == "failed"
    assert report.exit_code == 3
    assert all(row.hint for row in report.rows if row.problem)
    # An empty file has no content to be known by.
    assert "empty.mp4" not in {clip.path.name for clip in store.clips()}
    document = report_document(report)
    assert document["counts"] == {"added": 3, "failed": 3}
    assert [one["path"] for one in document["left_out"]] == [str(folder / "loop")]


@pytest.mark.pose
def test_a_film_in_which_nobody_is_seen(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its own day is that of its session, though its file is of today."""
    import av
    import numpy as np

    monkeypatch.setenv("OVERLAY_CACHE_DIR", str(tmp_path / "cache"))
    path = tmp_path / "wall.mp4"
    with av.open(str(path), "w") as out:
        out.metadata["creation_time"] = "2026-05-01T12:00:00.000000Z"
        stream = out.add_stream("mpeg4", rate=30)
        stream.width, stream.height, stream.pix_fmt = 128, 128, "yuv420p"
        for _ in range(30):
            out.mux(stream.encode(av.VideoFrame.from_ndarray(np.full((128, 128, 3), 90, np.uint8))))
        out.mux(stream.encode())
    report, _ = add(store, path, spec=dataclasses.replace(ROWAN, date=None))
    (row,) = report.rows
    assert (row.state, row.code, row.dated_by) == ("failed", 4, "clip")
    assert row.problem
    assert row.hint
    (session,) = store.sessions()
    assert abs(session.date - datetime.date(2026, 5, 1)) <= datetime.timedelta(days=1)
    assert (session.n_clips, session.n_failed) == (0, 1)
    (clip,) = store.clips()
    assert clip.recorded_at == datetime.datetime(2026, 5, 1, 12, tzinfo=datetime.UTC).timestamp()


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may read everything")
def test_an_unreadable_file_fails_alone(store: Store, folder: Path) -> None:
    (folder / "swing0.npz").chmod(0)
    report, _ = add(store, folder)
    assert states(report)["swing0.npz"] == "failed"


@pytest.mark.parametrize(
    ("fault", "code", "said"),
    [
        (ZeroDivisionError("nobody thought of it"), 70, "ZeroDivisionError"),
        (MemoryError(), 70, "not enough memory"),
        (SetupError("The pose model is not there.", "Fetch it."), 7, "pose model"),
        (OutputError("The disk is full.", "Free some space."), 6, "disk"),
    ],
)
def test_what_is_not_the_clips_fault_is_told_and_tried_again(
    store: Store, folder: Path, monkeypatch: pytest.MonkeyPatch, fault: Exception, code: int, said: str
) -> None:
    from overlay.batch import reading

    known = reading.inspect_clip

    def broken(path: Path, *given: object, **named: object) -> object:
        if path.name == "swing1.npz":
            raise fault
        return known(path, *given, **named)  # type: ignore[arg-type]

    with monkeypatch.context() as patch:
        patch.setattr(reading, "inspect_clip", broken)
        report, _ = add(store, folder)
    assert states(report) == {"swing0.npz": "added", "swing1.npz": "failed", "swing2.npz": "added"}
    row = next(row for row in report.rows if row.state == "failed")
    assert (row.code, report.exit_code) == (code, code)
    assert said in row.problem
    assert {clip.path.name for clip in store.clips()} == {"swing0.npz", "swing2.npz"}
    report, read = add(store, folder)
    assert read == ["swing1.npz"]
    assert states(report)["swing1.npz"] == "added"


def test_without_a_pose_model_nothing_is_begun(store: Store, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def missing(progress: object) -> Path:
        raise SetupError("The pose model cannot be fetched.", "Connect to the network once.")

    class HereWithModel(HerePool):
        reads_here = True

    monkeypatch.setattr("overlay.pose.model.ensure_model", missing)
    pool = HereWithModel()
    # Saved tracks need none.
    add_clips(store, [folder], ROWAN, pool)
    (folder / "film.mp4").write_bytes(b"x")
    with pytest.raises(SetupError, match="cannot be fetched"):
        add_clips(store, [folder / "film.mp4"], ROWAN, pool)
    assert store.count_swings() == 3


def test_several_kinds_of_failure_have_a_code_of_their_own(folder: Path) -> None:
    rows = tuple(AddRow(folder, "failed", problem="x", code=code) for code in (3, 4))
    assert AddReport(rows).exit_code == 1
    assert AddReport(rows[:1]).exit_code == 3
    assert AddReport(()).exit_code == 0


def test_every_swing_of_a_long_recording_is_kept(store: Store, tmp_path: Path) -> None:
    """Two swings in one file: two swings in the library, each compared by itself."""
    import numpy as np

    from overlay.data import PoseTrack
    from overlay.pose import save_track

    one, other = golfer_track(0), golfer_track(1)
    step_s = float(np.median(np.diff(one.time_s)))
    joined = PoseTrack(
        points=np.concatenate([one.points, other.points]),
        depth=np.concatenate([one.depth, other.depth]),
        visibility=np.concatenate([one.visibility, other.visibility]),
        time_s=np.concatenate([one.time_s, other.time_s - other.time_s[0] + one.time_s[-1] + step_s]),
        image_size=one.image_size,
        source="test",
    )
    path = tmp_path / "long.npz"
    save_track(path, joined, view="dtl", handedness="right")
    reference = write_track(tmp_path / "reference.npz", 7, "dtl")
    report, _ = add(store, path, spec=dataclasses.replace(ROWAN, reference=reference))
    assert report.rows[0].n_swings == 2
    first, second = store.swings(sort="id", descending=False)
    assert (first.number, second.number) == (1, 2)
    assert first.impact_s < one.time_s[-1] < second.impact_s
    values = [[row.interval for row in store.comparison(swing.id).differences] for swing in (first, second)]  # type: ignore[union-attr]
    assert values[0] != values[1]
