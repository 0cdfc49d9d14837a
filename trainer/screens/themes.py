"""Three themes: light, dark, and one of high contrast. Every state has its sign and word beside its colour.

Held and wrong are told apart by blue-green and orange, which the common colour deficiencies keep apart.
"""

from __future__ import annotations

from typing import Final

from textual.theme import Theme

THEMES: Final = (
    Theme(
        name="dark",
        primary="#e8d8b0",
        secondary="#8f98a3",
        foreground="#d9dee4",
        background="#14181d",
        surface="#1e242b",
        panel="#28303a",
        success="#4fc3b0",
        warning="#d8b4f0",
        error="#ff9d5c",
        accent="#e8d8b0",
        variables={"white-key": "#d9dee4", "black-key": "#2b333d"},
        dark=True,
    ),
    Theme(
        name="light",
        primary="#27406b",
        secondary="#5d6570",
        foreground="#1d232b",
        background="#f7f4ec",
        surface="#ebe6d8",
        panel="#dfd8c6",
        success="#00665c",
        warning="#6a3d9a",
        error="#a63c00",
        accent="#27406b",
        variables={"white-key": "#ffffff", "black-key": "#1d232b"},
        dark=False,
    ),
    Theme(
        name="high contrast",
        primary="#ffe14d",
        secondary="#e0e0e0",
        foreground="#ffffff",
        background="#000000",
        surface="#000000",
        panel="#303030",
        success="#00ffd5",
        warning="#d9b8ff",
        error="#ffb380",
        accent="#ffe14d",
        variables={"white-key": "#ffffff", "black-key": "#000000"},
        dark=True,
    ),
)
THEME_NAMES: Final = tuple(theme.name for theme in THEMES)
