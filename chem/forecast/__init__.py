"""Amounts, clouding times, probabilities, rules and the answer: the Study."""

from chem.doubts import Range
from chem.forecast.answer import THRESHOLD, Answer
from chem.forecast.beliefs import NOTHING_LEARNED, Beliefs
from chem.forecast.check import RefereeReport, referee_mix
from chem.forecast.course import Followed, follow
from chem.forecast.forecasting import forecast, window_forecast
from chem.forecast.hazards import ALWAYS, IF_IT_GOES_WRONG, JAR_DECIDES, Gas, gases
from chem.forecast.off_gas import Evolved, evolved
from chem.forecast.out import Out, show_limit
from chem.forecast.prepare import Prepared, Standing, assemble
from chem.forecast.result import AloneForecast, DoubtShare, Forecast, SolidForecast, WindowForecast
from chem.forecast.rules import Rule, broken, never, rules_of
from chem.forecast.salt_and_leaf import Salt, salt
from chem.forecast.seen import SEEN_WORDS, read_after, read_seen
from chem.forecast.settling import MODEL_KINDS, ONLY_THE_JAR, settle_by
from chem.forecast.state import State
from chem.forecast.study import Study, Variant
from chem.forecast.times import TIMES_S, known_time

__all__ = [
    "ALWAYS",
    "IF_IT_GOES_WRONG",
    "JAR_DECIDES",
    "MODEL_KINDS",
    "NOTHING_LEARNED",
    "ONLY_THE_JAR",
    "SEEN_WORDS",
    "THRESHOLD",
    "TIMES_S",
    "AloneForecast",
    "Answer",
    "Beliefs",
    "DoubtShare",
    "Evolved",
    "Followed",
    "Forecast",
    "Gas",
    "Out",
    "Prepared",
    "Range",
    "RefereeReport",
    "Rule",
    "Salt",
    "SolidForecast",
    "Standing",
    "State",
    "Study",
    "Variant",
    "WindowForecast",
    "assemble",
    "broken",
    "evolved",
    "follow",
    "forecast",
    "gases",
    "known_time",
    "never",
    "read_after",
    "read_seen",
    "referee_mix",
    "rules_of",
    "salt",
    "settle_by",
    "show_limit",
    "window_forecast",
]
