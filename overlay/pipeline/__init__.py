"""The only place where the stages are joined: clips in, inspections and comparisons out."""

from overlay.pipeline.clips import ClipOptions, Inspection, inspect_clip
from overlay.pipeline.comparing import Outcome, check_views, compare_clips, compare_inspections
from overlay.pipeline.outputs import (
    OUTPUT_NAMES,
    OutputOptions,
    Outputs,
    check_outputs,
    output_paths,
    source_of,
    write_outputs,
)

__all__ = [
    "OUTPUT_NAMES",
    "ClipOptions",
    "Inspection",
    "Outcome",
    "OutputOptions",
    "Outputs",
    "check_outputs",
    "check_views",
    "compare_clips",
    "compare_inspections",
    "inspect_clip",
    "output_paths",
    "source_of",
    "write_outputs",
]
