"""Headings, identities, and words that a product file has no place for."""

from __future__ import annotations

import re
from itertools import pairwise

from chem.label.printed.declared import Refused, quantities, recognise
from chem.label.printed.reading import Reading
from chem.label.printed.rules import is_rule
from chem.reference import catalogue

_TELEPHONE = re.compile(
    r"(?:\+?[0-9]{1,3}[ .-])?\(?\b[0-9]{3}\)?[ .-][0-9]{3}[ .-][0-9]{4}\b|"
    r"(?:\b(?:tel|phone|telephone|call|fax)\b|^\+)[^a-z]*[0-9][0-9 ()/.-]{5,}",
    re.IGNORECASE,
)

_ADDRESS = re.compile(r"\bhttps?:|\bwww\.|[\w.]+@[\w.]+\.[a-z]|\w\.(?:com|org|net|eu)\b", re.I)

_IDENTITY = re.compile(
    r"(?:^|\s)F-?\s?[0-9]{3,}\b|\b(?:reg(?:istration)?|lot|batch|item|sku|upc|product|cas|code|"
    r"part|article|form|rev(?:ision)?|license|licence|permit|un)\.?\s*(?:no\b\.?|nr\b\.?|#|number|"
    r"code|id)?\s*[:.#-]*\s*[a-z]{0,3}-?[0-9][\w./-]*|\b(?:exp(?:iry)?|mfg|best before|made on|"
    r"date|use by)\b[^0-9]*[0-9]|#\s?[0-9]+|\bregulation\b|"
    r"\b[0-9]{1,4}[./-][0-9]{1,2}[./-][0-9]{4}\b|\b[0-9]{4}-[0-9]{2}-[0-9]{2}\b",
    re.IGNORECASE,
)

_MAKER = re.compile(
    r"\b(?:manufactured|distributed|packed|produced|made|marketed|imported|sold|guaranteed)\s+"
    r"(?:by|for|in)\b|\bguarantor\b|\bp\.? ?o\.? box\b|\bregistrant\b",
    re.IGNORECASE,
)

_HEADING_START = re.compile(
    r"^(?:minimum |typical )?(?:guaranteed|declared|nutrient|nutritional|chemical|guarantee|"
    r"declaration of)\s+(?:minimum |nutrient |total )?(?:analysis|contents?|composition|nutrients|"
    r"guarantee)\b(?:\s*\([^()]*\))?[\s:;.]*|^(?:analysis|composition|declaration)\s*[:.]?\s*$|"
    r"^(?:also )?contains? (?:the following )?non[- ]?(?:plant|nutrient)[- ]?(?:food )?"
    r"ingredients?(?:\(s\))?[\s:;.]*|^non[- ]?plant[- ]?food ingredients?(?:\(s\))?[\s:;.]*|"
    r"^(?:secondary |micro-?|macro-?|primary |plant )+(?:nutrients?|foods?|elements)[\s:;.]*$|"
    r"^(?:trace|other|secondary) (?:elements|nutrients|ingredients)[\s:;.]*$|"
    r"^(?:of which|including|containing)[\s:;.]*$",
    re.IGNORECASE,
)

_HEADING = re.compile(
    r"(?:general |typical |physical |chemical |product )*(?:properties|data|information|"
    r"characteristics|specifications?)|(?:directions?|instructions?)(?: for use)?|how to use|use|"
    r"(?:application )?rates?|application|precautions?|cautions?|warning|danger|storage(?: and "
    r"(?:handling|disposal))?|disposal|handling|mixing(?: (?:order|instructions|directions))?|"
    r"compatibility|first aid|notice|keep out of reach of children|fertili[sz]er|"
    r"(?:ec |eu )?(?:fluid |liquid |solid )?(?:inorganic |compound )?(?:micro-?nutrient )?"
    r"fertili[sz]er(?: solution)?|net contents?|element|nutrient|guarantee|percent|%|amount|"
    r"tank mixing|jar test|label|page [0-9]+(?: of [0-9]+)?",
    re.IGNORECASE,
)

_CHORE = re.compile(
    r"\b(?:reach of children|goggles|gloves|eyes?|skin|rinse|wash|flush|swallow(?:ed)?|inhale|"
    r"physician|doctor|poison|store[ds]?|storage|freez\w*|shake|agitat\w*|stain\w*|warrant\w*|"
    r"liab\w*|dispos\w*|recycl\w*|container|sunlight|heat|drinking|livestock|children|"
    r"metals in this product|buyer|seller|environment|runoff|waterways|wind|irrigat\w*|jar test)\b",
    re.IGNORECASE,
)

_NOT_HELD = re.compile(
    r"^(?:warning|caution)\b.*\b(?:boron|molybdenum)\b|"
    r"^(?:max(?:imum)?\.? )?(?:cadmium|lead|mercury|arsenic|chromium|fluori[dn]e|thallium)\b|"
    r"^(?:max(?:imum)?\.? )?(?:matter )?insoluble(?: matter)?(?: in water)?\b|"
    r"^(?:inert|other|inactive) ingredients?\b|^water\b(?![- ](?:in)?soluble)|"
    r"^total\b[^a-z]*100\b|^balance\b|"
    r"^filler|^(?:electrical )?conductivity\b|^ec\b|^salt index\b|^(?:freez\w+|boiling|flash|"
    r"crystalli[sz]ation|salt[- ]?out) (?:point|temperature)\b|^viscosity\b|^solubility\b|"
    r"^(?:colou?r|odou?r|appearance|form|state)\b|^shelf life\b|^biuret\b|^moisture\b",
    re.IGNORECASE,
)

_FORMS = {
    "suspension": r"suspension|flowable|slurry",
    "emulsion": r"emulsion|emulsifiable",
    "dry": r"powder|granul\w+|crystal(?:s|line)?|prills?|dry (?:soluble|fertili[sz]er)",
}


def heading(text: str) -> tuple[str, str] | None:
    """(the heading, what follows it on the same line), where a statement begins with one."""
    found = _HEADING_START.match(text)
    if found and found.end():
        return text[: found.end()].strip(" :;."), text[found.end() :].strip()
    if _HEADING.fullmatch(text.strip(" :;.*-()")):
        return text, ""
    return None


def form_of(text: str) -> str | None:
    """The physical form that a short line names."""
    if len(text.split()) > 8:
        return None
    return next(
        (f for f, words in _FORMS.items() if re.search(rf"\b(?:{words})\b", text, re.I)), None
    )


def chore(text: str) -> str | None:
    """Why words without figures can be left out, or None where they may be a rule."""
    words = re.findall(r"[a-z]+", text.lower())
    if _CHORE.search(text):
        return "care in use and storage"
    if re.search(r"\b(?:compatib|incompat|never|mix|add|pour|last|first|with)\w*\b", text, re.I):
        named = is_rule(text)
        return None if named or _names_anything(words) else "words without figures or rules"
    if len(words) <= 4 and _names_anything(words):
        return None
    return "words without figures or rules"


def _names_anything(words: list[str]) -> bool:
    known = catalogue()
    names = [*words, *(f"{a} {b}" for a, b in pairwise(words))]
    return any(
        len(n) > 2 and (n in known.guarantee_names or n in known.source_names) for n in names
    )


def read_identity(text: str) -> Reading | None:
    """Numbers that identify, dates, addresses and makers."""
    if any(True for _ in quantities(text, False)):
        return None
    for pattern, reason in (
        (_TELEPHONE, "a telephone number"),
        (_ADDRESS, "an address on the net"),
        (_IDENTITY, "an identification or a date"),
        (_MAKER, "who made or sells it"),
    ):
        if pattern.search(text):
            return Reading(ignored=(reason,))
    return None


def is_idle(text: str) -> bool:
    """Whether a name such as `inert ingredients` or `viscosity` has no place in a product file."""
    return _NOT_HELD.search(text) is not None


def read_idle(text: str) -> Reading | None:
    """Figures such as a freezing point, which a product file does not hold."""
    if is_idle(text) and isinstance(recognise(text), Refused):
        return Reading(ignored=("nothing that a product file holds",))
    return None
