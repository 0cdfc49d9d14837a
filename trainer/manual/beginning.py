"""The first evening, setting up, and what the screen shows."""

from __future__ import annotations

from typing import Final

from trainer.manual import Chapter

FIRST_EVENING: Final = Chapter(
    "first-evening",
    "Your first evening",
    """\
Half an hour, from an empty screen to a form in time. If nothing here has been installed yet, read the chapter \
setting-up first.

1. Sit down and warm up: a minute of anything slow and easy. Stop when something hurts, tingles or goes numb.
2. Switch the piano on, connect its USB socket to the computer, and then open the program in a terminal:

    trainer

3. It opens on today's practice: what is planned and for how many minutes. On the first evening that is one new thing, \
two notes with the root at the bottom. The last line says which piano it listens to. If it says that none is \
connected, press F9 and choose one, or the computer's keyboard to look around.
4. Play any key of the piano and let it go (or press Enter): it begins. From now on leave the computer alone.
5. The chord stands in large letters, and beside it the ladder: one rung for each degree, the lowest note at the \
bottom and named with its octave (C4 is middle C). Play all of it at once. Each rung fills as its key goes down.
6. When the chord is decided you see what became of every degree, one sentence that says why if it was wrong, and the \
time. Hold the keys as long as you want to read. Let go, and the next root comes.
7. If you missed it, the same chord stays: play it again. After three tries, where a set says nothing else, the next \
root comes.
8. F4 shows the answer, F2 asks the chord before once more, F3 skips, F6 pauses. F10 ends whenever you have had enough.
9. At the end stand your figures, root by root in the cycle of fourths. A dash or "not enough yet" is meant as it \
says: some tries prove nothing.
10. Enter plays the same again. For something of your own choice press F8: the sets are in an order that makes sense, \
the first four being shells and guide tones.
11. One thing more. In the list of sets press T, choose ii-V-I and press Enter: two bars are counted in, and the form \
goes by at 80 beats a minute. A sign appears under each chord. Let it go by; one slip shifts nothing. Esc ends it.
12. Ctrl+Q leaves the program. Everything that you played is kept; nothing needs saving.

# The next evenings
Open the program and play a key. Today's practice asks for what has faded and what was wrong, brings one new thing, \
and what is still slow. A little on most days holds better than all of it on one, and a day of rest is no fault: \
nothing here counts days in a row.

# Without a piano at hand
On F9 choose the scripted player to see a drill being played, or the computer's keyboard: z x c v b n m are the white \
keys D to C from D3 up, the row above them has the black keys, q w e r t go on from F4. A letter stays down until you \
type it again, and the space bar lets go of all. No times are taken from it.""",
)

SETTING_UP: Final = Chapter(
    "setting-up",
    "Setting up the piano and the program",
    """\
# The cable
Any digital piano with a socket for USB to a computer will do, and any keyboard with round MIDI sockets and a cable \
that turns them into USB. Listen to the piano's own sound: this program needs none. Switch the piano on before you \
open the program; if you forget, it waits, and begins when the piano comes.

Bluetooth works too, but carries notes in bunches some hundredths of a second apart: times are marked, and the cable \
is better.

# Linux
Nothing has to be installed for the piano. Where no port is found:

- The system's sequencer may be asleep. This wakes it until the next start of the computer:

    sudo modprobe snd-seq

- Where JACK runs, the program hears its ports too; the piano may have to be made known there.
- Your user may not be allowed to use sound. In many systems it has to belong to the group audio:

    sudo usermod -aG audio $USER

and log in anew.

# macOS
Nothing has to be installed for the piano. In the terminal use python3. The function keys F1 to F12 may need the key \
Fn held, or a tick in the system's keyboard settings. Where the terminal itself uses a function key, Ctrl+P finds \
every command by name.

# Windows
Install Python 3.12 and tick the box that adds it to the path. In the program's folder, one line after the other:

    py -m venv .venv
    .venv\\Scripts\\python -m pip install .
    .venv\\Scripts\\trainer

A port can be used by one program at a time: close others that use the piano. The newer terminal of the system shows \
the signs better than the old one.

The makers have tried Linux. macOS and Windows are provided for and have not been tried by them; trainer doctor tells \
what it finds there.

# Linux and macOS, the program
In the program's folder:

    python3 -m venv .venv
    .venv/bin/python -m pip install .
    .venv/bin/trainer

In each new terminal, this makes the program known by its name (in Windows it is .venv\\Scripts\\activate):

    source .venv/bin/activate

# Is all well?
    trainer ports
    trainer doctor

The first lists the pianos that are found, the second looks at everything the program rests on and says what to do. \
The setting port keeps your choice (a part of the name is enough), channel chooses one MIDI channel:

    trainer settings port 'Digital Piano'
    trainer settings

# What the cable adds
A few thousandths of a second, and the screen some hundredths. That is the same for every chord, so comparing your own \
times is fair. For playing in time it matters more:

    trainer calibrate

Play along with sixteen beats; from then on that much is taken off, and shown as taken off.

# Hearing it
In time, click and bass go out to the piano's own port where it can be written to, quietly. Where F5 stands at the \
foot of the screen it plays the voicing there too. The settings sound_port and sound_velocity say where to and how \
loud:

    trainer settings sound_velocity 40""",
)

SCREEN: Final = Chapter(
    "screen",
    "What the screen shows",
    """\
# The ladder
The voicing that is asked for, one rung for each degree, the lowest note at the bottom: degree, note, and the plain \
key where the spelling is odd, as in C♭ (B). Colours only repeat what the signs say.

: ○ | waiting: not held yet
: ● | held, where it belongs
: ✗ | another note is held instead; which one stands beside it
: ↕ | the right note in another octave or voice
: ◌ | missing
: – | may be left out, and was
: + | a note too many, at its height beside the ladder

The register counts: a voicing is asked for at one place, chosen so that it sounds clear. A set may say otherwise.

# How much is shown
Notes at first, then degrees alone, then the name only: today's practice shows less of what you play well, and more \
again after a miss. F4 always shows all.

# The wheel of roots
Twelve roots in the cycle of fourths, always in the same order. right is how often the first try was right, time the \
middle one of your times, at least the share that one may be sure of, last how long ago the root was asked.

# A form in time
The beat, the chord of now and the one that follows, and a map of all bars with a sign under each thing to be played:

: ✓ | right
: ✗ | wrong
: – | not played
: › | right, but late
: o | an optional one that was left out

# Any size
Everything that matters can be read at 80 by 24, and at 40 by 10 still the prompt, the ladder and the reason. Make the \
letters of the terminal large: you sit a metre and a half away.

# Colours
Ctrl+P, then Colours: dark, light, high contrast. The program also works with none at all (NO_COLOR), and in plain \
lines for screen readers and simple terminals:

    trainer --plain

# From the piano
On F9 you can give the very lowest and highest keys, or the pedal, a command each: again, skip, show the answer, \
pause, next set. They are off unless you set them.

# Play, and read
F12: write a chord, play keys, and read them as degrees of that chord, or with no chord every chord that they may be. \
F5 keeps what you hold as a drill of your own.

# Progress
F11 shows what the record says. 1 to 8 or Tab take another view, arrows choose, Enter draws the curve of what is \
chosen; D, S, V and P narrow it to days, a set, a voicing, a piano.""",
)
