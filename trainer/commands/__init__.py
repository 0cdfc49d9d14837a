"""The commands and their wiring: the one folder that brings the other folders together.

`refusals` says how a command ends, `spelling` answers questions about chords, `sets` finds and reads drill sets,
`store` is the player's record and settings, `practising` runs drills on the screen and without it, `showing` lists
ports and figures, `leading` finds voicings for a chart. Nothing heavy is imported before the command that needs it.
"""
