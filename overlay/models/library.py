"""The folder of a user's models, and the models that come with overlay beside it."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from overlay.data import Model
from overlay.errors import DataError, InputError, OutputError, SetupError
from overlay.files import locked_folder, output_error, write_bytes
from overlay.models.checks import check_name, same_name, shown_value, tidy
from overlay.models.format import SUFFIX, Facts, is_model_file, load_facts, load_model, model_bytes
from overlay.shipped import shipped_folder

VARIABLE = "OVERLAY_MODELS"

_Files = list[tuple[Path, bool]]


def default_folder() -> Path:
    """``OVERLAY_MODELS``, else the folder ``overlay/models`` in the platform's place for a user's data."""
    import platformdirs

    told = os.environ.get(VARIABLE)
    return Path(told).expanduser() if told else Path(platformdirs.user_data_dir("overlay", appauthor=False)) / "models"


class Library:
    """Models by name.

    Parameters
    ----------
    folder : Path or None
        Where the user's own models lie; made when the first one is added. None: ``default_folder()``.
    shipped : Path or None
        Where those that come with overlay lie; they can be read only, and their names are taken. None: the
        installation's own.
    """

    def __init__(self, folder: Path | None = None, shipped: Path | None = None) -> None:
        self.folder = Path(folder) if folder is not None else default_folder()
        if shipped is None:
            try:
                shipped = shipped_folder("reference_models")
            except SetupError:
                shipped = None
        self._shipped = shipped

    # --- reading ---

    def names(self) -> tuple[str, ...]:
        """Names of all models, the user's own first, each group in alphabetical order; damaged ones among them."""
        return tuple(path.stem for path, _ in self._files())

    def list(self) -> tuple[Facts, ...]:
        """What is known of every model without reading its arrays; a damaged one has a ``problem``."""
        taken = {same_name(path.stem) for path, shipped in self._files() if shipped}
        result = []
        for path, shipped in self._files():
            try:
                check_name(path.stem)
                facts = replace(load_facts(path), name=path.stem, shipped=shipped)
                if not shipped and same_name(path.stem) in taken:
                    facts = Facts(path.stem, path, facts.n_bytes, problem="a model of overlay itself has this name")
            except (InputError, DataError) as error:
                facts = Facts(path.stem, path, _size(path), shipped, tidy(error.message))
            result.append(facts)
        return tuple(result)

    def path(self, name: str) -> Path:
        """The file of a model.

        Raises
        ------
        InputError
            There is no model of that name; the message says which there are.
        """
        wanted = same_name(name)
        files = self._files()
        # The shipped ones first: a file that was put into the folder by hand must not pass for one of them.
        for path, _ in sorted(files, key=lambda file: (not file[1], file[0].stem != name)):
            if same_name(path.stem) == wanted:
                return path
        known = ", ".join(tidy(path.stem, 60) for path, _ in files[:12]) or "none yet"
        raise InputError(
            f"There is no model {shown_value(name)} in {self.folder}.",
            f"Models are: {known}. `overlay model save CLIP --name …` keeps a swing.",
        )

    def get(self, name: str) -> Model:
        """A model. It bears the name of its file, whatever it was called when it was written.

        Raises
        ------
        InputError
            There is none of that name, or its file is damaged.
        """
        path = self.path(name)
        return replace(load_model(path), name=_fit(path.stem))

    def is_shipped(self, name: str) -> bool:
        """Whether a model of overlay itself has this name."""
        return any(shipped and same_name(path.stem) == same_name(name) for path, shipped in self._files())

    def _files(self) -> _Files:
        own = [(path, False) for path in _models_in(self.folder)]
        if self._shipped is None or self._shipped == self.folder:
            return own
        return own + [(path, True) for path in _models_in(self._shipped)]

    # --- changing ---

    def add(self, model: Model, replace: bool = False) -> Path:
        """Keep a model under its name, whole or not at all.

        Parameters
        ----------
        model : Model
        replace : bool
            Whether one of the same name may be replaced. Names that differ in case alone are the same.

        Raises
        ------
        OutputError
            The name is taken, or the folder cannot be written.
        DataError
            The name cannot be a file's, or the model would not be read back.
        """
        name = check_name(model.name)
        content = model_bytes(_named(model, name))
        if self.is_shipped(name):
            raise OutputError(f"{name} is the name of a model that comes with overlay.", "Choose another name.")
        self._make_folder()
        with self._alone():
            old = self._own(name)
            if old is not None and not replace:
                raise OutputError(
                    f"There is a model {old.stem} already.", "Choose another name, or give --replace to replace it."
                )
            target = self.folder / f"{name}{SUFFIX}"
            write_bytes(target, content)
            if old is not None and not _same_file(old, target):
                _remove(old)
        return target

    def check_free(self, name: str, replace: bool = False) -> str:
        """The name as it will be kept; to be asked before long work. Raises as ``add``."""
        name = check_name(name)
        if self.is_shipped(name):
            raise OutputError(f"{name} is the name of a model that comes with overlay.", "Choose another name.")
        old = self._own(name)
        if old is not None and not replace:
            raise OutputError(
                f"There is a model {old.stem} already.", "Choose another name, or give --replace to replace it."
            )
        return name

    def remove(self, name: str) -> Path:
        """Remove one of the user's own models, damaged or not, and say which file it was.

        Raises
        ------
        InputError
            There is no model of that name.
        OutputError
            It comes with overlay, or the folder cannot be written.
        """
        path = self._own(name)
        if path is None:
            if self.is_shipped(name):
                raise OutputError(f"{name} comes with overlay and cannot be removed.", "Leave it; it takes no room.")
            return self.path(name)
        with self._alone():
            _remove(path)
        return path

    def export(
        self, name: str, path: Path, replace: bool = False, change: Callable[[Model], Model] | None = None
    ) -> Path:
        """Write a model to a file of its own, under the name it has here.

        Parameters
        ----------
        name : str
        path : Path
            The file, or a folder to put ``NAME.swing`` into.
        replace : bool
            Whether a model file of that name may be replaced; any other file never is.
        change : function, optional
            What is done to the model before it is written: ``without_pictures``, ``anonymous``.

        Raises
        ------
        InputError
            There is no such model, or it is damaged.
        OutputError
            The file is there already, its name does not end in .swing, or it cannot be written.
        """
        model = self.get(name)
        path = Path(path)
        if path.is_dir():
            path = path / f"{model.name}{SUFFIX}"
        if not is_model_file(path):
            raise OutputError(f"{path.name} is no name for a model file.", f"End it in {SUFFIX}.")
        if path.exists() and not (replace and path.is_file()):
            raise OutputError(f"{path} is there already.", "Choose another name, or give --replace to replace it.")
        write_bytes(path, model_bytes(model if change is None else change(model)))
        return path

    def import_(self, path: Path, name: str | None = None, replace: bool = False) -> Path:
        """Take a model file into the library.

        Parameters
        ----------
        path : Path
        name : str or None
            What it is called here; None: as it calls itself.
        replace : bool

        Raises
        ------
        InputError
            The file is not a model.
        OutputError, DataError
            As ``add``.
        """
        model = load_model(path)
        return self.add(model if name is None else _named(model, check_name(name)), replace)

    def _own(self, name: str) -> Path | None:
        """The file of one of the user's own models."""
        wanted = same_name(name)
        paths = [path for path in _models_in(self.folder) if same_name(path.stem) == wanted]
        return next((path for path in paths if path.stem == name), paths[0] if paths else None)

    def _make_folder(self) -> None:
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise output_error(self.folder, error) from error

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """Hold the library for one look and change, so that two programs do not take one name."""
        with locked_folder(self.folder):
            yield


def _models_in(folder: Path) -> list[Path]:
    try:
        paths = [Path(entry.path) for entry in os.scandir(folder) if is_model_file(Path(entry.name))]
    except FileNotFoundError:
        return []
    except OSError as error:
        raise InputError(f"{folder} cannot be read: {error.strerror or error}.", "Check the folder.") from error
    # What begins with a dot is being written just now, or was left by a crash.
    return sorted((path for path in paths if not path.name.startswith(".")), key=lambda path: same_name(path.stem))


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _same_file(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except OSError:
        return False


def _remove(path: Path) -> None:
    try:
        path.unlink()
    except FileNotFoundError:
        return
    except OSError as error:
        raise output_error(path, error) from error


def _named(model: Model, name: str) -> Model:
    return model if model.name == name else replace(model, name=name)


def _fit(name: str) -> str:
    try:
        return check_name(name)
    except DataError as error:
        raise InputError(f"{error.message}", "Rename the file in the library's folder.") from error
