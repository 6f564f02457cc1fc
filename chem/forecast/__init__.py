"""Amounts, clouding times, probabilities and the answer."""

from chem.forecast.check import RefereeReport, referee_mix
from chem.forecast.evolved import Evolved
from chem.forecast.forecast import forecast
from chem.forecast.hazards import ALWAYS, IF_IT_GOES_WRONG, JAR_DECIDES, gases, label_forbids
from chem.forecast.outlook import THRESHOLD, Outlook, outlook
from chem.forecast.prepare import Prepared, prepare
from chem.forecast.result import TIMES_S, DoubtShare, Forecast, Range, SolidForecast, TankLine
from chem.forecast.seen import SEEN_WORDS, read_seen
from chem.forecast.settling import MODEL_KINDS, ONLY_THE_JAR, settle_by

__all__ = [
    "ALWAYS",
    "IF_IT_GOES_WRONG",
    "JAR_DECIDES",
    "MODEL_KINDS",
    "ONLY_THE_JAR",
    "Outlook",
    "Prepared",
    "THRESHOLD",
    "TIMES_S",
    "DoubtShare",
    "Evolved",
    "Forecast",
    "Range",
    "RefereeReport",
    "SEEN_WORDS",
    "SolidForecast",
    "TankLine",
    "forecast",
    "gases",
    "label_forbids",
    "outlook",
    "prepare",
    "read_seen",
    "referee_mix",
    "settle_by",
]
