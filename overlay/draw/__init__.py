"""Layers drawn on a frame: each holds its style, draws in place on an RGB picture, and stacks with the others."""

from overlay.draw.checks import VERDICT_WORDS, CheckRows
from overlay.draw.club import Club, ClubTrail, Pointer
from overlay.draw.figure import ClubLine, HandPath, Layer, Moment, Silhouette, Skeleton, Stack
from overlay.draw.ghost import Ghost, person_alpha
from overlay.draw.guides import DrawnGuide, Guides
from overlay.draw.palette import REFERENCE, STUDENT, Colour, Family, contrast
from overlay.draw.panels import FirstStrip, Heading, Notice, ScorePanel, TimeBar
from overlay.draw.text import Label, put_text

__all__ = [
    "REFERENCE",
    "STUDENT",
    "VERDICT_WORDS",
    "CheckRows",
    "Club",
    "ClubLine",
    "ClubTrail",
    "Colour",
    "DrawnGuide",
    "Family",
    "FirstStrip",
    "Ghost",
    "Guides",
    "HandPath",
    "Heading",
    "Label",
    "Layer",
    "Moment",
    "Notice",
    "Pointer",
    "ScorePanel",
    "Silhouette",
    "Skeleton",
    "Stack",
    "TimeBar",
    "contrast",
    "person_alpha",
    "put_text",
]
