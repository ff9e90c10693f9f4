"""The symbols that the packaging trade writes, with SI factor and dimension.

A dimension is a tuple of integer powers of the bases in ``BASES``. Pressure and energy are bases of their
own: nobody in the trade writes a pressure as kg/(m s2), and a permeability then keeps its pressure visible.
Counting units (package, bottle, closure ...) are a base too, so a rate of a whole package is never taken
for a rate per area.

Factors are exact by definition: inch 25.4 mm, pound 0.45359237 kg and grain 1/7000 pound
(international agreement of 1959); atm 101325 Pa; mmHg = atm/760, cmHg = atm/76, inHg = 25.4 mmHg (torr, which
differs from the conventional millimetre of mercury by 1.4e-7); psi = pound force per square inch with
g = 9.80665 m/s2; calorie 4.184 J (thermochemical, as usual for activation energies). Month 30.4375 days and
year 365.25 days: a convention of this project.
"""

from __future__ import annotations

from dataclasses import dataclass

from optimizer.constants import ATMOSPHERE, DAY, MONTH, STP_MOLES_PER_M3, YEAR, ZERO_CELSIUS

Dim = tuple[int, ...]
BASES = ("length", "mass", "time", "temperature", "amount", "pressure", "energy", "package", "currency")


def dim(**powers: int) -> Dim:
    """Dimension vector from named powers, ``dim(length=2, time=-1)``."""
    return tuple(powers.get(base, 0) for base in BASES)


NONE = dim()
VOLUME = dim(length=3)
LENGTH, MASS, TIME, TEMPERATURE, AMOUNT = range(5)


@dataclass(frozen=True, slots=True)
class Unit:
    """One symbol: SI value = number * factor + offset. ``share`` marks %, ppm and the like (no dimension)."""

    symbol: str
    factor: float
    dim: Dim
    offset: float = 0.0
    share: bool = False
    prefix: str = ""


def _scaled(symbol: str, powers: Dim, prefixes: str, base: float = 1.0) -> list[Unit]:
    """The SI family of one symbol; ``prefixes`` are prefix letters, ``_`` for none."""
    return [
        Unit(p.replace("_", "") + symbol, base * _PREFIX[p], powers, prefix=p.replace("_", ""))
        for p in prefixes
    ]


_PREFIX = {
    "a": 1e-18, "f": 1e-15, "p": 1e-12,
    "n": 1e-9, "µ": 1e-6, "u": 1e-6, "m": 1e-3, "c": 1e-2, "d": 0.1, "_": 1.0,
    "h": 100.0, "k": 1e3, "M": 1e6, "G": 1e9,
}  # fmt: skip
_L, _M, _T, _K = dim(length=1), dim(mass=1), dim(time=1), dim(temperature=1)
_P, _E, _PKG = dim(pressure=1), dim(energy=1), dim(package=1)
_INCH, _POUND = 0.0254, 0.45359237
_MMHG = ATMOSPHERE / 760.0

_ALL: list[Unit] = [
    *_scaled("m", _L, "nµumcd_k"),
    *(Unit(s, f, _L) for s, f in (("mil", 1e-3 * _INCH), ("in", _INCH), ("ft", 12 * _INCH))),
    *_scaled("L", VOLUME, "µumcd_h", 1e-3),
    *_scaled("l", VOLUME, "µumcd_h", 1e-3),
    Unit("cc", 1e-6, VOLUME),
    *_scaled("g", _M, "nµum_k", 1e-3),
    *(Unit(s, f, _M) for s, f in (("t", 1e3), ("lb", _POUND), ("grain", _POUND / 7000.0))),
    Unit("s", 1.0, _T),
    *(Unit(s, f, _T) for s, f in (("min", 60.0), ("h", 3600.0), ("day", DAY), ("week", 7 * DAY))),
    *(Unit(s, f, _T) for s, f in (("month", MONTH), ("year", YEAR))),
    Unit("K", 1.0, _K),
    Unit("degC", 1.0, _K, offset=ZERO_CELSIUS),
    Unit("degF", 5.0 / 9.0, _K, offset=ZERO_CELSIUS - 32.0 * 5.0 / 9.0),
    *_scaled("mol", dim(amount=1), "afpnµum_k"),
    *_scaled("Pa", _P, "m_hkMG"),
    *_scaled("bar", _P, "m_", 1e5),
    *(Unit(s, f, _P) for s, f in (("atm", ATMOSPHERE), ("mmHg", _MMHG), ("cmHg", 10 * _MMHG))),
    *(Unit(s, f, _P) for s, f in (("inHg", 25.4 * _MMHG), ("psi", _POUND * 9.80665 / _INCH**2))),
    *_scaled("J", _E, "_kM"),
    *_scaled("cal", _E, "_k", 4.184),
    Unit("package", 1.0, _PKG),
    # Barrer = 1e-10 cm3(STP) cm/(cm2 s cmHg) and GPU = 1e-6 cm3(STP)/(cm2 s cmHg), both by definition.
    Unit("Barrer", 1e-10 * STP_MOLES_PER_M3 * 1e-6 * 1e-2 / (1e-4 * 10 * _MMHG),
         dim(amount=1, length=-1, time=-1, pressure=-1)),
    Unit("GPU", 1e-6 * STP_MOLES_PER_M3 * 1e-6 / (1e-4 * 10 * _MMHG),
         dim(amount=1, length=-2, time=-1, pressure=-1)),
    *(Unit(s, f, NONE, share=True) for s, f in (("%", 0.01), ("%RH", 0.01), ("‰", 1e-3))),
    *(Unit(s, 0.01, NONE, share=True) for s in ("wt%", "vol%", "mol%")),
    *(Unit(s, f, NONE, share=True) for s, f in (("ppm", 1e-6), ("ppb", 1e-9))),
]  # fmt: skip

_SYNONYMS = {
    "m": "meter metre meters metres",
    "cm": "centimeter centimetre centimeters centimetres",
    "mm": "millimeter millimetre millimeters millimetres",
    "um": "µ micron microns micrometer micrometre micrometers micrometres",
    "mil": "mils thou",
    "in": "inch inches",
    "ft": "foot feet",
    "L": "liter litre liters litres",
    "mL": "milliliter millilitre milliliters millilitres",
    "cc": "ccm",
    "g": "gram grams",
    "kg": "kilogram kilograms kilo kilos kgs",
    "mg": "milligram milligrams",
    "ug": "mcg microgram micrograms",
    "t": "tonne tonnes",
    "lb": "lbs pound pounds",
    "grain": "grains",
    "s": "sec secs second seconds",
    "min": "mins minute minutes",
    "h": "hr hrs hour hours",
    "day": "d days",
    "week": "wk weeks",
    "month": "months mo",
    "year": "y yr yrs years",
    "K": "kelvin",
    "degC": "C celsius ℃",
    "degF": "F fahrenheit ℉",
    "mol": "mole moles",
    "mmHg": "torr Torr",
    "Pa": "pascal pascals",
    "bar": "bars",
    "atm": "atmosphere atmospheres",
    "package": "pkg pkgs pack packs packages bottle bottles closure closures cap caps container containers "
    "pouch pouches tray trays bag bags sachet sachets can cans jar jars cup cups lid lids carton cartons box "
    "boxes vial vials tube tubes",
    "Barrer": "barrers",
    "GPU": "GPUs",
    "%": "percent",
}

UNITS: dict[str, Unit] = {unit.symbol: unit for unit in _ALL}
for _symbol, _words in _SYNONYMS.items():
    UNITS.update({word: UNITS[_symbol] for word in _words.split()})

#: Lengths that are written as one word with "sq" or "cu": word to (length symbol, power).
JOINED = {"sqm": ("m", 2), "sqin": ("in", 2), "sqft": ("ft", 2), "sqcm": ("cm", 2), "cuin": ("in", 3)}

_OUNCE = "mass or fluid ounce, US or imperial: write g or mL"
_GALLON = "US 3.785 L, imperial 4.546 L: write L"
_NORMAL = "normal volumes differ by trade: write cm3(STP) for 0 degC and 1 atm, or cm3(20 degC, 1 atm)"
_GAUGE_PRESSURE = "pressure above ambient or absolute: write an absolute pressure in bar or kPa"
_ABOUT = "0.001 in in paper caliper, a pint or a printer's point: write um or mil"

#: Words that mean different things to different people; never read, always answered with the choices.
AMBIGUOUS: dict[str, str] = {
    "perm": "US perm: write grain/(h*ft2*inHg) or 57.2135 ng/(s*m2*Pa); metric perm: write g/(m2*day*mmHg)",
    "gauge": "in film usually 100 gauge = 1 mil = 25.4 um, in sheet metal and wire not: write um or mil",
    "ga": "film or sheet metal gauge: write um or mil",
    "ton": "tonne 1000 kg, short ton 907.185 kg, long ton 1016.05 kg: write t or kg",
    "gal": _GALLON,
    "gallon": _GALLON,
    "pint": "US 473 mL, imperial 568 mL: write mL",
    "quart": "US 946 mL, imperial 1137 mL: write mL",
    "qt": "US 946 mL, imperial 1137 mL: write mL",
    "pt": _ABOUT,
    "point": _ABOUT,
    "oz": _OUNCE,
    "ounce": _OUNCE,
    "fl": _OUNCE,
    "gr": "grain or gram: write grain or g",
    "gm": "gram or gram times metre: write g or g*m",
    "ntp": _NORMAL,
    "satp": _NORMAL,
    "ncm": _NORMAL,
    "ncc": _NORMAL,
    "nml": _NORMAL,
    "scc": _NORMAL,
    "sccm": _NORMAL,
    "psig": _GAUGE_PRESSURE,
    "barg": _GAUGE_PRESSURE,
    "at": "technical atmosphere 98066.5 Pa or atm 101325 Pa: write bar or atm",
    "ppt": "parts per thousand or per trillion: write %, ppm or ppb",
    "ths": "thousandth of an inch or thousands: write mil or um",
}  # fmt: skip
for _word in ("perm", "gauge", "ton", "gallon", "pint", "quart", "ounce"):
    AMBIGUOUS[_word + "s"] = AMBIGUOUS[_word]

#: The same for symbols whose case is the question.
AMBIGUOUS_AS_TYPED: dict[str, str] = {
    "M": "metre, month, million, mega or mol/L: write m, months, or mol/L",
    "MM": "millimetre or million: write mm",
    "mM": "millimetre or mmol/L: write mm, or mmol/L",
    "Mm": "millimetre or megametre: write mm",
    "mn": "minute or million: write min",
    "mon": "month or Monday: write months",
    "Nm": _NORMAL,
    "NM": "nanometre or newton metre: write nm",
    "N": "newton, or a gas volume at normal conditions: write cm3(STP)",
    "P": "poise, or pressure: write Pa, bar or atm",
    "p": "pico, or pressure: write Pa, bar or atm",
    "c": "cent, centi or degrees Celsius: write degC",
    "f": "degrees Fahrenheit or femto: write degF",
    "a": "year or are: write year or m2",
    "k": "kelvin or thousand: write K",
    "D": "day or diameter: write day",
    "H": "hour or henry: write h",
    "S": "second or siemens: write s",
    "G": "gram or giga: write g",
    "T": "tonne or tesla: write t",
    "Y": "year: write year",
    "ML": "millilitre or megalitre: write mL",
    "Ml": "millilitre or megalitre: write mL",
    "MG": "milligram or megagram: write mg",
    "Cal": "calorie or kilocalorie: write kcal or kJ",
    "Mg": "milligram or megagram: write mg or t",
}

_FOLDED: dict[str, dict[str, Unit]] = {}
for _word, _unit in UNITS.items():
    _FOLDED.setdefault(_word.casefold(), {})[_word] = _unit


def find(word: str) -> Unit | None:
    """The unit of a symbol as written, or in another case where only one meaning is left; None if unknown."""
    unit = UNITS.get(word)
    if unit is not None:
        return unit
    same = _FOLDED.get(word.casefold(), {})
    if len({(u.factor, u.dim) for u in same.values()}) != 1 or len(word) == 1:
        return None
    unit = next(iter(same.values()))
    # In front of an SI symbol the case of m decides between milli and mega.
    return None if unit.prefix in ("m", "M") and word[0] != unit.prefix else unit


def same_but_case(word: str) -> list[str]:
    """Known symbols that differ from ``word`` only in case."""
    return sorted(_FOLDED.get(word.casefold(), {}))
