"""Asking the library: which series, from which day on, against which reference, seen by which cameras."""

from __future__ import annotations

import datetime
import difflib
import math
import shlex
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from overlay.data import (
    AIMS,
    Aim,
    CameraShift,
    ChangeAnswer,
    DifferenceName,
    MeasureSeries,
    Model,
    Player,
    Session,
    SessionCamera,
    SpaceTrack,
)
from overlay.errors import DataError, InputError
from overlay.plots.words import measure_words, named_so
from overlay.settings.holding import HoldingSettings
from overlay.terms import VIEW_WORDS, View
from overlay.trends.judging import Asked, Changed, answers_of, mean_of
from overlay.trends.reference import kept_model, with_reference
from overlay.trends.series import DEFAULTS, declared_focus, first_day_of, one_club

if TYPE_CHECKING:
    from overlay.library import Store


def change_answer(
    store: Store,
    player: str,
    measure: str,
    *,
    since: datetime.date | None = None,
    view: View | None = None,
    club: str | None = None,
    focus: str | None = None,
    aim: Aim | None = None,
    reference_key: str | None = None,
    space: SpaceTrack | None = None,
    settings: HoldingSettings = DEFAULTS,
) -> ChangeAnswer:
    """Everything said about one measure of one player; see ``change_answers``.

    It is tested by itself: asking for one measure is declaring it.
    """
    name = known_measure(store, player, measure, settings)
    return change_answers(
        store,
        player,
        [name],
        since=since,
        view=view,
        club=club,
        focus=focus,
        aim=aim,
        reference_key=reference_key,
        space=space,
        settings=settings,
    )[0]


def change_answers(
    store: Store,
    player: str,
    measures: Sequence[str] = (),
    *,
    since: datetime.date | None = None,
    view: View | None = None,
    club: str | None = None,
    focus: str | None = None,
    aim: Aim | None = None,
    reference_key: str | None = None,
    space: SpaceTrack | None = None,
    settings: HoldingSettings = DEFAULTS,
) -> tuple[ChangeAnswer, ...]:
    """The answers on several measures of one player: the focus first and by itself, the others together by Holm.

    Parameters
    ----------
    measures : sequence of str
        Names of measures, or of differences to a kept reference (``hands.backswing.x``); all that are kept of the
        player when empty.
    since : date, optional
        First day of the later sessions; the day of the first session whose declared focus is the focus measure when
        left out.
    view, club : optional
        Each measure is of one view, and all are of one club: those with most swings when left out.
    focus : str, optional
        The declared measure; that of the newest session that declares one when left out. One measure alone is its own
        focus.
    aim : Aim, optional
        Of the focus; what was declared with it when left out.
    reference_key : str, optional
        Hex SHA-256 of the model file that differences are to.
    space : SpaceTrack, optional
        A usual swing, through which the cameras are looked at; nothing is said of them without.

    Raises
    ------
    InputError
        No such player or measure; no session; not told since when.
    """
    who = store.player(player)
    sessions = store.sessions(who.name)
    if not sessions:
        raise InputError(
            f"No session of {who.name} is kept.",
            f"`overlay add CLIPS --player {shlex.quote(who.name)}` reads clips and keeps them.",
        )
    if aim is not None and aim not in AIMS:
        raise DataError(f"{aim!r} is no aim.", f"Use one of {', '.join(AIMS)}.")
    names = list(dict.fromkeys(known_measure(store, who.name, name, settings) for name in measures))
    focus_name = known_measure(store, who.name, focus, settings) if focus else ""
    if not focus_name:
        focus_name = names[0] if len(names) == 1 else declared_focus(sessions)[0]
    if not names:
        names = _kept_measures(store, who.name, view)
        if DifferenceName.parse(focus_name) is not None:
            names.append(focus_name)
    names.sort(key=lambda name: (name != focus_name, measure_words(name).order, name))
    day = since or (first_day_of(sessions, focus_name) if focus_name else None)
    if day is None:
        raise _not_told_since(who.name, focus_name, sessions)
    aim = aim or declared_focus(sessions, focus_name)[1]
    if reference_key is None:
        # Differences to two references are not mixed: the one that most swings were compared with.
        reference_key = next((key for key, _, _ in store.references(who.name)), None)
    model = kept_model(store, reference_key)
    asked: list[Asked] = []
    for name in names:
        is_focus = name == focus_name
        try:
            series, notes = _series(store, who.name, name, view, reference_key)
            # All answers are about one club: that of the first.
            series, chosen = one_club(series, club)
            if not len(series.value):
                raise _no_value(who.name, name, club, view)
        except InputError:
            if measures:
                raise
            continue
        club = series.sessions[0].club
        if view is None and chosen_view(store, who.name, name):
            notes.append(f"Only swings {VIEW_WORDS[series.view]} count; --view chooses the others.")
        if is_focus and declared_focus(sessions, name)[0] != name:
            notes.append(
                "No session declares this measure as its focus: of twenty measures that are looked through for a "
                "change, one is found by chance. Declare what is worked on before it changes."
            )
        notes = [note for note in (chosen, *notes) if note]
        asked.append(Asked(with_reference(series, model), aim if is_focus else "either", is_focus, tuple(notes)))
    if not asked:
        raise _no_value(who.name, focus_name or "any measure", club, view)
    if not measures and focus_name and not any(one.is_focus for one in asked):
        missing = f"The focus {focus_name} itself has no valid value here."
        asked = [replace(one, notes=(missing, *one.notes)) for one in asked]
    look = None if space is None else _Look(store, who, space, reference_key, model)
    failed = _failed_swings(store, [one.series for one in asked])
    if mixed := _mixed_engines(store, who.name, [one.series for one in asked]):
        asked = [replace(one, notes=(*one.notes, mixed)) for one in asked]
    return answers_of(who.name, asked, day, look=look, failed=failed, settings=settings)


def chosen_view(store: Store, player: str, measure: str) -> bool:
    """Whether the measure is kept in more than one view of this player, so that one had to be chosen."""
    return len({row[2] for row in store.measure_names(player) if row[0] == measure}) > 1


def known_measure(store: Store, player: str, name: str, settings: HoldingSettings = DEFAULTS) -> str:
    """The measure as it is kept of this player: ``Hand depth back`` is ``hand_depth_back``.

    Raises
    ------
    InputError
        Nothing of that name is kept; the hint names the nearest ones.
    """
    word = "_".join(name.lower().replace("-", " ").replace("_", " ").split())
    kept = list(dict.fromkeys(row[0] for row in store.measure_names(player)))
    if word in kept:
        return word
    try:
        if DifferenceName.parse(word) is not None:
            return word
    except DataError:
        pass
    shown = " ".join(name.split())[:60]
    called = named_so(name, kept)
    if len(called) == 1:
        return called[0]
    if called:
        raise InputError(f"Several measures of {player} are called {shown}.", f"Say which: {', '.join(called)}.")
    if not kept:
        raise InputError(
            f"No measure of {player} is kept, so there is no {shown}.",
            f"`overlay add CLIPS --player {shlex.quote(player)}` reads clips and keeps what is measured.",
        )
    near = difflib.get_close_matches(word, kept, settings.near_names, 0.5)
    near = near or [one for one in kept if word and word in one][: settings.near_names]
    hint = f"Did you mean {' or '.join(near)}?" if near else f"Names are: {', '.join(kept)}."
    raise InputError(f"There is no measure {shown} of {player}.", hint)


def _kept_measures(store: Store, player: str, view: View | None) -> list[str]:
    return list(dict.fromkeys(row[0] for row in store.measure_names(player) if view in (None, row[2])))


def _not_told_since(player: str, focus: str, sessions: Sequence[Session]) -> InputError:
    newest = max(sessions, key=lambda session: (session.date, session.id))
    other = declared_focus(sessions)[0]
    day = first_day_of(sessions, other) if other else None
    said = newest.date.isoformat() if day is None else f"{day.isoformat()} (since when {other} is the focus)"
    what = f"no session of {player} declares {focus} as its focus" if focus else f"no session of {player} has a focus"
    return InputError(
        f"Since when is not told: {what}.",
        f"Give the first day of the later sessions, such as --since {said}, or declare a session's focus: "
        f"`overlay session {newest.id} --focus {focus or 'MEASURE'}`.",
    )


def _no_value(player: str, measure: str, club: str | None, view: View | None) -> InputError:
    narrowed = [f"with the {club}" if club else "", VIEW_WORDS[view] if view else ""]
    told = " ".join(word for word in narrowed if word)
    return InputError(
        f"No swing of {player}{' ' + told if told else ''} has a valid value of {measure}.",
        "`overlay swings` lists what is kept; another club or view may have it."
        if told
        else "`overlay swings` lists what is kept.",
    )


def reference_key_of(store: Store, player: str, text: str) -> str:
    """The key of the reference that ``text`` names: a name, a key, or the beginning of one.

    Raises
    ------
    InputError
        No swing of this player is compared with such a reference, or with several of that name.
    """
    known = store.references(player)
    word = " ".join(text.split()).casefold()
    found = [row for row in known if row[1].casefold() == word]
    found = found or [row for row in known if len(word) >= 6 and row[0].startswith(word)]
    if len(found) == 1:
        return found[0][0]
    shown = " ".join(text.split())[:60]
    if found:
        keys = ", ".join(f"{key[:10]} ({n} swings)" for key, _, n in found)
        raise InputError(
            f"Swings of {player} are compared with {len(found)} references named {shown}, which are not mixed.",
            f"Say which by the beginning of its key: {keys}.",
        )
    names = ", ".join(dict.fromkeys(name for _, name, _ in known))
    raise InputError(
        f"No swing of {player} is compared with {shown}.",
        f"References of this player are: {names}." if names else "`overlay add … --reference REFERENCE` compares.",
    )


def _series(
    store: Store, player: str, name: str, view: View | None, reference_key: str | None
) -> tuple[MeasureSeries, list[str]]:
    if DifferenceName.parse(name) is None:
        return store.series(player, name, view=view), []
    known = store.references(player)
    series = store.series(player, name, view=view, reference_key=reference_key)
    notes = []
    others = [f"{title} ({n} swings)" for key, title, n in known if key != reference_key]
    if others:
        title, n = next(((title, n) for key, title, n in known if key == reference_key), ("this reference", 0))
        notes.append(
            f"Differences are those to {title} ({n} swings). Those to {', '.join(others)} are left out: differences to "
            "two references are not mixed."
        )
    return series, notes


def _mixed_engines(store: Store, player: str, series: Sequence[MeasureSeries]) -> str:
    """A note where the clips were not all read by the same code: then it is not only the swing that may differ."""
    sessions = sorted({int(session) for one in series for session in one.session_id})
    engines = {clip.engine for session in sessions for clip in store.clips(session) if clip.n_swings}
    if len(engines) < 2:
        return ""
    return (
        "Not all clips were read by the same version of overlay, which alone can change a measure: "
        f"`overlay add --outdated --player {shlex.quote(player)}` reads the older ones again."
    )


def _failed_swings(store: Store, series: Sequence[MeasureSeries]) -> dict[tuple[int, View], int]:
    """(session, view) → swings whose filming check failed."""
    from overlay.library import SwingFilter

    views = {one.view for one in series}
    sessions = {int(session) for one in series for session in one.session_id}
    counts: dict[tuple[int, View], int] = {}
    if sessions:
        for swing in store.swings(SwingFilter(sessions=tuple(sorted(sessions)), views=tuple(sorted(views)))):
            if swing.filming == "fail":
                key = (swing.session_id, swing.view)
                counts[key] = counts.get(key, 0) + 1
    return counts


class _Look:
    """The cameras of the library's sessions, looked at through a usual swing."""

    def __init__(
        self, store: Store, player: Player, space: SpaceTrack, reference_key: str | None, model: Model | None
    ) -> None:
        self._model = model
        self._store = store
        self._player = player.name
        self._reference_key = reference_key
        self._space = space
        self._stature_cm = player.stature_cm

    def __call__(
        self, series: MeasureSeries, changed: Changed, baseline: Sequence[int], later: Sequence[int]
    ) -> CameraShift | None:
        from overlay.explain.sessions import camera_shift

        if series.view not in ("dtl", "fo"):
            return None
        name = DifferenceName.parse(series.name)
        difference, own_camera = None, False
        if name is not None:
            own_camera = self._is_in_space()
            if not name.axis:
                difference = self._mean_difference(name, series.view, baseline)
        return camera_shift(
            series.name,
            series.view,
            changed,
            self._cameras(baseline, series.view),
            self._cameras(later, series.view),
            space=self._space,
            stature_cm=self._stature_cm,
            difference=difference,
            own_camera=own_camera,
        )

    def _cameras(self, sessions: Sequence[int], view: View) -> list[SessionCamera]:
        seen = {camera.session_id: camera for camera in self._store.session_cameras(sessions, view)}
        # A session of which nothing is known may have been filmed from anywhere.
        return [seen.get(session) or SessionCamera(session, view, 0) for session in sessions]

    def _is_in_space(self) -> bool:
        """Whether the reference is a swing in space, which was looked at through each clip's own camera.

        Where only its name is kept it is taken for a filmed one, so that the cameras count.
        """
        return self._model is not None and self._model.space is not None

    def _mean_difference(self, name: DifferenceName, view: View, sessions: Sequence[int]) -> tuple[float, float] | None:
        """Mean signed difference (right, down) of these sessions."""
        x, y = (
            mean_of(
                self._store.series(self._player, f"{name.part}.{name.phase}.{axis}", view=view,
                                   reference_key=self._reference_key),
                sessions,
            )
            for axis in ("x", "y")
        )  # fmt: skip
        return (x, y) if math.isfinite(x) and math.isfinite(y) else None
