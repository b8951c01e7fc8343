"""Lengths of the body's segments in a picture, and a swing drawn with other lengths: fitting another clip's reference.

A segment looks shorter the more it points at the camera. It is therefore read where it looks long, as an upper
percentile over the swing, and in lengths of the player's own trunk read in the same way, so that neither the distance
of the camera nor the bend of the trunk at address enters. Two swings of one view turn their segments alike, so most of
what is left cancels in the ratio of two players; the rest is the SD in ``settings/segments.py``, measured by
``studies/flat_fit.py``.
"""

from overlay.segments.fit import applied, fit_in_picture
from overlay.segments.lengths import PAIRED, SEGMENT_NAMES, SegmentLengths, segment_lengths, segment_words
from overlay.segments.rebuild import rescaled

__all__ = [
    "PAIRED",
    "SEGMENT_NAMES",
    "SegmentLengths",
    "applied",
    "fit_in_picture",
    "rescaled",
    "segment_lengths",
    "segment_words",
]
