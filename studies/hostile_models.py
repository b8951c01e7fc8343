"""What becomes of hostile model files: many thousands of damaged ones are loaded, listed and imported.

    python studies/hostile_models.py [--cases 10000] [--quick]

Each case damages a good file on purpose (tests/unit/model_attacks.py): bytes, parts, names, the document, headers and
values of arrays, pictures, the list of parts, zip bombs. It has to be refused with an error of two lines that names
the file, or to be a model whose pictures can be decoded or are refused, and that is written and read again unchanged.
Nothing may be written outside the library. The page says what came of them, how long the slowest took, and the memory.
"""

from __future__ import annotations

import argparse
import collections
import platform
import re
import resource
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "unit")]

from model_attacks import Attacks  # noqa: E402
from model_factory import space_model, swing_model, template_model, with_pictures  # noqa: E402
from test_models_fuzz import everything_under, try_file  # noqa: E402

from overlay.errors import InputError, OverlayError  # noqa: E402
from overlay.models import Library, load_model, model_bytes  # noqa: E402

PAGE = ROOT / "docs" / "studies" / "hostile_models.md"
MOST_SHOWN = 12
"""Harmless files of each kind that are drawn too."""
FIRST = 1_000_000
"""Other cases than those of the tests."""


def why(path: Path) -> str:
    """The reason of a refusal without what is particular to the case."""
    try:
        load_model(path)
    except InputError as error:
        text = error.message.removeprefix(f"{path.name}: ")
        text = re.sub(r"'[^']*'|\"[^\"]*\"|[a-z_]+(\.[a-z_0-9]+)+(\[\d+\])?|arrays/\S+|pictures/\S+", "…", text)
        return re.sub(r"-?\d[\d.,e+×]*", "n", text)[:90]
    return "–"


def show(path: Path) -> None:
    """What ``overlay model show`` does with a file that was accepted: measures, JSON, the sheet of its positions."""
    from overlay.documents import to_json
    from overlay.pipeline.model_documents import model_document
    from overlay.pipeline.model_pictures import model_sheet
    from overlay.pipeline.models import measured, seen_swings

    try:
        model = load_model(path)
        seen = seen_swings(model)
        to_json(model_document(model, seen, {view: measured(swing) for view, swing in seen.items()}))
        model_sheet(model, seen)
    except OverlayError:
        return


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--cases", type=int, default=10_000)
    arguments.add_argument("--quick", action="store_true", help="500 cases, no page")
    asked = arguments.parse_args()
    cases = 500 if asked.quick else asked.cases
    good = [
        model_bytes(model)
        for model in (swing_model(), with_pictures(template_model("Pictures")), template_model(), space_model())
    ]
    attacks = Attacks(good)
    came: dict[str, collections.Counter[str]] = collections.defaultdict(collections.Counter)
    reasons: collections.Counter[str] = collections.Counter()
    slowest, crashes, shown = 0.0, [], 0
    before_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    with tempfile.TemporaryDirectory() as work:
        here = Path(work) / "a" / "b"
        here.mkdir(parents=True)
        library = Library(here / "library", shipped=here / "none")
        path = here / "hostile.swing"
        for number in range(cases):
            attack = attacks.make(FIRST + number)
            path.write_bytes(attack.content)
            reason = why(path)
            started = time.perf_counter()
            try:
                outcome = try_file(path, library)
                slowest = max(slowest, time.perf_counter() - started)
                if outcome == "a model" and came[attack.how]["a model"] < MOST_SHOWN:
                    shown += 1
                    show(path)
            except Exception as error:
                outcome = "crash"
                crashes.append(f"{FIRST + number} ({attack.how}): {type(error).__name__}: {error}")
            came[attack.how][outcome] += 1
            if outcome == "refused":
                reasons[reason] += 1
        files = everything_under(Path(work))
    outside = files - {Path("a/b/hostile.swing"), Path("a/b/library/taken in.swing")}
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    refused = sum(counter["refused"] for counter in came.values())
    lines = [
        "# Hostile model files",
        "",
        f"`python studies/hostile_models.py --cases {cases}` on {platform.machine()}, Python "
        f"{platform.python_version()}. Wanted: no crash, nothing written outside the library.",
        "",
        f"{cases} files: {refused} refused, {cases - refused - len(crashes)} harmless (still a model within all "
        f"limits), {len(crashes)} crashes, {len(outside)} files written outside the library. The slowest case, with "
        f"everything that was tried on it, took {slowest:.2f} s; memory rose by {peak_mb - before_mb:.0f} MB at most. "
        f"Of the harmless ones {shown} were also measured and drawn as `overlay model show` does.",
        "",
        "| what was done to a good file | cases | refused | still a model | crashes |",
        "|---|---|---|---|---|",
    ]
    for how, counter in sorted(came.items()):
        row = (sum(counter.values()), counter["refused"], counter["a model"], counter["crash"])
        lines.append(f"| {how} | {' | '.join(map(str, row))} |")
    lines += [
        "",
        f"There were {len(reasons)} different reasons; the most frequent:",
        "",
        "| reason | cases |",
        "|---|---|",
    ]
    lines += [f"| {reason.replace('|', '')} | {count} |" for reason, count in reasons.most_common(40)]
    text = "\n".join(lines) + "\n"
    print(text)
    for crash in crashes:
        print(crash)
    if not asked.quick:
        PAGE.write_text(text, encoding="utf-8")
    if crashes or outside:
        raise SystemExit("There were crashes or files outside the library.")


if __name__ == "__main__":
    main()
