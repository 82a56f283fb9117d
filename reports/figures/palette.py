"""Colours by role, safe for colour-blind readers.

The hues are those of Okabe and Ito (Color Universal Design, 2008; values from memory): blue #0072B2 and
vermillion #D55E00 on a light page, sky blue #56B4E9 and orange #E69F00 on a dark one, which keep their
contrast there. Everything that a colour says is said by a shape and a word too.
"""

from __future__ import annotations

from typing import Literal

Role = Literal["accent", "warn", "ink", "muted"]

LIGHT: dict[str, str] = {"accent": "#0072B2", "warn": "#D55E00", "ink": "#1F2328", "muted": "#5A6068"}
DARK: dict[str, str] = {"accent": "#56B4E9", "warn": "#E69F00", "ink": "#E9E6DF", "muted": "#A8A59D"}
