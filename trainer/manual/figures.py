"""What every figure means and where it comes from; numbers are read off the constants that decide."""

from __future__ import annotations

from trainer.capture import MILLISECOND_NS, Windows
from trainer.estimates import wilson
from trainer.manual import Chapter
from trainer.progress import LEAST_FOR_ONE, LEAST_FOR_THREE
from trainer.scheduling.history import FAST_DAYS, LEAST_TIMES, LONGEST_DAYS, SLOW_TIMES, STAGE_RIGHT
from trainer.session import ANTICIPATION_MS
from trainer.timing.answers import Bounds
from trainer.timing.ladder import TempoLadder
from trainer.timing.recording import CLEAN_SCATTER_MS


def figures_chapter() -> Chapter:
    """The chapter."""
    hearing, bounds, ladder = Windows(), Bounds(), TempoLadder()

    def heard_ms(nanoseconds: int) -> str:
        return f"{nanoseconds // MILLISECOND_NS} thousandths of a second"

    def surely(right: int, tries: int) -> str:
        interval = wilson(right, tries)
        assert interval is not None
        low, high = interval
        return f"{right} of {tries} right means {100 * low:.0f} to {100 * high:.0f} %"

    text = f"""\
"Judgement" below means: no data were found, so somebody decided. Everything that you play is kept with its times, so \
that a better rule can be applied to it later.

# Accuracy
The share of first tries that were right, with nothing shown. Skipped and unfinished chords do not count. Beside it \
stands the range in which your true share lies with 95 % certainty: {surely(5, 5)}, {surely(12, 12)}, {surely(15, 20)}.

Source: the interval of Wilson, recommended for few tries by Brown, Cai and DasGupta (2001).

# Think, spread, settle
: Think | from the prompt on the screen to your first key
: Spread | from your first key of the chord to your last
: Settle | from the last key of a wrong chord until the right one is held; none when it was right at once

Planning and playing are two things, so they are told apart (Sternberg 1978; Verwey 2001; Klapp 2003). They are never \
added up into one, but for the next figure.

# Response time
Think and spread together, of first tries that were right. It ends when the piano reports the key, which is near the \
bottom of its way: "time to note-on". The delay of screen and cable is in it, so it is shown to 10 thousandths and no \
finer, and compared only with your own times at the same piano. Left aside are keys struck under {ANTICIPATION_MS:.0f} \
thousandths of a second after the prompt (nobody reads that fast) and the first chord after a pause.

Of many times the middle one is shown, the median: one chord during which the telephone rang does not move it. Under \
{LEAST_TIMES} times there is none, because {LEAST_TIMES} are the least for which a range holds with 95 % certainty. \
Your slowest three roots are named from {LEAST_FOR_THREE} times each, the slowest one from {LEAST_FOR_ONE}: with fewer \
the wrong one is named too often.

Source: exact intervals of the median by order statistics; the numbers 12 and 20 from a simulation of twelve roots of \
which one is truly slower. No norms for playing a voicing were found, so none are used.

# Learned
Right at the first answer on the latest day, and that day is later than the first. What goes well today may be gone \
tomorrow, and often is after practice that felt easy (Stambaugh 2011; Carter and Grahn 2016; the effect is small or \
none in some studies).

# What comes next
Each voicing on each root has a date on which it will have faded to about nine chances in ten. The dates come from \
FSRS, an open method fitted to some 350 million answers at flash cards; that it holds for hands is not known. Only the \
first answer of a day counts: wrong or shown is again, right after a correction or slower than {SLOW_TIMES:g} times \
your median is hard, right is good, and right and faster than the set's target, after {FAST_DAYS} days that were so, \
is easy. No date is further off than {LONGEST_DAYS} days (judgement: hands forget sooner than heads).

A new form is mixed with others when {100 * STAGE_RIGHT:.0f} % of the latest answers are right and every root has been \
played (judgement, after studies of blocked and mixed practice).

# Together, rolled, spread
Keys that follow each other within {heard_ms(hearing.gap_ns)} belong to one chord. One hand is called together up to \
{heard_ms(hearing.together_one_hand_ns)} from first to last, two hands up to \
{heard_ms(hearing.together_two_hands_ns)}. A chord is judged the moment it is right, or when a wrong key is down and \
no further one has come for {heard_ms(hearing.silence_ns)}. A key of the chord before is no wrong note for its first \
{heard_ms(hearing.leftover_ns)}.

Source: computed for this program from 13,511 chords of 22 skilled pianists in an open corpus (Vienna 4x22), of which \
99 % lie within these bounds. No data on students were found: a wider spread is told, never failed.

# Offset and scatter
How early or late you are in a pass: offset is the middle of all your errors against the click, your habit and the \
port's delay together; scatter is how far single chords lie from that. A steady offset is heard as style, scatter as \
unsteadiness. One chord far off moves neither.

Source: median, and 1.4826 times the median distance from it (Hampel 1974).

# Right, late
A chord is late when it comes more than half its length after its beat, at most {bounds.late_ms:.0f} and at least \
{bounds.least_ms:.0f} thousandths of a second (judgement; players of an ensemble are 30 to 40 apart).

# Clean, and the tempo ladder
A pass is clean when all of it was played, every chord right and none late, and the scatter is at most \
{CLEAN_SCATTER_MS:.0f} thousandths of a second (judgement). One step of the ladder is {ladder.step_percent:g} %; \
{ladder.steps_up} up when clean, {ladder.steps_down} down when not: it settles where two passes of three are clean \
(Kaernbach 1991).

# Low notes
Low intervals sound muddy, so each has a lowest place where it is still clear. Arranging handbooks differ by a tone or \
two; they are settings of a set, and never fail a chord.

# Books and papers
- Brown, Cai and DasGupta, Interval estimation for a binomial proportion, Statistical Science 16 (2001)
- Carter and Grahn, Frontiers in Psychology 7:1251 (2016)
- Stambaugh, Journal of Research in Music Education 58 (2011)
- Hampel, Journal of the American Statistical Association 69 (1974)
- Kaernbach, Perception & Psychophysics 49 (1991)
- Rickard, Lau and Pashler, Psychonomic Bulletin & Review 15 (2008): small sets flatter
- Askenfelt and Jansson; Goebl, Bresin and Galembo (2005): when a piano key speaks
- Vienna 4x22 piano corpus: timing of chords"""
    return Chapter("figures", "What every figure means", text)
