"""A practice tool for jazz piano: voicings by chord degree, in twelve keys, graded at a MIDI piano.

The map. A `.py` file (or a package listed here) directly in `trainer/` is pure: no I/O, no clock, no chance of its
own, no terminal. A folder touches the world. A module imports only what stands above it; folders of the world never
import each other, but for `midi`, which `inputs` and `sound` stand on. `tests/test_architecture.py` holds this and
fails when it is broken.

    pitch        spelled notes and degrees on the line of fifths; keys of the piano; orders of roots
    estimates    proportions and medians with their intervals
    chords/      chord symbols: text <-> quality, bass, tensions; three styles of writing them
    voicings/    the voicing table; a recipe on a root, in a register, within a reach
    leading/     the cheapest path through many chords' candidate voicings
    charts/      bars of chords as text and as MusicXML, progressions and forms; any key from any key
    capture      timed note events in, settled gestures out
    grading/     target and gesture -> verdicts by degree, and the cause of a miss
    naming       held keys -> degrees of a chord, the voicings they belong to, and the chords they may be
    timing/      a take against the beats of a form: which gesture answers which chord, early or late
    drills/      drill sets: text <-> values, every fault with its line and column
    accompaniment/  click, count-in, bass, voicings and melody: notes in beats, and MIDI messages in time
    progress/    attempts, and every figure computed from them
    scheduling/  what to practise next, replayed from attempts: today's plan, and the next prompt in a session
    session      one practice session as a state table: prompt, hear, grade, next
    in_time      a form at a tempo as a state table: count-in, pass, answer, next pass
    regrading    stored attempts graded again from their events
    desk         what became of an assignment: one student's state, and a class seen together
    results      what a student hands in: one checked file, its attempts graded anew
    manual/      chapters for musicians: what is printed by `trainer guide` and shown on the help screen

    midi/        MIDI ports of this machine, beneath the next two
    inputs/      where notes come from: MIDI ports, a MIDI file, the computer keyboard, a scripted player
    sound/       MIDI out: the voicing, bass and click, on time, and all notes off at every exit
    storage/     records (a database), drill files, settings, the folders they live in
    sheets/      what is printed or sent: engraved pages, and music as files for other programs
    screens/     the Textual application
    commands/    the commands and their wiring: the one folder that brings the others together
    __main__     the command line

Glossary
    chord tone, degree   a letter step from the root and an alteration: b7, #11
    quality              what stands after the root in a symbol: m7, 7(b9)
    family               a kind of voicing: shell, rootless from the third, drop 2
    recipe               a voicing's degrees from the bottom up, on no root yet
    placement            a recipe on a root: spelled notes and keys of the piano
    target               a placement to be played, and what passes for it
    gesture              what a hand does to answer: the keys struck until the answer is decided
    verdict              right, moved, missing, left out or replaced, one for each degree
    cause                why an answer was wrong, as a stable code and a sentence
    try, attempt         one graded gesture; all the tries at one prompt
    slot                 one thing to be played at its beat of a form: a chord, or its bass
    pass                 once through a form, or a section of it, in one key at one tempo
    clean                of a pass: whole, every slot right and in its time, steady
    item                 voicing x quality x root: what is learned as one thing
"""
