"""Invented players of the Larkspur Range: build, skin, hair and clothes.

Colours are what the eye sees (sRGB hex); the renderer works in linear light. Clothes are mid-tone by default:
near-black trousers triple the error of the pose model, white shirts burn out in the sun.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from overlay.arrays import FloatArray
from overlay.errors import InputError

MATERIALS: tuple[str, ...] = (
    "skin", "shirt", "trousers", "belt", "shoe", "sole", "glove", "hair", "cap", "brim", "grip", "lips", "eye", "iris",
    "trim", "buckle", "steel",
)  # fmt: skip
"""Row order of ``Look.materials``; the shading kernels use the same order."""


@dataclass(frozen=True)
class Look:
    """How one invented player looks.

    Attributes
    ----------
    name : str
        The invented name, for captions.
    girth, limb_girth : float
        Factors on the cross sections of the trunk and of arms and legs.
    woman : bool
        Proportions of trunk, neck, face and hands.
    skin, shirt, ... : str
        sRGB hex colours.
    headwear : cap, visor or none
    hair_style : short, ponytail or bald
    legs : trousers or shorts
    stubble : float
        0 none … 1 full beard.
    stripe_m : float
        Height of a chest band in the trim colour, 0 for none.
    """

    name: str
    girth: float = 1.0
    limb_girth: float = 1.0
    woman: bool = False
    skin: str = "#c99272"
    shirt: str = "#4f7fae"
    trousers: str = "#8d8a80"
    belt: str = "#54402f"
    shoe: str = "#d9d7d2"
    sole: str = "#6c6a66"
    glove: str = "#e4e2dc"
    hair: str = "#4a3526"
    cap: str = "#e8e6e0"
    brim: str = "#5b4fa8"
    trim: str = "#e9e7e1"
    iris: str = "#4b6b6e"
    headwear: Literal["cap", "visor", "none"] = "cap"
    hair_style: Literal["short", "ponytail", "bald"] = "short"
    legs: Literal["trousers", "shorts"] = "trousers"
    stubble: float = 0.0
    stripe_m: float = 0.0

    def materials(self) -> FloatArray:
        """(17, 8): linear albedo r, g, b, shine, gloss, softness of skin, sheen, strength of folds."""
        skin = linear(self.skin)
        rows = {
            "skin": (*skin, 0.06, 18.0, 1.0, 0.10, 0.0),
            "shirt": (*linear(self.shirt), 0.012, 8.0, 0.0, 0.05, 1.0),
            "trousers": (*linear(self.trousers), 0.012, 8.0, 0.0, 0.05, 1.0),
            "belt": (*linear(self.belt), 0.10, 20.0, 0.0, 0.03, 0.0),
            "shoe": (*linear(self.shoe), 0.10, 24.0, 0.0, 0.06, 0.0),
            "sole": (*linear(self.sole), 0.02, 8.0, 0.0, 0.02, 0.0),
            "glove": (*linear(self.glove), 0.03, 10.0, 0.0, 0.04, 0.0),
            "hair": (*linear(self.hair), 0.06, 26.0, 0.0, 0.04, 1.0),
            "cap": (*linear(self.cap), 0.015, 8.0, 0.0, 0.04, 0.0),
            "brim": (*linear(self.brim), 0.02, 8.0, 0.0, 0.04, 0.0),
            "grip": (*linear("#2b2b2e"), 0.05, 14.0, 0.0, 0.02, 0.0),
            "lips": (*(skin * np.array([0.86, 0.62, 0.62])), 0.06, 22.0, 0.6, 0.05, 0.0),
            "eye": (*linear("#b8aea4"), 0.25, 60.0, 0.0, 0.02, 0.0),
            "iris": (*linear(self.iris), 0.35, 80.0, 0.0, 0.02, 0.0),
            "trim": (*linear(self.trim), 0.012, 8.0, 0.0, 0.05, 0.6),
            "buckle": (*linear("#b9b6ae"), 0.5, 40.0, 0.0, 0.05, 0.0),
            "steel": (*linear("#c7c9cc"), 0.9, 60.0, 0.0, 0.35, 0.0),
        }
        return np.array([rows[name] for name in MATERIALS])


def linear(colour: str) -> FloatArray:
    """(3,) linear light of an sRGB hex colour (IEC 61966-2-1).

    >>> linear("#ffffff").round(3).tolist()
    [1.0, 1.0, 1.0]
    """
    value = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


LOOKS: dict[str, Look] = {
    "rowan": Look(name="Rowan Ashdale"),
    "mara": Look(
        name="Mara Quillfeather",
        girth=0.95,
        limb_girth=0.90,
        woman=True,
        skin="#dcae90",
        shirt="#b5546a",
        trousers="#5d7192",
        belt="#d8d2c6",
        shoe="#dedbd6",
        sole="#9a6f78",
        hair="#7a4e2c",
        cap="#efece6",
        brim="#8a6fd0",
        trim="#f0ece4",
        iris="#5c7650",
        headwear="visor",
        hair_style="ponytail",
    ),
    "idris": Look(
        name="Idris Fenwhistle",
        girth=1.10,
        limb_girth=1.06,
        skin="#80563f",
        shirt="#7aa07c",
        trousers="#a79880",
        belt="#3b2f28",
        shoe="#6b5a4b",
        sole="#d5cfc4",
        hair="#241c18",
        cap="#46568f",
        brim="#3a4778",
        trim="#e7e2d6",
        iris="#4a3020",
        stubble=0.45,
        stripe_m=0.055,
    ),
    "tobin": Look(
        name="Tobin Larkmead",
        girth=1.20,
        limb_girth=1.05,
        skin="#d3a283",
        shirt="#c9a24c",
        trousers="#6f7f76",
        belt="#4a3a2c",
        shoe="#c9c6c0",
        sole="#55534f",
        hair="#8b8781",
        headwear="none",
        hair_style="short",
        stubble=0.25,
    ),
    "wren": Look(
        name="Wren Halloway",
        girth=0.92,
        limb_girth=0.88,
        woman=True,
        skin="#a8744f",
        shirt="#6a8fbf",
        trousers="#98918a",
        belt="#6b4a3a",
        shoe="#d8d5d0",
        sole="#6a7b9a",
        hair="#2a1d17",
        cap="#d9d4ee",
        brim="#6a57b8",
        trim="#eceaf4",
        iris="#3b2a1c",
        headwear="cap",
        hair_style="ponytail",
        legs="shorts",
    ),
}
"""Name → look. All players are invented."""


def find_look(look: str | Look) -> Look:
    """The look of that name.

    Raises
    ------
    InputError
        No look has this name.
    """
    if isinstance(look, Look):
        return look
    if look not in LOOKS:
        raise InputError(f"{look!r} is not a look.", f"Use one of {', '.join(LOOKS)}.")
    return LOOKS[look]
