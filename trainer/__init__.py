"""A practice tool for jazz piano: voicings by chord degree, in twelve keys, graded at a MIDI piano."""
