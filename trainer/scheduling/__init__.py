"""What to practise next, rebuilt by replaying attempts: today's plan, and the next prompt within a session.

    pool = pool_of(sets)                                     # the forms there are, in the order in which they are met
    history = replay(attempts, pool, today, day_of)          # what the player has done
    plan = plan_of(history, minutes=15)                      # parts, each a row of choices, each with its reason
    session = Session(Chooser(plan, history), particulars)   # asks for the next prompt after every answer

`pool` holds what may be practised, `history` the replay and the ratings, `planning` the rules of the plan, `choosing`
those within a session, `reasons` the sentences. All of it is a function of its arguments: no clock, no chance but the
day's own.
"""

from trainer.scheduling.choosing import Chooser
from trainer.scheduling.history import Answer, History, Rating, intervals_days, replay
from trainer.scheduling.planning import (
    DEFAULT_MINUTES,
    Choice,
    Part,
    Plan,
    TempoOffer,
    TempoSlot,
    plan_of,
    todays_plan,
)
from trainer.scheduling.pool import Form, Pool, pool_of

__all__ = [
    "DEFAULT_MINUTES", "Answer", "Choice", "Chooser", "Form", "History", "Part", "Plan", "Pool", "Rating",
    "TempoOffer", "TempoSlot", "intervals_days", "plan_of", "pool_of", "replay", "todays_plan",
]  # fmt: skip
