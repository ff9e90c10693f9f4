"""Conversions as textbooks and encyclopedias print them."""

from __future__ import annotations

from optimizer.units import convert, read
from published.registry import check

TOPIC = "Units"
BARRER = 'Encyclopedia article "Barrer"'
PERM = 'Encyclopedia article "Perm (unit)"'


def _in(text: str, kind: str, unit: str) -> float:
    return convert(read(text, kind).value, kind, unit)


@check(TOPIC, "U1", "1 Barrer in SI", BARRER, 3.35e-16, "mol m/(m2 s Pa)", percent=0.2)
def barrer_si() -> float:
    return read("1 Barrer", "gas permeability").value


@check(
    TOPIC,
    "U2",
    "1 Barrer per pascal",
    '"Permeability of thermoplastics", doi 10.1201/b13623-11',
    7.5e-14,
    "cm3(STP) cm/(cm2 s Pa)",
    percent=0.1,
)
def barrer_per_pascal() -> float:
    return _in("1 Barrer", "gas permeability", "cm3 cm/(cm2 s Pa)")


@check(TOPIC, "U3", "1 GPU in SI", BARRER, 3.35e-10, "mol/(m2 s Pa)", percent=0.2)
def gpu_si() -> float:
    return read("1 GPU", "gas permeance").value


@check(TOPIC, "U4", "1 GPU as a volume", BARRER, 7.501e-12, "m3(STP)/(m2 s Pa)", percent=0.01)
def gpu_volume() -> float:
    return _in("1 GPU", "gas permeance", "m3(STP)/(m2 s Pa)")


@check(TOPIC, "U5", "1 US perm", PERM, 57.2135, "ng/(s m2 Pa)", percent=0.0002)
def us_perm() -> float:
    return _in("1 grain/(h*ft2*inHg)", "vapour permeance", "ng/(s*m2*Pa)")


@check(TOPIC, "U6", "1 US perm in metric perms", PERM, 0.659045, "g/(m2 day mmHg)", percent=0.0002)
def us_perm_in_metric() -> float:
    return _in("1 grain/(h*ft2*inHg)", "vapour permeance", "g/(m2*day*mmHg)")


@check(TOPIC, "U7", "1 metric perm", PERM, 86.8127, "ng/(s m2 Pa)", percent=0.0002)
def metric_perm() -> float:
    return _in("1 g/(m2*day*mmHg)", "vapour permeance", "ng/(s*m2*Pa)")


@check(
    TOPIC,
    "U8",
    "1 cc/(100 in2 24 h) per square metre",
    "Trade glossary on oxygen transmission",
    15.5,
    "cc/(m2 24 h)",
    percent=0.01,
)
def per_square_metre() -> float:
    return _in("1 cc/(100 in2 24 h)", "gas flux", "cc/(m2 24 h)")


@check(
    TOPIC,
    "U9",
    "1 cm3 mm/(m2 day atm) in mils and 100 in2",
    "Definitions of inch and mil: 0.064516 m2 / 0.0254 mm",
    2.54,
    "cm3 mil/(100 in2 day atm)",
    percent=1e-9,
    kind="worked out",
)
def metric_to_imperial() -> float:
    return _in("1 cm3*mm/(m2*day*atm)", "gas permeability", "cm3*mil/(100 in2*day*atm)")
