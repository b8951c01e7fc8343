"""Layers drawn on a frame: each holds its style, draws in place on an RGB picture, and stacks with the others."""

from overlay.draw.band import HandBand
from overlay.draw.checks import VERDICT_WORDS, CheckRows
from overlay.draw.club import Club, ClubTrail, Pointer
from overlay.draw.figure import ClubLine, HandPath, Layer, Moment, Skeleton, Stack
from overlay.draw.ghost import Ghost, person_alpha
from overlay.draw.guides import DrawnGuide, Guides
from overlay.draw.mannequin import FigureDrawing, Mannequin, Silhouette
from overlay.draw.palette import REFERENCE, STUDENT, Colour, Family, contrast
from overlay.draw.panels import FirstStrip, Heading, Notice, ScorePanel, TimeBar
from overlay.draw.text import Caption, Label, put_text

__all__ = [
    "REFERENCE",
    "STUDENT",
    "VERDICT_WORDS",
    "Caption",
    "CheckRows",
    "Club",
    "ClubLine",
    "ClubTrail",
    "Colour",
    "DrawnGuide",
    "Family",
    "FigureDrawing",
    "FirstStrip",
    "Ghost",
    "Guides",
    "HandBand",
    "HandPath",
    "Heading",
    "Label",
    "Layer",
    "Mannequin",
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
