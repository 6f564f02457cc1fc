"""Rates of use and spray volumes on a label."""

from __future__ import annotations

import re
from functools import partial

from chem.label.printed.measures import (
    AMOUNT,
    HOW_OFTEN,
    MASS,
    RANGE,
    VOLUME,
    plain_range,
    plain_unit,
    refusal,
)
from chem.label.printed.quantities import NUMBER, Refused
from chem.label.printed.records import Fact, Reading, fact
from chem.label.printed.vocabulary import says
from chem.units import Rate, read_carrier, read_rate_range

SAME_RATE = 0.06
"""Relative; labels round a rate in the other system's units; common practice, no source."""

_UNIT = (
    rf"(?:{VOLUME}|{MASS}|oz\b\.?|ounces?\b|tbsps?\b\.?|tsps?\b\.?|tablespoon(?:ful)?s?\b|"
    r"teaspoon(?:ful)?s?\b)"
)

_AREA = (
    r"(?:sq\.?\s?ft\b\.?|square f(?:ee|oo)t\b|ft2\b|acres?\b|ac\b\.?|(?-i:A)\b|ha\b|hectares?\b|"
    r"m2\b|sq\.?\s?m\b|square met(?:er|re)s?\b)"
)

_COUNT = r"(?:[0-9]{1,3}(?:,[0-9]{3})+|[0-9]+|one|a)"

_SPRAY = r"(?:finished |total |spray )*(?:water|spray|solution|mix(?:ture)?|carrier|volume)\b"

_BASE = (
    rf"(?:{_COUNT}\s+(?!of\b))?{_AREA}|(?:[0-9]{{1,3}}(?:,[0-9]{{3}})+|[0-9]+)\s?{_AREA}|(?-i:M)\b|"
    rf"1,?000\b(?!\s?[a-z0-9])|{_COUNT}?\s?(?:{VOLUME})(?:\s+(?:of\s+)?{_SPRAY})?"
)

_RATE = re.compile(
    rf"(?P<limit>at least|no less than|not less than|(?:an? )?min(?:imum)?\b\.?(?: of)?|"
    rf"at most|no more than|not more than|max(?:imum)?\b\.?(?: of)?|up to|exceed)?\s*"
    rf"(?<![\w.,/-])(?P<amount>(?:{AMOUNT})(?:\s?(?:-|to)\s?(?:{AMOUNT}))?)\s*"
    rf"(?P<unit>{_UNIT})\s*(?:of\s+)?(?P<what>product\b|{_SPRAY})?\s*"
    rf"(?:(?:/|per\b|on\b|to\b|over\b|for(?: each| every)?\b|pour\b|para\b|por\b|"
    rf"sur\b|su\b|auf\b|je\b|pro\b|f\u00fcr\b|voor\b|each\b|every\b)\s*"
    rf"(?:every |each )?"
    rf"(?P<base>{_BASE})(?:\s+(?:of\s+)?(?P<late>{_SPRAY}))?)?",
    re.IGNORECASE,
)

_OTHER_END = re.compile(
    r"(?:(?<!up )\bto|-|\b(?:a|bis|tot|\u00e0)|(?<![\w,.])[0-9][0-9.,]*\s*\w{0,3})\s*$",
    re.IGNORECASE,
)

_VOLUME_FIRST = re.compile(
    r"\b(?P<limit>min(?:imum)?\b\.?|max(?:imum)?\b\.?) "
    rf"(?:spray|water|carrier)(?: (?:volume|rate))?\s*:?(?: of)? "
    rf"(?P<amount>{RANGE}\s*(?:{VOLUME}))",
    re.IGNORECASE,
)

_AREA_FIRST = re.compile(
    rf"\b(?:per|for|each)\s*(?P<base>{_AREA}|1,?000 {_AREA})\s*[:=-]\s*"
    rf"(?P<amount>{RANGE}\s*{_UNIT})"
    r"(?!\s*(?:/|per\b))",
    re.IGNORECASE,
)
"""`Dose per acre: 1000 ml in 200 litres of water`; custom of India, no source."""

_VOLUME_NAMED = re.compile(
    rf"\b(?:(?:spray|water|carrier) (?:volume|rate)s?\s*[:=]?|water ?[:=])\s*(?:of |de |di |da )?"
    rf"(?P<limit>(?:(?:min|max)(?:imum)?\b\.?|(?:not|no) less than|at least)\s*)?"
    rf"(?P<amount>{RANGE}\s*(?:{VOLUME}))"
    r"(?P<base>\s*/\s?ha)?(?P<late>\s*,?\s*\(?min(?:imum)?\b\.?\)?)?",
    re.IGNORECASE,
)
_LIMIT_LATE = re.compile(
    rf"(?P<amount>{RANGE}\s*(?:{VOLUME})(?:\s*/\s?ha)?\s*(?:of )?(?:water|spray)(?:\s*/\s?ha)?)"
    r"\s*,?\s*\(?min(?:imum)?\b\.?\)?(?!\s*\d)",
    re.IGNORECASE,
)
"""`200 L/ha of water minimum`."""

_ON_AN_AREA = re.compile(
    r"\s*(?:/|per\b|for\b|on\b|over\b|to\b|f\u00fcr\b|pour\b|por\b|para\b)", re.I
)
_SHARE = re.compile(rf"(?P<amount>{RANGE})\s?%\s?(?P<by>v ?/ ?v|by volume)", re.IGNORECASE)

_BY_MASS = re.compile(r"\bby (?:mass|weight)\b|\b[wm] ?/ ?[wm]\b", re.IGNORECASE)
"""Beside it `% by volume` is a content, mass by volume, as Regulation (EU) 2019/1009 prints it."""

_PER_AREA = re.compile(
    r"(?:/|per|for|pour|on|over)\s*"
    rf"(?:[0-9,]* ?(?:sq|ft2|m2)|1,?000(?!\s?(?:{VOLUME}))|acre|ac\b|hect|ha\b|(?-i:[AM])\b)",
    re.IGNORECASE,
)


def read_rates(text: str, dry: bool = False) -> Reading | None:
    """Rates of product, and spray volumes where they are a rule."""
    text = _AREA_FIRST.sub(r"\g<amount> per \g<base>", text)
    text = re.sub(r"\b[1-9]\s?x\s+(?=[0-9])", "", text)
    text = _VOLUME_NAMED.sub(_spray_volume, text)
    text = _LIMIT_LATE.sub(r"min \g<amount>", text)
    text = _VOLUME_FIRST.sub(r"\g<limit> \g<amount> of spray", text)
    found, shared = _amounts(text)
    shares = [] if _BY_MASS.search(text) else list(_SHARE.finditer(text))
    if not (found or shares) or not (says("about_rates", text) or _PER_AREA.search(text)):
        return None
    facts: list[Fact] = []
    left: list[Refused] = []
    ignored: list[str] = []
    rest, area = text, None
    kept: tuple[Rate, Rate] | None = None
    for m in found:
        rest = rest.replace(m[0], " ", 1)
        if shared.get(m.start()) == "":
            continue
        base = m["base"] or shared.get(m.start()) or area
        spoken = _spoken(m)
        if m["base"] and re.search(rf"{_AREA}|1,?000|(?-i:M)$", m["base"], re.IGNORECASE):
            area = m["base"]
        if _OTHER_END.search(text[: m.start()]):
            left.append(Refused(text, "a range of rates without its other end"))
            continue
        amount = _amount(m["amount"].lower())
        limit = (m["limit"] or "").lower()
        low = re.search(r"least|less|min", limit) is not None
        if base is None:
            left.append(Refused(m[0].strip(), "on what area?", ("such as `2 gal/1000 sq ft`",)))
            continue
        rate = f"{amount} {plain_unit(m['unit'])}/{_base(base)}"
        if spoken:
            _carrier(m, rate, low, bool(limit), facts, left, ignored)
            continue
        wrong = refusal(partial(read_rate_range, dry=dry), rate, m[0].strip())
        if wrong:
            left.append(wrong)
        elif low:
            near = (f'rate_range = "{amount}-... "',)
            left.append(Refused(m[0].strip(), "a lowest rate alone has no key", near))
        elif limit:
            facts.append(fact("rate_at_most", rate))
        else:
            ends = read_rate_range(rate, "label", dry=dry)
            if kept is not None and not _agree(kept, ends):
                why = "a second rate on the line: of the product, and for what use?"
                left.append(Refused(m[0].strip(), why))
                continue
            kept = kept or ends
            facts.append(fact("usual_rate" if ends[0] == ends[1] else "rate_range", rate))
    for m in shares:
        rest = rest.replace(m[0], " ", 1)
        rate = f"{plain_range(m['amount'])} % v/v"
        key = "rate_range" if "-" in rate else "usual_rate"
        wrong = refusal(read_rate_range, rate, m[0])
        if wrong:
            left.append(wrong)
        else:
            facts.append(fact(key, rate))
    rest = re.sub(rf"\b[0-9]+(?:{HOW_OFTEN.pattern})", " ", rest, flags=re.IGNORECASE)
    rest = re.sub(rf"\(\s*{NUMBER}(?:-{NUMBER})?\s*[^()]*\)", " ", rest)
    if re.search(r"(?<![A-Za-z])[0-9]", rest):
        left.append(Refused(" ".join(rest.split()), "figures beside the rate"))
    return Reading(tuple(facts), tuple(left), tuple(ignored))


def _spray_volume(found: re.Match[str]) -> str:
    """`Spray volume: 200 L/ha minimum` as `min 200 L of spray/ha`."""
    limit = "min " if found["late"] else found["limit"] or ""
    return f"{limit}{found['amount']} of spray{found['base'] or ''}"


def _amounts(text: str) -> tuple[list[re.Match[str]], dict[int, str]]:
    """The amounts of a text that are rates, and whose area stands behind their water.

    `4 fl oz in 2 gallons of water per 1,000 sq ft`: the area is the product's too, the water isn't.
    """
    every = list(_RATE.finditer(text))
    found: list[re.Match[str]] = []
    shared: dict[int, str] = {}
    for n, m in enumerate(every):
        water = every[n + 1] if n + 1 < len(every) else None
        between = text[m.end() : water.start()] if water else ""
        of_water = _spoken(m)
        if (
            m["base"]
            or (m["what"] and m["limit"])
            or (of_water and found and re.search(r"\b(?:in|with)\s*$", text[: m.start()], re.I))
        ):
            found.append(m)
        elif (
            water is not None
            and not of_water
            and re.fullmatch(
                r"\s*(?:of product )?(?:diluted |mixed )?(?:in|with)\s*", between, re.I
            )
            and (water["what"] or "product").lower() != "product"
            and water["base"]
        ):
            found.append(m)
            shared[m.start()] = water["base"]
        elif (
            water is not None
            and not of_water
            and _spoken(water)
            and not (water["base"] or water["limit"] or re.search(r"-|to", water["amount"]))
            and not _ON_AN_AREA.match(text, water.end())
            and re.fullmatch(r"\s*(?:in|with|auf|en|em|dans|op|su)\s*", between, re.I)
        ):
            found += [m, water]
            shared[m.start()] = re.sub(r"^1 ", "", f"{water['amount']} {water['unit']} water")
            shared[water.start()] = ""
    return found, shared


def _spoken(found: re.Match[str]) -> bool:
    """Whether an amount is one of spray, `300 l of water/ha` or `300 l/ha of water`."""
    return (found["what"] or found["late"] or "product").lower() != "product"


def _agree(one: tuple[Rate, Rate], other: tuple[Rate, Rate]) -> bool:
    """Whether two rates are one in two units."""
    return all(
        (a.kind, a.per) == (b.kind, b.per) and abs(a.value - b.value) <= SAME_RATE * a.value
        for a, b in zip(one, other, strict=True)
    )


def _carrier(
    found: re.Match[str],
    rate: str,
    low: bool,
    limited: bool,
    facts: list[Fact],
    left: list[Refused],
    ignored: list[str],
) -> None:
    """A spray volume: a rule where it is a limit or a range."""
    head, _, base = rate.partition("/")
    number, _, unit = head.partition(" ")
    ends = number.split("-")
    texts = [f"{end} {unit}/{base}" for end in ends]
    for text in texts:
        wrong = refusal(read_carrier, text, found[0].strip())
        if wrong:
            left.append(wrong)
            return
    if len(ends) == 2:
        facts.append(fact("carrier_at_least", texts[0]))
        facts.append(fact("carrier_at_most", texts[1]))
    elif limited:
        facts.append(fact("carrier_at_least" if low else "carrier_at_most", texts[0]))
    else:
        ignored.append(f"{texts[0]} is the usual spray volume, which belongs in the mix")


def _amount(printed: str) -> str:
    """A number or a range; `1-1/2` without spaces is a mixed number."""
    fractions = re.sub(r"\s(?:-|to)\s", " to ", printed)
    return fractions if "/" in printed else plain_range(printed)


def _base(base: str) -> str:
    plain = " ".join(base.split()).strip(". ")
    if plain == "M":
        return "1000 sq ft"
    plain = re.sub(r"^(?:one|a) ", "", plain.lower() if plain != "A" else "acre")
    plain = plain.replace("square feet", "sq ft").replace("square foot", "sq ft")
    plain = re.sub(r"sq\.?\s?ft\.?|ft2", "sq ft", plain)
    plain = re.sub(r"(?<=[0-9])(?=[a-z])", " ", plain)
    plain = re.sub(r"^(1),?000$", "1000 sq ft", plain)
    return re.sub(r"(?<=[0-9]),(?=[0-9]{3})", "", plain)
