"""The Textual application: what the player sees and touches.

It gets its input, sound and store handed in; `trainer.screens.app` says how. This file loads nothing of Textual, so
that a caller can set the stage first: the frame rate is read from the environment when Textual is imported.
"""

from __future__ import annotations

import os

os.environ.setdefault("TEXTUAL_FPS", "500")
