"""Target and gesture -> Grade: a verdict for each degree, and the cause of a miss in the trade's words.

    target = Target(chord, place(recipe, root), Passes(order="inversion"))
    grade(target, gesture, Surroundings(previous, others))

Grading is always against the prompted root and degrees, never by naming the keys and comparing names: rootless Dm9 is
Fmaj7 and rootless G13 is Db7 altered, the same keys and different answers.

`targets` says which sets of keys are accepted and is capture's judge, `verdicts` reads an answer degree by degree,
`causes` says why it was wrong, `sentences` says it in a teacher's words, `rules` writes what passes into a record and
makes the target again from it. Keys are MIDI numbers; sets of keys are masks
(`pitch.mask_of`). Sources: what passes and the causes are common practice; costs are judgements, measured by
`tests/benchmarks/bench_diagnosis.py`.
"""

from trainer.grading.causes import CAUSES, Cause, Grade, Surroundings, grade
from trainer.grading.rules import rules_text, target_from
from trainer.grading.sentences import pretty_symbol
from trainer.grading.targets import OCTAVES_THAT_PASS, ORDERS_THAT_PASS, Passes, Target, degrees_in
from trainer.grading.verdicts import VERDICTS, Verdict, verdicts_so_far

__all__ = [
    "CAUSES",
    "OCTAVES_THAT_PASS",
    "ORDERS_THAT_PASS",
    "VERDICTS",
    "Cause",
    "Grade",
    "Passes",
    "Surroundings",
    "Target",
    "Verdict",
    "degrees_in",
    "grade",
    "pretty_symbol",
    "rules_text",
    "target_from",
    "verdicts_so_far",
]
