"""The document of a model read back into the data types: every value checked, nothing guessed, nothing left over."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, cast

import numpy as np

from overlay.arrays import AnyArray, FloatArray
from overlay.data import (
    CLUB_STATES,
    Ball,
    Band,
    CameraMotion,
    ClubTrack,
    FilmingFinding,
    FilmingReport,
    FilmingVerdict,
    KeptPictures,
    Model,
    ModelKind,
    PoseTrack,
    Position,
    Positions,
    Provenance,
    SpaceTrack,
    Spread,
    Strike,
    StrikeClue,
    Swing,
    TimeMap,
)
from overlay.landmarks import N_LANDMARKS
from overlay.models.archive import Archive
from overlay.models.checks import Fault, Fields, check_name
from overlay.models.encoded import check_jpeg, check_png
from overlay.models.writing import KIND, SCHEMA
from overlay.settings.models import KeptPictureSettings, ModelSettings
from overlay.terms import PARTS, PHASES, POSITION_NAMES, SOURCE_WORDS, Handedness, Source, View

VIEWS: tuple[View, ...] = ("dtl", "fo", "other")
HANDS = ("right", "left")
VERDICTS = ("pass", "warn", "fail", "not seen")
FLOATS = ("<f8", "<f4")


def check_schema(document: Fields) -> None:
    """Refuse what is no model, or was written by a newer overlay.

    Raises
    ------
    Fault
    """
    if not document.has("kind") or document.raw("kind") != KIND:
        raise Fault("it is not a model of overlay", f'A model\'s model.json says "kind": "{KIND}".')
    schema = document.whole("schema", 1, 10**9)
    if schema > SCHEMA:
        raise Fault(f"it was written by a newer overlay (schema {schema}; this one reads {SCHEMA})", "Update overlay.")


class _Reader:
    """Builds the parts of a model from a document and the archive it came in."""

    def __init__(self, archive: Archive, settings: ModelSettings, kept: KeptPictureSettings) -> None:
        self.archive = archive
        self.settings = settings
        self.kept = kept
        self.used = {"model.json"}

    def array(self, name: str, shape: tuple[int, ...], low: float, high: float, *, lost: bool = True) -> FloatArray:
        """Numbers within limits; ``lost``: NaN among them."""
        part = f"arrays/{name}.npy"
        self.used.add(part)
        with np.errstate(invalid="ignore"):  # a NaN of another kind than usual
            values = np.asarray(self.archive.read_array(part, shape, FLOATS), np.float64)
        inside = (values >= low) & (values <= high)
        if lost:
            inside |= np.isnan(values)
        if not np.all(inside):
            raise Fault(f"its part {part} holds values outside {low:g}…{high:g}")
        return values

    def places(self, name: str, shape: tuple[int, ...]) -> FloatArray:
        """Points of the picture, each known or missing as a whole."""
        px = self.settings.max_px
        points = self.array(name, shape, -px, px)
        missing = np.isnan(points)
        if np.any(missing[..., 0] != missing[..., 1]):
            raise Fault(f"its part arrays/{name}.npy holds points of which one coordinate is missing")
        return points

    def flags(self, name: str, shape: tuple[int, ...]) -> AnyArray:
        part = f"arrays/{name}.npy"
        self.used.add(part)
        return self.archive.read_array(part, shape, ("|b1",))

    def codes(self, name: str, n: int, count: int) -> list[int]:
        part = f"arrays/{name}.npy"
        self.used.add(part)
        values = self.archive.read_array(part, (n,), ("|u1",))
        if np.any(values >= count):
            raise Fault(f"its part {part} holds values that mean nothing")
        return [int(value) for value in values]

    def times(self, name: str, n: int) -> FloatArray:
        limit = self.settings.max_time_s
        times = self.array(name, (n,), -limit, limit, lost=False)
        if n and times[-1] - times[0] > self.settings.max_swing_s:
            raise Fault(f"its part arrays/{name}.npy lasts {times[-1] - times[0]:.0f} s, which no swing does")
        return times

    def swing(self, view: str, fields: Fields) -> Swing:
        px = self.settings.max_px
        pose = self.pose(view, fields.object("pose"))
        n_club, n_motion = (self.frames(fields.optional_object(name), 1) for name in ("club", "camera_motion"))
        club = motion = None
        if n_club:
            states = self.codes(f"{view}.club.state", n_club, len(CLUB_STATES))
            club = ClubTrack(
                time_s=self.times(f"{view}.club.time_s", n_club),
                grip=self.places(f"{view}.club.grip", (n_club, 2)),
                angle_deg=self.array(f"{view}.club.angle_deg", (n_club,), -1e5, 1e5),
                length_px=self.array(f"{view}.club.length_px", (n_club,), -px, px),
                state=tuple(CLUB_STATES[state] for state in states),
                angle_sd_deg=self.array(f"{view}.club.angle_sd_deg", (n_club,), 0.0, 1e5),
            )
        if n_motion:
            motion = CameraMotion(
                time_s=self.times(f"{view}.camera.time_s", n_motion),
                matrices=self.array(f"{view}.camera.matrices", (n_motion, 2, 3), -px, px),
            )
        span = (float(pose.time_s[0]), float(pose.time_s[-1]))
        return Swing(
            clip=None,
            pose=pose,
            view=cast("View", fields.word("view", VIEWS)),
            view_confidence=fields.number("view_confidence", 0.0, 1.0),
            handedness=cast("Handedness", fields.word("handedness", HANDS)),
            handedness_confidence=fields.number("handedness_confidence", 0.0, 1.0),
            positions=self.positions(fields.object("positions"), span),
            club=club,
            swing_number=fields.whole("swing_number", 1, 1_000_000),
            torso_px=fields.number("torso_px", 1e-3, px, lost=True),
            quality=fields.number_table("quality"),
            notes=fields.texts("notes"),
            strike=self.strike(fields.optional_object("strike")),
            camera_motion=motion,
        )

    def frames(self, fields: Fields | None, least: int) -> int:
        """How many frames a track has; 0 when there is no track."""
        if fields is None:
            return 0
        frames = fields.whole("frames", least, self.settings.max_frames)
        fields.done()
        return frames

    def pose(self, view: str, fields: Fields) -> PoseTrack:
        px = self.settings.max_px
        n = fields.whole("frames", 2, self.settings.max_frames)
        width, height = fields.wholes("image_size", 2, 0, 100_000)
        track = PoseTrack(
            points=self.places(f"{view}.pose.points", (n, N_LANDMARKS, 2)),
            depth=self.array(f"{view}.pose.depth", (n, N_LANDMARKS), -px, px),
            visibility=self.array(f"{view}.pose.visibility", (n, N_LANDMARKS), 0.0, 1.0, lost=False),
            time_s=self.times(f"{view}.pose.time_s", n),
            image_size=(width, height),
            source=fields.text("source"),
            model=fields.text("model"),
            filled=self.flags(f"{view}.pose.filled", (n, N_LANDMARKS)),
            log=fields.texts("log"),
        )
        fields.done()
        return track

    def positions(self, fields: Fields, span: tuple[float, float]) -> Positions:
        slack = self.settings.outside_s
        found = tuple(
            Position(
                name=row.word("name", POSITION_NAMES),
                time_s=row.number("time_s", span[0] - slack, span[1] + slack),
                confidence=row.number("confidence", 0.0, 1.0),
                source=cast("Source", row.word("source", tuple(SOURCE_WORDS))),
                sd_s=row.optional_number("sd_s", 0.0, self.settings.max_swing_s, lost=True),
            )
            for row in fields.objects("found", len(POSITION_NAMES))
        )
        missing = fields.text_table("missing", len(POSITION_NAMES))
        fields.done()
        return Positions(found, missing)

    def strike(self, fields: Fields | None) -> Strike | None:
        if fields is None:
            return None
        limit = self.settings.max_time_s
        ball = None
        at = fields.optional_object("ball")
        if at is not None:
            x, y = at.numbers("place", 2, -self.settings.max_px, self.settings.max_px)
            ball = Ball(
                place=(x, y),
                diameter_px=at.number("diameter_px", 0.0, self.settings.max_px, lost=True),
                confidence=at.number("confidence", 0.0, 1.0),
                last_seen_s=at.number("last_seen_s", -limit, limit, lost=True),
                gone_s=at.number("gone_s", -limit, limit, lost=True),
            )
            at.done()
        strike = Strike(
            time_s=fields.number("time_s", -limit, limit, lost=True),
            sd_s=fields.number("sd_s", 0.0, limit, lost=True),
            struck=fields.flag("struck"),
            ball=ball,
            clues=tuple(
                StrikeClue(
                    source=cast("Source", row.word("source", tuple(SOURCE_WORDS))),
                    time_s=row.number("time_s", -limit, limit, lost=True),
                    sd_s=row.number("sd_s", 0.0, limit, lost=True),
                )
                for row in fields.objects("clues", 100)
            ),
            reason=fields.text("reason"),
        )
        fields.done()
        return strike

    def space(self, fields: Fields | None) -> SpaceTrack | None:
        if fields is None:
            return None
        m = self.settings.max_metres
        n = fields.whole("frames", 2, self.settings.max_frames)
        times = self.times("space.time_s", n)
        track = SpaceTrack(
            time_s=times,
            points=self.array("space.points", (n, N_LANDMARKS, 3), -m, m, lost=False),
            grip=self.array("space.grip", (n, 3), -m, m, lost=False),
            club_head=self.array("space.club_head", (n, 3), -m, m, lost=False),
            ball=self.place(fields),
            positions=self.positions(fields.object("positions"), (float(times[0]), float(times[-1]))),
            handedness=cast("Handedness", fields.word("handedness", HANDS)),
            stature_m=fields.number("stature_m", 0.0, 10.0),
            club_kind=fields.text("club_kind"),
        )
        fields.done()
        return track

    def place(self, fields: Fields) -> FloatArray | None:
        """The ball of a swing in space; None for null."""
        m = self.settings.max_metres
        value = fields.raw("ball")
        if value is None:
            return None
        inner = Fields({"ball": value}, fields.where, self.settings)
        return np.array(inner.numbers("ball", 3, -m, m), np.float64)

    def band(self, fields: Fields) -> Band:
        spreads: dict[tuple[str, str], Spread] = {}
        names = tuple(phase.name for phase in PHASES)
        n_swings = fields.whole("n_swings", 1, 100_000)
        of = fields.word("of", ("", "one player", "several players"))
        for row in fields.objects("spreads", len(PHASES) * len(PARTS)):
            key = row.word("phase", names), row.word("part", PARTS)
            if key in spreads:
                raise Fault(f"{row.where} gives the spread of {key[1]} in {key[0]} again")
            spreads[key] = Spread(row.number("sd", 0.0, 1e3), row.number("df", 1.0, 1e9, lost=False))
        return Band(n_swings, spreads, of)

    def pictures(self, view: str, fields: Fields) -> KeptPictures:
        limits = self.kept
        n = fields.whole("count", 1, limits.max_moments)
        width, height = fields.wholes("size", 2, 1, 10_000)
        if width * height > limits.max_pixels:
            raise Fault(f"{fields.where}.size is {width}×{height} px, more than models keep")
        times = self.times(f"{view}.pictures.time_s", n)
        colours: list[bytes] = []
        alphas: list[bytes] = []
        for i in range(n):
            for ending, check, content in (("jpg", check_jpeg, colours), ("png", check_png, alphas)):
                part = f"pictures/{view}.{i:04d}.{ending}"
                self.used.add(part)
                encoded = self.archive.read(part, limits.max_picture_bytes)
                check(encoded, (width, height), f"its part {part}")
                content.append(encoded)
        return KeptPictures(times, (width, height), tuple(colours), tuple(alphas))

    def filming(self, rows: Sequence[Any], where: str) -> FilmingReport:
        findings = []
        for i, row in enumerate(rows):
            fields = Fields(row, f"{where}[{i}]", self.settings)
            interval = None
            if fields.has("interval") and (value := fields.raw("interval")) is not None:
                inner = Fields({"interval": value}, fields.where, self.settings)
                low, high = inner.numbers("interval", 2, -1e12, 1e12, lost=True)
                interval = (low, high)
            findings.append(
                FilmingFinding(
                    name=fields.text("name", 80),
                    value=fields.number("value", -1e12, 1e12, lost=True),
                    unit=fields.text("unit", 40),
                    interval=interval,
                    verdict=cast("FilmingVerdict", fields.word("verdict", VERDICTS)),
                    sentence=fields.text("sentence"),
                    advice=fields.text("advice"),
                )
            )
            fields.done()
        return FilmingReport(tuple(findings))

    def pair_map(self, fields: Fields | None) -> TimeMap | None:
        if fields is None:
            return None
        n = fields.whole("knots", 2, self.settings.max_frames)
        time_map = TimeMap(
            student_s=self.times("pair_map.dtl_s", n),
            reference_s=self.times("pair_map.fo_s", n),
            diagnostics=fields.number_table("diagnostics"),
            outer_slope=fields.number("outer_slope", 1e-3, 1e3),
            notes=fields.texts("notes"),
        )
        fields.done()
        return time_map


def read_provenance(document: Fields) -> Provenance:
    """Where a model came from.

    Raises
    ------
    Fault
    """
    fields = document.object("provenance")
    made = Provenance(
        made_at=fields.text("made_at", 80),
        made_by=fields.text("made_by", 200),
        pose_model=fields.text("pose_model", 400),
        sources=fields.texts("sources"),
        left_out=fields.texts("left_out"),
        label=fields.text("label"),
        notes=fields.texts("notes"),
    )
    fields.done()
    return made


def read_model(
    document: Fields,
    archive: Archive,
    settings: ModelSettings,
    kept: KeptPictureSettings,
) -> Model:
    """The model of a document whose schema was checked.

    Raises
    ------
    Fault, DataError
        Something is missing, is of the wrong kind, or contradicts itself.
    """
    reader = _Reader(archive, settings, kept)
    name = check_name(document.text("name", 400), settings)
    kind = cast("ModelKind", document.word("model", ("swing", "template", "space")))
    club_kind, player = document.text("club_kind", 300), document.text("player", 300)
    provenance = read_provenance(document)
    swings = {
        cast("View", view): reader.swing(view, fields) for view, fields in document.named_objects("swings", VIEWS)
    }
    bands = {cast("View", view): reader.band(fields) for view, fields in document.named_objects("bands", VIEWS)}
    space = reader.space(document.optional_object("space"))
    pictures = {
        cast("View", view): reader.pictures(view, fields) for view, fields in document.named_objects("pictures", VIEWS)
    }
    filming = _filming(document, reader, settings)
    pair_map = reader.pair_map(document.optional_object("pair_map"))
    document.done()
    if unused := archive.names - reader.used:
        raise Fault(f"it holds a part {sorted(unused)[0]} that its model.json does not speak of")
    _check_whole(kind, swings, bands, space, pictures, filming, pair_map)
    return Model(
        name=name,
        kind=kind,
        swings=swings,
        bands=bands,
        space=space,
        pictures=pictures,
        filming=filming,
        pair_map=pair_map,
        club_kind=club_kind,
        player=player,
        provenance=provenance,
    )


def _filming(document: Fields, reader: _Reader, settings: ModelSettings) -> dict[View, FilmingReport]:
    table = document.raw("filming")
    views = Fields(table, "filming", settings)
    result: dict[View, FilmingReport] = {}
    for view in table:
        if view not in VIEWS:
            raise Fault(f"filming names {view[:20]!a}, not one of {', '.join(VIEWS)}")
        rows = views.rows(view, settings.max_findings)
        result[view] = reader.filming(rows, f"filming.{view}")
    return result


def _check_whole(
    kind: str,
    swings: Mapping[View, Swing],
    bands: Mapping[View, Band],
    space: SpaceTrack | None,
    pictures: Mapping[View, KeptPictures],
    filming: Mapping[View, FilmingReport],
    pair_map: TimeMap | None,
) -> None:
    """What the parts of a model have to say of each other, beyond what the data types check."""
    for what, table in (("bands", bands), ("pictures", pictures), ("filming", filming)):
        for view in table:
            if view not in swings and (kind != "space" or what != "bands"):
                raise Fault(f"it has {what} of a view of which it holds no swing")
    if pair_map is not None and not {"dtl", "fo"} <= set(swings):
        raise Fault("it has a map between two views but not both views")
    if len({swing.handedness for swing in swings.values()}) > 1:
        raise Fault("its two views are of different hands")
    if space is not None and space.handedness != "right":
        raise Fault("its swing in space is not right-handed, as those that are kept are")
    for view, kept in pictures.items():
        swing = swings[view]
        if kept.times_s[0] < swing.start_s - 1.0 or kept.times_s[-1] > swing.stop_s + 1.0:
            raise Fault(f"its pictures of the view {view} were not taken during its swing")
