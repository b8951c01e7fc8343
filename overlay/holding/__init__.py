"""Is a change holding across sessions? The verdict from session means, one measure or several together."""

from overlay.holding.verdict import Case, judge, judge_together, verdict, word_of
from overlay.holding.weigh import Gone, Weighed, Within, weigh

__all__ = ["Case", "Gone", "Weighed", "Within", "judge", "judge_together", "verdict", "weigh", "word_of"]
