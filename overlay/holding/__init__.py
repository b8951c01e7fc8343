"""Is a change holding across sessions? The verdict from session means, one measure or several together."""

from overlay.holding.verdict import Case, judge, judge_together, verdict, word_of
from overlay.holding.weigh import Gone, Weighed, Within, weigh
from overlay.holding.wording import Telling, p_words

__all__ = [
    "Case",
    "Gone",
    "Telling",
    "Weighed",
    "Within",
    "judge",
    "judge_together",
    "p_words",
    "verdict",
    "weigh",
    "word_of",
]
