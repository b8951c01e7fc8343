"""Write the shipped reference models from their parameter files.

    python reference_models/write_models.py [--folder FOLDER]

The same parameters give the same files, byte for byte on one machine; a test makes them again and compares.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from overlay.maker import KINDS, load_parameters, make_model
from overlay.models import save_model

HERE = Path(__file__).resolve().parent


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--folder", type=Path, default=HERE, help="where the .swing files are written")
    folder: Path = parser.parse_args().folder
    folder.mkdir(parents=True, exist_ok=True)
    for file in KINDS.values():
        model = make_model(load_parameters(HERE / f"{file}.toml"), file)
        target = folder / f"{file}.swing"
        save_model(model, target)
        print(f"{target}: {target.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
