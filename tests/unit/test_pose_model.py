"""The model bundle: made the same everywhere, checked, and refused with words when something is off."""

from __future__ import annotations

import hashlib
import importlib
import io
import os
import struct
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest

from overlay.errors import InputError, OutputError, SetupError
from overlay.pose import flatmodel, model
from overlay.progress import Silent


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("OVERLAY_DATA_DIR", str(tmp_path / "data"))
    monkeypatch.delenv("OVERLAY_POSE_MODEL", raising=False)
    return tmp_path / "data"


def bundle_bytes(names: tuple[str, ...] = (model.DETECTOR, model.LANDMARKS)) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name in names:
            archive.writestr(name, b"x")
    return out.getvalue()


def wheel(path: Path, detector: bytes = b"d", landmarks: bytes = b"l") -> Path:
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("mediapipe/modules/pose_detection/pose_detection.tflite", detector)
        archive.writestr("mediapipe/modules/pose_landmark/pose_landmark_full.tflite", landmarks)
    return path


# --- where it lies ---


def test_not_there_yet(folder: Path) -> None:
    assert model.find_model() is None


def test_own_file(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own = tmp_path / "own.task"
    own.write_bytes(bundle_bytes())
    monkeypatch.setenv("OVERLAY_POSE_MODEL", str(own))
    assert model.find_model() == own
    assert model.ensure_model() == own
    assert model.model_label(own) == f"own-{hashlib.sha256(own.read_bytes()).hexdigest()[:16]}"


def test_own_file_as_argument(folder: Path, tmp_path: Path) -> None:
    own = tmp_path / "own.task"
    own.write_bytes(bundle_bytes())
    assert model.ensure_model(model=own) == own


@pytest.mark.parametrize(
    ("content", "complaint"),
    [(None, "is not there"), (b"nonsense", "not a pose landmark bundle"), (bundle_bytes(("a.tflite",)), "holds no")],
)
def test_own_file_that_is_none(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, content: bytes | None, complaint: str
) -> None:
    own = tmp_path / "own.task"
    if content is not None:
        own.write_bytes(content)
    monkeypatch.setenv("OVERLAY_POSE_MODEL", str(own))
    with pytest.raises(SetupError, match=complaint):
        model.find_model()


def test_a_damaged_file_does_not_count(folder: Path) -> None:
    folder.mkdir()
    (folder / model.FILE_NAME).write_bytes(bundle_bytes())
    assert model.find_model() is None


# --- how it is made ---


def test_wheel_with_other_files(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(SetupError, match="SHA-256 differs"):
        model.ensure_model(source=wheel(tmp_path / "other.whl"))
    assert not folder.exists()


def test_wheel_without_models(folder: Path, tmp_path: Path) -> None:
    path = tmp_path / "other.whl"
    path.write_bytes(bundle_bytes(("mediapipe/__init__.py",)))
    with pytest.raises(SetupError, match=r"holds no pose_detection\.tflite"):
        model.ensure_model(source=path)


def test_no_wheel_at_all(folder: Path, tmp_path: Path) -> None:
    path = tmp_path / "other.whl"
    path.write_bytes(b"no zip")
    with pytest.raises(InputError, match="cannot be read as a wheel"):
        model.ensure_model(source=path)


def pinned(monkeypatch: pytest.MonkeyPatch) -> tuple[bytes, bytes]:
    """Small stand-ins for the two model files, pinned in place of the real ones."""
    detector, landmarks = b"detector" * 9, tiny_model()
    digests = {
        "pose_detection.tflite": hashlib.sha256(detector).hexdigest(),
        "pose_landmark_full.tflite": hashlib.sha256(landmarks).hexdigest(),
    }
    monkeypatch.setattr(model, "SOURCE_SHA256", digests)

    class Any(str):
        def __ne__(self, other: object) -> bool:
            return False

        __hash__ = str.__hash__

    monkeypatch.setattr(model, "BUNDLE_SHA256", Any("any"))
    return detector, landmarks


def test_bundle_is_stored_aligned_and_repeatable(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    detector, landmarks = pinned(monkeypatch)
    path = model.ensure_model(source=wheel(tmp_path / "m.whl", detector, landmarks))
    assert path == folder / model.FILE_NAME
    first = path.read_bytes()
    path.unlink()
    assert model.ensure_model(source=wheel(tmp_path / "m.whl", detector, landmarks)).read_bytes() == first
    with zipfile.ZipFile(path) as archive:
        assert archive.namelist() == [model.DETECTOR, model.LANDMARKS]
        assert archive.read(model.DETECTOR) == detector
        assert archive.read(model.LANDMARKS).endswith(landmarks)
        for entry in archive.infolist():
            assert entry.compress_type == zipfile.ZIP_STORED
            name_size, extra_size = struct.unpack_from("<HH", first, entry.header_offset + 26)
            assert (entry.header_offset + 30 + name_size + extra_size) % flatmodel.ALIGNMENT == 0


def test_a_folder_that_cannot_be_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, folder: Path) -> None:
    detector, landmarks = pinned(monkeypatch)
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("OVERLAY_DATA_DIR", str(tmp_path / "file" / "data"))
    with pytest.raises(OutputError, match="cannot be written"):
        model.ensure_model(source=wheel(tmp_path / "m.whl", detector, landmarks))


# --- fetching ---


class Heard(Silent):
    def __init__(self) -> None:
        self.stages: list[str] = []
        self.closed = 0

    def stage(self, name: str, total: float | None = None) -> None:
        self.stages.append(name)

    def done(self) -> None:
        self.closed += 1


def fake_pip(tmp_path: Path, body: str) -> list[str]:
    script = tmp_path / "fake_pip.py"
    script.write_text("import sys, shutil, time\nwords = sys.argv\ntarget = words[words.index('--dest') + 1]\n" + body)
    return [sys.executable, str(script)]


def test_fetched_with_progress(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    detector, landmarks = pinned(monkeypatch)
    source = wheel(tmp_path / "m.whl", detector, landmarks)
    command = fake_pip(
        tmp_path,
        "assert 'mediapipe==0.10.21' in words and '--no-deps' in words\n"
        f"time.sleep(0.6); shutil.copy({str(source)!r}, target)\n",
    )
    monkeypatch.setattr(model, "_pip", lambda folder: command)
    heard = Heard()
    assert model.ensure_model(heard).is_file()
    assert heard.stages == ["fetching the pose model"]
    assert heard.closed == 1


def test_offline(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    command = fake_pip(tmp_path, "print('ERROR: No matching distribution found', file=sys.stderr); sys.exit(1)\n")
    monkeypatch.setattr(model, "_pip", lambda folder: command)
    with pytest.raises(SetupError, match="No matching distribution") as caught:
        model.ensure_model()
    assert "OVERLAY_POSE_MODEL" in caught.value.hint
    assert len(str(caught.value).splitlines()) == 2
    assert not folder.exists()


def test_neither_pip_nor_uv(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(model.importlib.util, "find_spec", lambda name: None)
    monkeypatch.setattr(model.shutil, "which", lambda name: None)
    with pytest.raises(SetupError, match="no pip"):
        model.ensure_model()


def test_uv_takes_over_where_pip_is_missing(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    detector, landmarks = pinned(monkeypatch)
    source = wheel(tmp_path / "m.whl", detector, landmarks)
    monkeypatch.setattr(model.importlib.util, "find_spec", lambda name: None)
    monkeypatch.setattr(model.shutil, "which", lambda name: "uv-command")
    asked: list[list[str]] = []

    def run(command: list[str], folder: Path, progress: object) -> None:
        asked.append(command)
        zipfile.ZipFile(source).extractall(command[command.index("--target") + 1])

    monkeypatch.setattr(model, "_run", run)
    assert model.ensure_model().is_file()
    assert asked[0][:3] == ["uv-command", "pip", "install"]


def test_two_processes_at_once(tmp_path: Path) -> None:
    """Both end well, and what is there at any moment is whole."""
    target = tmp_path / "data" / model.FILE_NAME
    code = (
        "import pathlib, sys\n"
        "from overlay.pose import model\n"
        "path, content = pathlib.Path(sys.argv[1]), bytes(500_000)\n"
        "for _ in range(100):\n"
        "    model._store(path, content)\n"
        "    assert path.stat().st_size == 500_000\n"
    )
    environment = dict(os.environ, PYTHONPATH=os.pathsep.join(sys.path))
    running = [subprocess.Popen([sys.executable, "-c", code, str(target)], env=environment) for _ in range(2)]
    assert [process.wait() for process in running] == [0, 0]
    assert [path.name for path in target.parent.iterdir()] == [model.FILE_NAME]


# --- the real bundle, where it has been made ---


def real_model() -> Path:
    path = model.find_model()
    if path is None:
        pytest.skip("the pose model has not been made on this machine")
    return path


@pytest.mark.pose
def test_the_real_bundle_says_how_pictures_are_scaled() -> None:
    with zipfile.ZipFile(real_model()) as archive:
        content = archive.read(model.LANDMARKS)
    # Read with MediaPipe's own reader of its own schema.
    models = importlib.import_module("mediapipe.tasks.metadata.schema_py_generated")
    metadata = importlib.import_module("mediapipe.tasks.metadata.metadata_schema_py_generated")
    read = models.Model.GetRootAs(content, 0)
    names = [read.Metadata(i).Name() for i in range(read.MetadataLength())]
    at = names.index(b"TFLITE_METADATA")
    assert names[:at] == [b"min_runtime_version", b"reduced_precision_support"]
    buffer = read.Buffers(read.Metadata(at).Buffer()).DataAsNumpy().tobytes()
    tensor = metadata.ModelMetadata.GetRootAs(buffer, 0).SubgraphMetadata(0).InputTensorMetadata(0)
    assert tensor.Name() == b"image"
    unit = tensor.ProcessUnits(0)
    assert unit.OptionsType() == metadata.ProcessUnitOptions.NormalizationOptions
    options = metadata.NormalizationOptions()
    options.Init(unit.Options().Bytes, unit.Options().Pos)
    assert (options.MeanAsNumpy().tolist(), options.StdAsNumpy().tolist()) == ([0.0], [255.0])
    assert tensor.Content().ContentPropertiesType() == metadata.ContentProperties.ImageProperties
    assert tensor.Stats().MaxAsNumpy().tolist() == [1.0]


# --- the flatbuffer writer ---


def tiny_model() -> bytes:
    """A TFLite file with a version, two buffers, one of 32 bytes, and one note."""
    weights = bytes(range(32))
    note = flatmodel.Table({0: flatmodel.Text("min_runtime_version"), 1: flatmodel.Scalar("I", 1)})
    buffers = flatmodel.Vector((flatmodel.Table({}), flatmodel.Table({0: flatmodel.Data(weights)})))
    root = flatmodel.Table({0: flatmodel.Scalar("I", 3), 4: buffers, 6: flatmodel.Vector((note,))})
    return flatmodel.serialise(root, b"TFL3")


def test_the_old_bytes_stay_as_they_are_and_aligned() -> None:
    old = tiny_model()
    new = flatmodel.with_normalisation(old, [127.5], [127.5], "made")
    assert new.endswith(old)
    assert (len(new) - len(old)) % flatmodel.ALIGNMENT == 0
    assert new.index(bytes(range(32))) % flatmodel.ALIGNMENT == 0


@pytest.mark.parametrize(("mean", "std"), [([0.0], [255.0]), ([127.5, 120.0, 110.0], [127.5, 128.0, 129.0])])
def test_metadata_is_read_back_by_mediapipes_schema(mean: list[float], std: list[float]) -> None:
    models = importlib.import_module("mediapipe.tasks.metadata.schema_py_generated")
    metadata = importlib.import_module("mediapipe.tasks.metadata.metadata_schema_py_generated")
    read = models.Model.GetRootAs(flatmodel.with_normalisation(tiny_model(), mean, std, "made"), 0)
    assert (read.Version(), read.BuffersLength(), read.MetadataLength()) == (3, 3, 2)
    assert read.Buffers(1).DataAsNumpy().tolist() == list(range(32))
    assert read.Metadata(0).Name() == b"min_runtime_version"
    buffer = read.Buffers(read.Metadata(1).Buffer()).DataAsNumpy().tobytes()
    described = metadata.ModelMetadata.GetRootAs(buffer, 0)
    assert described.Name() == b"made"
    assert metadata.ModelMetadata.ModelMetadataBufferHasIdentifier(buffer, 0)
    unit = described.SubgraphMetadata(0).InputTensorMetadata(0).ProcessUnits(0)
    options = metadata.NormalizationOptions()
    options.Init(unit.Options().Bytes, unit.Options().Pos)
    assert np.allclose(options.MeanAsNumpy(), mean)
    assert np.allclose(options.StdAsNumpy(), std)


def test_something_that_is_no_model() -> None:
    with pytest.raises(SetupError, match="not a TFLite model"):
        flatmodel.with_normalisation(b"PK" + bytes(100), [0.0], [255.0], "made")
