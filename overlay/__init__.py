"""Swing-phase sync and overlay comparison of golf swings filmed on video.

The stages, in order: video → pose → clean → swing finding → alignment → score → compose → report.
``overlay.pipeline`` is the only place where they are joined.
"""

__version__ = "0.1.0"
