"""Numbers as people print them: fractions, ranges, below-detection marks and thousands marks.

The rule for a comma, chosen so that no reading is ever a guess:

- `1,500.0` and `1,234,567` have one reading only and are accepted;
- `1,000` alone is accepted only in front of an area in sq ft or acres ("per 1,000 sq ft");
- any other comma is refused with the question, for `1,5` may be 1.5 or a slip for 15, and `1,500`
  may be 1.5 or 1500.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass

from chem.errors import InputProblem
from chem.units.text import refuse, tidy

_PLAIN = r"(?:[0-9]+(?:[,_][0-9]+)*(?:\.(?!\.)[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_FRACTION = r"(?:[0-9]+[ -])?[0-9]+/[0-9]+"
_ONE = rf"[+-]?(?:{_FRACTION}|{_PLAIN})"
_QUANTITY = re.compile(
    rf"(?P<limit>[<>]=?|less than|below|more than|above|over)?\s*(?P<low>{_ONE})"
    rf"(?:\s*(?:-|to|\.\.\.?)\s*(?P<high>{_ONE}))?(?P<rest>.*)",
    re.IGNORECASE,
)
_MIXED = re.compile(r"(?:(?P<whole>[0-9]+)(?P<gap>[ -]))?(?P<top>[0-9]+)/(?P<bottom>[0-9]+)")
_COMMA_GROUPS = re.compile(r"[1-9][0-9]{0,2}(?:,[0-9]{3})+")
_SPACE_GROUPS = re.compile(r"[1-9][0-9]{0,2}(?:_[0-9]{3})+")
_RAISED_POWER = re.compile(r"[0-9]\s*[\u2070\u00b9\u00b2\u00b3\u2074-\u2079\u207b]")
_REST = re.compile(r"[^0-9.,'_+-]|$")
_FINEST_FRACTION = 64
WIDEST_ROUNDING = 0.025
"""Half a unit in the last of two digits, at most (common practice, no source)."""


@dataclass(frozen=True)
class Number:
    """A number as printed, or the range it was printed as.

    Attributes:
        low: lower end; 0 when the text gave only a detection limit.
        high: upper end; equal to `low` for a single number.
        below_detection: the text was `<x`: somewhere between 0 and x.
    """

    low: float
    high: float
    below_detection: bool = False

    @property
    def value(self) -> float:
        """The midpoint."""
        return 0.5 * (self.low + self.high)

    @property
    def single(self) -> bool:
        """Whether one number was printed, neither a range nor a limit."""
        return self.low == self.high and not self.below_detection


def read_number(text: str, where: str) -> Number:
    """Read a bare number, fraction (`1 1/2`), range (`5-6`, `5 to 6`) or limit (`<0.5`).

    Raises:
        InputProblem: no finite number, a comma with two readings, or words after the number.
    """
    number, rest = split_number(text, where)
    if rest:
        raise refuse(
            where,
            text,
            f"a plain number is wanted here, but `{rest}` follows it",
            "the number only",
        )
    return number


def split_number(
    text: str, where: str, grouped: Callable[[str], bool] = lambda rest: False
) -> tuple[Number, str]:
    """Split printed text into its leading number and the words after it.

    Args:
        text: what the user printed.
        where: file and key, for messages.
        grouped: told the words after the number, says whether `1,000` can only mean 1000 there.

    Raises:
        InputProblem: as for `read_number`.
    """
    if not tidy(text):
        raise refuse(where, text, "nothing is written here", "a number with its unit")
    if _RAISED_POWER.search(text):
        raise refuse(where, text, "a raised power can be misread", "it as 1e-3 or 0.001")
    found = _QUANTITY.match(tidy(text))
    if found is None:
        raise refuse(where, text, "it does not begin with a number", "digits first, such as 2.5")
    rest = found["rest"].strip()
    if not _REST.match(rest):
        raise refuse(
            where,
            text,
            f"after `{found['low']}` stands `{rest}`: one number, two numbers or a lost dash?",
            "one number without spaces (1000), or a range with a dash (120-250)",
        )
    commas_group = grouped(rest)
    low = _value(found["low"], text, where, commas_group)
    high = low if found["high"] is None else _value(found["high"], text, where, commas_group)
    limit = (found["limit"] or "").casefold()
    if not limit:
        if high < low:
            raise refuse(
                where, text, "the range runs downward", "the smaller number first, such as 5-6"
            )
        return Number(low, high), rest
    if limit[0] in "<lb" and low > 0 and found["high"] is None:
        return Number(0.0, low, below_detection=True), rest
    raise refuse(
        where,
        text,
        f"`{found['limit']} {found['low']}` leaves one end open",
        "a range with both ends, such as 250-425, or <0.5 for below detection",
    )


def one_number(
    text: str, where: str, grouped: Callable[[str], bool] = lambda rest: False
) -> tuple[float, str]:
    """Like `split_number`, for places where a range can't be used.

    Raises:
        InputProblem: as for `read_number`, and for a range or a `<` limit.
    """
    number, rest = split_number(text, where, grouped)
    if not number.single:
        raise refuse(
            where, text, "a range is printed where one number is needed", "the one number you mean"
        )
    return number.low, rest


def rounding(text: str) -> tuple[float, float]:
    """Half a unit of the last digit of a printed number's lower and upper end, relative to each.

    At most `WIDEST_ROUNDING`, so that `1 gal` is not taken for half a gallon; 0 where no plain
    number is printed (fractions are exact).
    """
    found = _QUANTITY.match(tidy(text))
    if found is None:
        return 0.0, 0.0
    low = _half_unit(found["low"])
    return low, low if found["high"] is None else _half_unit(found["high"])


def _half_unit(token: str) -> float:
    body = token.lstrip("+-").replace(",", "").replace("_", "").lower()
    mantissa, _, power = body.partition("e")
    if not mantissa.replace(".", "").isdigit() or float(body) == 0.0:
        return 0.0
    decimals = len(mantissa.partition(".")[2])
    half = 0.5 * 10.0 ** (int(power or 0) - decimals)
    return min(half / float(body), WIDEST_ROUNDING)


def within(value: float, limits: tuple[float, float], unit: str, text: str, where: str) -> float:
    """The value, where it lies between `limits` [unit], wide of anything met at a sprayer.

    Raises: InputProblem outside them: a slip of the number or its unit.
    """
    least, most = limits
    if not least <= value <= most:
        raise refuse(
            where,
            text,
            f"that is {value:.3g} {unit}, outside {_plainly(least)} to {_plainly(most)} {unit}",
            "the figure you measured, its unit checked",
        )
    return value


def _plainly(value: float) -> str:
    """`10000000` or `0.000001`, without a power of ten."""
    return f"{value:.0f}" if value >= 1.0 else f"{value:.12f}".rstrip("0")


def _value(token: str, text: str, where: str, commas_group: bool) -> float:
    sign = -1.0 if token.startswith("-") else 1.0
    body = token.lstrip("+-")
    mixed = _MIXED.fullmatch(body)
    value = _fraction(mixed, text, where) if mixed else _plain(body, text, where, commas_group)
    if not math.isfinite(value):
        raise refuse(where, text, "the number is too large to be an amount", "a smaller number")
    return sign * value


def _fraction(mixed: re.Match[str], text: str, where: str) -> float:
    whole, top, bottom = int(mixed["whole"] or 0), int(mixed["top"]), int(mixed["bottom"])
    if bottom == 0 or bottom > _FINEST_FRACTION:
        raise refuse(
            where,
            text,
            f"`{top}/{bottom}` is no fraction of a measure; is the unit missing before the `/`?",
            f"the unit first, such as {top} fl oz/{bottom or 1000} sq ft",
        )
    if mixed["whole"] is not None and (top >= bottom or whole == 0):
        raise refuse(
            where,
            text,
            f"`{mixed[0]}` can be read as a range or as a mixed number",
            "a range with `to` (0 to 1/2), or a decimal number (1.5)",
        )
    return whole + top / bottom


def _plain(body: str, text: str, where: str, commas_group: bool) -> float:
    whole, _, decimals = body.partition(".")
    if "," in body:
        threes = _COMMA_GROUPS.fullmatch(whole) is not None
        if not (threes and (decimals or whole.count(",") > 1 or commas_group)):
            raise _comma_problem(body, text, where)
    elif "_" in body and not _SPACE_GROUPS.fullmatch(whole):
        raise refuse(where, text, f"the spaces in `{body}` do not part thousands", "it unspaced")
    return float(body.replace(",", "").replace("_", ""))


def _comma_problem(body: str, text: str, where: str) -> InputProblem:
    with_point, without = body.replace(",", ".", 1), body.replace(",", "")
    if "," in with_point or "." in body:
        return refuse(
            where,
            text,
            f"the commas in `{body}` do not part thousands",
            f"{without} with no comma, and a point before decimals",
        )
    return refuse(
        where,
        text,
        f"the comma in `{body}` can be read in two ways: is it {with_point} or {without}?",
        f"{with_point} with a point, or {without} with no comma",
    )
