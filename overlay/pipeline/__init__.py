"""The only place where the stages are joined: clips in, inspections and comparisons out."""

from overlay.pipeline.clips import ClipOptions, Closer, Inspection, inspect_clip
from overlay.pipeline.closer import look_closer, looked_of, with_club_and_strike
from overlay.pipeline.comparing import Outcome, check_views, compare_clips, compare_inspections
from overlay.pipeline.filming import check_clip_filming
from overlay.pipeline.outputs import (
    OUTPUT_NAMES,
    OutputOptions,
    Outputs,
    check_outputs,
    output_paths,
    source_of,
    write_inspection,
    write_outputs,
)

__all__ = [
    "OUTPUT_NAMES",
    "ClipOptions",
    "Closer",
    "Inspection",
    "Outcome",
    "OutputOptions",
    "Outputs",
    "check_clip_filming",
    "check_outputs",
    "check_views",
    "compare_clips",
    "compare_inspections",
    "inspect_clip",
    "look_closer",
    "looked_of",
    "output_paths",
    "source_of",
    "with_club_and_strike",
    "write_inspection",
    "write_outputs",
]
