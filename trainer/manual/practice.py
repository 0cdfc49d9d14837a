"""Practising, forms in time, hands and ears, for teachers, and when something goes wrong."""

from __future__ import annotations

from typing import Final

from trainer.manual import Chapter

PRACTISING: Final = Chapter(
    "practising",
    "Practising: today, sets, lessons",
    """\
# Today's practice
The program opens on it. It asks, in this order, for what has faded (right when last played, and due again), what was \
wrong, one new thing, what is right and slow, and a form at tempo once all its voicings are in your hands. W tells the \
reason of each, and in the drill Ctrl+Y that of the chord in hand. \
What is missed comes back after some other chords. The setting daily_minutes says how long.

    trainer today
    trainer today --minutes 10 --why
    trainer settings daily_minutes 15

A new voicing comes by itself at first, root after root, until about four answers in five are right; then it is mixed \
with others. Mixed practice feels worse and holds better from one day to another: what counts as learned here is what \
is still right on another day. Open assignments come first, then your own sets, then the shipped ones.

# Sets
A set is a list of chords and one way of voicing them. F8 lists those that come with the program and your own.

    trainer drill 'guide tones'
    trainer drill my-set.toml --input 'Digital Piano'

For a set of your own press M in that list: chords, voicings, roots and tries are chosen, and F2 writes it; E changes \
one of your own. Or begin with a commented example; trainer check names each fault with its line:

    trainer new set thursday
    trainer check thursday.toml

# Lessons
A lesson says how a whole chart is to be played: which voicing for which chord, what may be left out, in which rhythm. \
In the list of sets it offers several ways: its voicings, each in twelve keys; its moves, two chords in succession; \
and the form in time. Learn them in that order.

    trainer lesson kettle --key Eb
    trainer drill kettle --moves

# Teach by playing
Ctrl+P, then Teach a tune, or the command: it goes through a chart, you play a voicing for each chord and let go, and \
a lesson is written.

    trainer teach my-tune.chart --output my-tune.lesson.toml

# Charts and forms
Any chart in any key, the voicings that move least, and the whole on paper to stand on the piano:

    trainer chart 'jazz blues' --key Eb --by-symbol
    trainer lead 'jazz blues' --key Bb --loop
    trainer sheet kettle --key Eb --output kettle.pdf

# Hear it
F5 sounds the voicing asked for through the MIDI in of your piano, with the root below where it is rootless; again, it \
sounds your answer before and then what was asked for. A form, a chart or a lesson is heard as written:

    trainer hear kettle --melody --click
    trainer hear ii-V-I --key Bb --tempo 120 --bass walking

# One chord
    trainer hear C7alt --voicing 'rootless from the third'
    trainer spell Cm7 --voicing 'rootless from the third'
    trainer name Eb3 G3 Bb3 D4 --chord Cm7""",
)

IN_TIME: Final = Chapter(
    "in-time",
    "Forms in time",
    """\
A form is counted in, goes by at a tempo, and is graded chord by chord, with nothing to press. Press T in the list of \
sets, choose a lesson's form in time, or:

    trainer form 'jazz blues' --key F --tempo 100

1. Two bars are counted in. Come in with the form; a pass that begins late is still heard rightly.
2. A sign comes under each chord as it goes by. Look at the next one instead.
3. A slip, a bar left out, or a chord played twice shifts nothing: the whole take is laid against the form at once.
4. After the pass you read what to mend first, how far from the beat you were, and how much that scattered.
5. The next pass counts itself in: a step faster when the pass was clean, two steps slower when not. A chord that is \
not played is no reason to hurry.

: + and - | faster, slower
: F2 | the same again
: F3 | the next key
: F6 | pause
: F10 or Esc | end

The highest clean tempo of each key is kept; trainer progress --by key shows it. A single section, all keys, even \
eighths in place of swung ones:

    trainer form kettle --section B --straight
    trainer form ii-V-I --all-keys

# Click and bass
They go out to the piano, quietly. Two and four alone, roots in place of a walking bass, or nothing at all:

    trainer form 'jazz blues' --click 'two and four' --bass roots
    trainer form 'jazz blues' --silent

# A take that you recorded
    trainer grade take.mid --set kettle

grades a Standard MIDI File in the same way.""",
)

HANDS: Final = Chapter(
    "hands-and-ears",
    "Hands and ears",
    """\
Your teacher and your clinician know your hands; this program does not. What they say goes before everything here.

# Before and during
- Warm up first, slowly, with something you know.
- Raise what you practise little by little. Most trouble begins after a sudden rise.
- Take a break after every 25 minutes, five minutes at least, with the arms hanging loose. The program reminds you; \
the setting break_minutes says when.
- Take a day off in the week.

# Stop
Stop at once on pain, numbness or tingling, and do not try whether it still hurts. See a clinician who treats \
musicians. Playing through pain is how a bad week becomes a bad year.

# Reach
Never stretch for a chord. Tell the program what your hand takes in comfort: wider voicings then come closer, or split \
between the hands.

    trainer settings reach_semitones 12

12 is an octave, 14 a ninth, 16 a tenth. Of 473 adult pianists nearly nine in ten women and a quarter of the men could \
not normally play a tenth (after Boyle, Boyle and Booker 2015): a tenth is an option, never a duty.

# Ears
Start quiet, and keep headphones at a moderate level. At 85 decibels eight hours a day are the usual limit, and each 3 \
decibels more halve the time (NIOSH). For headphones at leisure the figure is 80 decibels for 40 hours a week, for \
children 75 (WHO and ITU, H.870). Click and chords begin quietly here; make them no louder than the piano.

# Where this comes from
Breaks, warming up, stopping at pain: advice of clinicians and teachers (Horvath; Klickstein; BAPAM on return to \
play). It is expert opinion; no trial says how many minutes are best.""",
)

TEACHERS: Final = Chapter(
    "teachers",
    "For teachers",
    """\
# A set for the week
Write a set, or build one at the piano (F12, then F5). Everything that passes for right is yours to say: inversions, \
octaves, doublings, what may be left out, tries, target times. trainer check finds every fault.

# A lesson on a tune
Write the chart as on paper, then play your voicings into it (trainer teach), or write rules. What follows from it is \
made for you: the moves, twelve keys, the form in time, the pages to print.

# Assignments
1. Write one file, and hand it over by any means:

    trainer assign guide-tones --due 2026-12-04 --tries 4 --accuracy 75 --days 2

2. The student opens it; the set joins the others, and whatever is played of it counts:

    trainer open guide-tones.assignment.toml
    trainer assignments

3. The student hands in, and you collect:

    trainer hand-in guide-tones --student 'Ada'
    trainer collect ada.results
    trainer desk

Nothing in a file that comes back is believed: every answer is graded again from the keys that were played, and where \
the file claims otherwise it says so. trainer desk shows who is done, who is stuck where and why, and what to teach \
the whole class next.

# A school
Many students can share one database on a server, which itself sees to it that each reads and adds only their own. \
They practise into their own file and send it when they can; sending twice does no harm. The README tells how it is \
set up.

    trainer school assign guide-tones.assignment.toml --class evening
    trainer school send

# What to make of the figures
Read the interval, not the figure. Compare a student with the same student last week, on the same kind of set, at the \
same piano. No norms for others exist, and none are offered.

# A report for the month
What is learned, how surely, and what to work on next, as a web page or a PDF that needs nothing else:

    trainer report --month 2026-03 --output march.html

# On paper
    trainer sheet 'guide tones' --output guide.pdf
    trainer sheet kettle --all-keys --output kettle.musicxml""",
)

TROUBLE: Final = Chapter(
    "trouble",
    "When something goes wrong",
    """\
    trainer doctor

looks at the piano, the folders, the record, the settings, every set and the terminal, and says what to do. It is the \
first thing to run, and what to send along when you ask somebody.

: No piano is found | Switch it on before the cable; try another cable (some only charge). trainer ports tells what is \
there. The chapter setting-up has more.
: The piano is taken | Another program uses it. Close that one; the drill goes on by itself.
: Notes hang | Let go of all keys; the pause (F6) forgets what was held.
: Right, yet "moved" | The right notes in another octave. The lowest rung says which octave is asked. A set may free it.
: One note counts as missing | All have to be down together for a moment. A chord may be built up slowly, but each key \
has to stay.
: Right, yet late | The port may add to your timing: trainer calibrate measures it.
: Letters look odd | The terminal's font lacks the signs for flat and sharp: choose another font, or trainer --plain.
: A function key does nothing | The terminal or the system takes it. Ctrl+P finds every command by name.
: No time is shown | Under six right answers on a root none is. Nor are times taken from the computer's keyboard.
: A file is refused | The line that says so names the place, what is there and what could stand there.
: Something crashed | The program says where its report is. It holds where in the program it happened, and nothing \
that you played or wrote.

# Where things are
The record, your settings and the log are in your user's own folders; trainer doctor names them. Every chord is \
written before you see its verdict, a copy is made once a day, and pulling the plug loses nothing that was shown. To \
keep everything in one place of your choice, set TRAINER_HOME to a folder before you start.

To another computer, or out of a record that is damaged, as far as it can be read:

    trainer export --output practice.jsonl.gz
    trainer import practice.jsonl.gz

A new version may hear or judge better than the one you played with. What it makes of everything you ever played, and \
putting that in the record or taking it back:

    trainer regrade
    trainer regrade --apply
    trainer regrade --undo

# Asking for help
Send what trainer doctor --json prints, what you did, what you saw, and what you expected.""",
)
