"""The only place where the stages are joined: clips in, inspections and comparisons out."""

from overlay.pipeline.clips import ClipOptions, Closer, Inspection, inspect_clip
from overlay.pipeline.closer import look_closer, looked_of, with_club_and_strike
from overlay.pipeline.comparing import Outcome, check_views, compare_clips, compare_inspections
from overlay.pipeline.filming import check_clip_filming
from overlay.pipeline.kept import KeptEntry, KeptReference, kept_entry, kept_reference
from overlay.pipeline.outputs import (
    OUTPUT_NAMES,
    OutputOptions,
    Outputs,
    both_views_document,
    check_outputs,
    output_paths,
    source_of,
    write_both_inspections,
    write_both_views,
    write_inspection,
    write_outputs,
)
from overlay.pipeline.references import as_inspection, find_reference, usual_swing
from overlay.pipeline.views import BothViews, Paired, Seen, compare_both_views, inspect_both_views

__all__ = [
    "OUTPUT_NAMES",
    "BothViews",
    "ClipOptions",
    "Closer",
    "Inspection",
    "KeptEntry",
    "KeptReference",
    "Outcome",
    "OutputOptions",
    "Outputs",
    "Paired",
    "Seen",
    "as_inspection",
    "both_views_document",
    "check_clip_filming",
    "check_outputs",
    "check_views",
    "compare_both_views",
    "compare_clips",
    "compare_inspections",
    "find_reference",
    "inspect_both_views",
    "inspect_clip",
    "kept_entry",
    "kept_reference",
    "look_closer",
    "looked_of",
    "output_paths",
    "source_of",
    "usual_swing",
    "with_club_and_strike",
    "write_both_inspections",
    "write_both_views",
    "write_inspection",
    "write_outputs",
]
