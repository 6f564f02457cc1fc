"""A label's own rules: what it must never meet, whether it is poured first or last."""

from __future__ import annotations

import re

from chem.label.printed.declared import near_names
from chem.label.printed.derived import find_source
from chem.label.printed.quantities import Refused
from chem.label.printed.records import Fact, Reading, fact
from chem.label.printed.vocabulary import says, without
from chem.label.resolving import resolve_guarantee
from chem.reference import catalogue

_VERB = r"(?:mix|combin|blend|us|appl|add|pour|put)(?:ied|es|ed|ing|e|y)?"
_NEVER = re.compile(
    rf"\b(?:do not|don't|dont|never|not (?:to )?be|avoid|cannot be|can not be)\s+(?:directly )?"
    rf"(?:(?:tank[- ]?)?{_VERB}|tank[- ]?mix(?:ed|ing)?)\b(?P<between>[^.]*?)\b(?:with|alongside)\b"
    r"\s*(?P<what>.*)$|\b(?:not compatible|incompatible)\s+with\b\s*(?P<other>.*)$|"
    rf"\b(?:do not|don't|never)\s+(?:{_VERB}) (?:this |it |the product )?to\b[^.]*?"
    r"\bcontaining\b\s*(?P<held>.*)$|"
    r"\bnot with\b(?P<verb_last>.*?)\b(?:mix|apply)\b",
    re.IGNORECASE,
)
_POUR = re.compile(
    r"^(?:always |please )?(?:add|pour)(?:ed)?(?: (?:this|the|product|it|to|in|into|tank|spray|mix|"
    r"mixture))* (?P<when>last|first)\b|\b(?:should|must|to) (?:always )?be (?:the )?"
    r"(?:added |poured )?(?P<late>last|first)\b|"
    r"\bthis product (?P<own>last|first)\b|"
    r"^(?:the )?(?P<end>last|first) (?:product |one )?(?:in|into|to) the tank\b",
    re.IGNORECASE,
)
_OTHER_FIRST = re.compile(r"\bwater (?:must |should )?(?:be )?(?:added )?first", re.IGNORECASE)

_WATER_LAST = re.compile(r"\bnever add water to\b|\badd (?:the )?product to (?:the )?water", re.I)


def read_rules(text: str) -> Reading | None:
    """What it is never mixed with; whether it goes in first or last."""
    text = re.sub(r"\bw/ (?=[a-z])", "with ", text)
    if _WATER_LAST.search(text):
        return Reading(ignored=("water stands in the tank before any product",))
    pour = None if _OTHER_FIRST.search(text) else _POUR.search(text)
    never = _NEVER.search(text)
    if never is None and pour is None:
        return None
    facts: list[Fact] = []
    left: list[Refused] = []
    if pour:
        when = next(w for w in pour.groups() if w).lower()
        facts.append(fact("pour", when, f"its rule: pour {when}"))
    if never:
        what = next(
            (never[k] for k in ("what", "other", "held", "verb_last") if never[k] is not None), ""
        )
        inner = _NEVER.search(what)
        what = next((w for w in inner.groups()[1:] if w), "") if inner else what
        if says("conditions", f"{never['between'] or ''} {what}"):
            why = "a rule with a condition, which a product file can't hold"
            left.append(Refused(text, why, ('never_with = ["..."] to hold it always',)))
        else:
            for part in re.split(r"[,;/]|\b(?:and|or|nor|of)\b|\.(?:\s|$)", what.lower()):
                _never(part, facts, left)
            if not facts and not left:
                left.append(Refused(text, "never with what?"))
    return Reading(tuple(facts), tuple(left))


def _never(part: str, facts: list[Fact], left: list[Refused]) -> None:
    rest = re.sub(r"-(?=\s|$)", " ", without("words_of_a_rule", part))
    words = " ".join(rest.split()).strip(" .,:;*()!").lower()
    if not words:
        return
    known = catalogue()
    sources = " ".join(known.source_names)
    plain = words.replace("sulph", "sulf")
    for word in dict.fromkeys((plain.removesuffix("s"), plain)):
        line = resolve_guarantee(word)
        within = len(word) > 3 and re.search(rf"\b\w*{re.escape(word)}\b", sources) is not None
        if line is not None or isinstance(find_source(word), str) or within:
            facts.append(fact("never_with", word, f"its rule: never with {word}"))
            return
    near = near_names(words)
    left.append(Refused(part.strip(), "no nutrient or source of this name", near))


def is_rule(text: str) -> bool:
    """Whether words forbid a partner or say when to pour."""
    return bool(_NEVER.search(text) or _POUR.search(text))
