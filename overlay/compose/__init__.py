"""Frames of the comparison: the synced video, the stills sheet, the stills of one clip."""

from overlay.compose.options import DEFAULT_GUIDES, LAYOUTS, ComposeOptions
from overlay.compose.sources import PersonMasks, Source
from overlay.compose.stills import (
    InspectionStills,
    Stills,
    comparison_stills,
    inspect_sheet,
    inspection_stills,
    render_sheet,
)
from overlay.compose.video import render_video

__all__ = [
    "DEFAULT_GUIDES",
    "LAYOUTS",
    "ComposeOptions",
    "InspectionStills",
    "PersonMasks",
    "Source",
    "Stills",
    "comparison_stills",
    "inspect_sheet",
    "inspection_stills",
    "render_sheet",
    "render_video",
]
