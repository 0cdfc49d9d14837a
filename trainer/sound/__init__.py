"""MIDI out: what is sounded for the player, on time, and always ended.

    with open_sound("Digital Piano") as sound:      # by part of its name; "" takes the first that may be a piano
        sound.play(cues(notes, grid))               # returns at once; the grid's clock is time.perf_counter_ns
        sound.wait()
        sound.stop()                                # immediately, all notes off

`outputs` finds and holds a port, `playing` sends messages at their moments, `exits` ends everything however the program
does. Nothing here loads the MIDI library before a port is asked for.
"""

from trainer.sound.outputs import list_outputs, output_beside
from trainer.sound.playing import Sound, open_sound

__all__ = ["Sound", "list_outputs", "open_sound", "output_beside"]
