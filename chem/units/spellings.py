"""How labels and sprayers spell volumes, masses and areas, and words of two meanings."""

from __future__ import annotations


def _spellings(table: dict[str, str]) -> dict[str, str]:
    return {spelling: unit for unit, words in table.items() for spelling in words.split()}


VOLUME = _spellings(
    {
        "fluid_ounce": "floz flozs fluidoz fluidounce fluidounces flounce flounces usfloz "
        "flozus usfluidounce usfluidounces ozfl liquidounce liquidounces",
        "teaspoon": "tsp tsps teaspoon teaspoons teaspoonful teaspoonfuls",
        "tablespoon": "tbsp tbsps tbs tblsp tablespoon tablespoons tablespoonful tablespoonfuls",
        "cup": "cup cups",
        "pint": "pt pts pint pints uspt uspint uspints",
        "quart": "qt qts quart quarts usqt usquart usquarts",
        "gallon": "gal gals gallon gallons usgal usgals usgallon usgallons galus",
        "imperial_fluid_ounce": "impfloz imperialfloz ukfloz flozimp flozuk impfluidounce "
        "impfluidounces imperialfluidounce imperialfluidounces ukfluidounce ukfluidounces",
        "imperial_pint": "imppt imppint imppints imperialpint imperialpints ukpt ukpint ukpints",
        "imperial_quart": "impqt impquart impquarts imperialquart imperialquarts ukqt ukquart",
        "imperial_gallon": "impgal impgals impgallon impgallons imperialgal imperialgallon "
        "imperialgallons ukgal ukgals ukgallon ukgallons galimp galuk",
        "milliliter": "ml mls milliliter milliliters millilitre millilitres cc ccm cm3",
        "centiliter": "cl centiliter centilitre",
        "deciliter": "dl deciliter decilitre",
        "liter": "l lt ltr ltrs liter liters litre litres dm3",
        "hectoliter": "hl hectoliter hectoliters hectolitre hectolitres",
        "cubic_meter": "m3 cubicmeter cubicmeters cubicmetre cubicmetres",
        "cubic_foot": "ft3 cuft cubicfoot cubicfeet",
    }
)
MASS = _spellings(
    {
        "ounce": "ozwt wtoz ozweight weightoz dryoz ozdry ozavdp ozav avdpoz ozbyweight ouncewt "
        "ounceswt ounceweight ouncesweight weightounce weightounces dryounce dryounces "
        "avoirdupoisounce avoirdupoisounces ouncebyweight ouncesbyweight",
        "pound": "lb lbs pound pounds",
        "microgram": "ug mcg microgram micrograms",
        "milligram": "mg mgs milligram milligrams",
        "gram": "g gm gms gram grams gramme grammes",
        "kilogram": "kg kgs kilo kilos kilogram kilograms kilogramme kilogrammes",
        "tonne": "tonne tonnes metricton metrictons",
        "short_ton": "shortton shorttons uston ustons",
        "long_ton": "longton longtons imperialton imperialtons ukton uktons",
    }
)
AREA = _spellings(
    {
        "square_foot": "sqft ft2 sqfeet sqfoot squarefoot squarefeet squareft sft",
        "acre": "acre acres ac",
        "square_meter": "m2 sqm sqmeter sqmeters sqmetre sqmetres squaremeter squaremeters "
        "squaremetre squaremetres",
        "hectare": "ha hectare hectares",
    }
)
OUNCE = ("oz", "ozs", "ounce", "ounces", "usoz")
OUNCE_QUESTION = "is it fl oz (a volume) or oz weight (`oz wt`)?"
UNCLEAR = {
    "ton": "`ton` has three meanings: short (2000 lb), long (2240 lb) or metric (1000 kg)?",
    "t": "`T` and `t` are used for tablespoon, teaspoon and tonne; which is it?",
    "m": "is it M (1000 sq ft), metres or square metres?",
    "gr": "`gr` is used for gram and for grain; which is it?",
}
CLEAR_INSTEAD = {
    "ton": "`short ton`, `long ton` or `tonne`",
    "t": "`tbsp`, `tsp` or `tonne`",
    "m": "`M`, `1000 sq ft` or `m2`",
    "gr": "`g` for grams",
}
UNCLEAR["tons"] = UNCLEAR["ton"]
CLEAR_INSTEAD["tons"] = CLEAR_INSTEAD["ton"]
ENGLISH_AREA = {spelling for spelling, unit in AREA.items() if unit in ("square_foot", "acre")}
