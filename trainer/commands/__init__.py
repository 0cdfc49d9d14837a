"""The commands and their wiring: the one folder that brings the other folders together.

`refusals` says how a command ends, `rows` what a command is; `spelling` answers questions about chords, `sets` finds
and reads drill sets and lessons, `lessons` tells one, `teaching` writes one by playing, `store` is the player's record
and settings, `todays` plans today's practice, `practising` runs drills on the screen and without it, `in_time` plays
forms, `showing` lists ports, `counting` tells figures, `reporting` writes reports, `charts` finds, shows and converts
charts, `leading` finds voicings for one, `hearing` sounds them, `sheets` prints, `assigning` hands out and reads back,
`plain` practises in lines, `keeping` writes the record out, takes it in and grades it again, `school` shares one,
`caring` looks after the program, `guiding` prints the manual. Nothing heavy is imported before the command that needs
it.
"""

from __future__ import annotations

from trainer.commands.rows import CommandRow


def all_rows() -> tuple[CommandRow, ...]:
    """Every command, in the order of `trainer --help`."""
    from trainer.commands import (
        assigning,
        caring,
        charts,
        counting,
        guiding,
        hearing,
        in_time,
        keeping,
        leading,
        lessons,
        practising,
        reporting,
        school,
        sets,
        sheets,
        showing,
        spelling,
        teaching,
        todays,
    )

    modules = (
        todays,
        practising,
        in_time,
        spelling,
        charts,
        leading,
        hearing,
        lessons,
        teaching,
        showing,
        counting,
        reporting,
        sets,
        assigning,
        sheets,
        keeping,
        school,
        caring,
        guiding,
    )
    return tuple(row for module in modules for row in module.COMMANDS)
