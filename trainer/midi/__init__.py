"""MIDI ports of this machine, beneath what listens to them (`inputs`) and what sounds on them (`sound`).

`names` shows and chooses ports, `bindings` is the seam over RtMidi, `systems` opens a backend and lists, opens and
sends, `jack` does the little of JACK that RtMidi leaves out.
"""
