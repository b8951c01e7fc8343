"""Layers drawn on a frame: each holds its style, draws in place on an RGB picture, and stacks with the others."""

from overlay.draw.figure import Club, ClubLine, HandPath, Layer, Moment, Silhouette, Skeleton, Stack
from overlay.draw.ghost import Ghost, person_alpha
from overlay.draw.palette import REFERENCE, STUDENT, Colour, Family, contrast
from overlay.draw.panels import Heading, Notice, ScorePanel, TimeBar
from overlay.draw.text import Label, put_text

__all__ = [
    "REFERENCE",
    "STUDENT",
    "Club",
    "ClubLine",
    "Colour",
    "Family",
    "Ghost",
    "HandPath",
    "Heading",
    "Label",
    "Layer",
    "Moment",
    "Notice",
    "ScorePanel",
    "Silhouette",
    "Skeleton",
    "Stack",
    "TimeBar",
    "contrast",
    "person_alpha",
    "put_text",
]
