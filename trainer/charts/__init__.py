"""Charts: bars of chords as text, progressions and forms, any key from any key, and their voice leading.

`reading` states how a chart is written; `values` how beats, forms and keys are counted. MusicXML is read by
`score_reading` and written by `score_writing`, which are not loaded here, since few commands need them.
"""

from trainer.charts.forms import FORMS, FormError, FormRow, form_chart, form_row
from trainer.charts.leads import ChartPath, lead_chart, lead_text, lead_values, slots_of
from trainer.charts.reading import read_chart
from trainer.charts.values import (
    Bar,
    Chart,
    ChartChord,
    ChartError,
    ChartFault,
    FormChord,
    Key,
    MelodyNote,
    Meter,
    PlayedBar,
    chord_on,
    degree_of,
    in_twelve_keys,
    transposed,
    twelve_keys,
)
from trainer.charts.writing import chart_values, write_chart

__all__ = [
    "FORMS",
    "Bar",
    "Chart",
    "ChartChord",
    "ChartError",
    "ChartFault",
    "ChartPath",
    "FormChord",
    "FormError",
    "FormRow",
    "Key",
    "MelodyNote",
    "Meter",
    "PlayedBar",
    "chart_values",
    "chord_on",
    "degree_of",
    "form_chart",
    "form_row",
    "in_twelve_keys",
    "lead_chart",
    "lead_text",
    "lead_values",
    "read_chart",
    "slots_of",
    "transposed",
    "twelve_keys",
    "write_chart",
]
