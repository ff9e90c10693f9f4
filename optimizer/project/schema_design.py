"""The ``design`` section: which walls may change, what is minimised, from what, under which rules."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar

from pydantic import BeforeValidator, PlainValidator

from optimizer.design.options import OBJECTIVES
from optimizer.project.base import SOME, Group
from optimizer.project.fields import (
    SHARE,
    Flag,
    Length,
    PositiveShare,
    Share,
    Word,
    choice,
    quantity,
    take,
    whole,
)
from optimizer.project.schema_material import ROLES
from optimizer.project.schema_package import some
from optimizer.units import Quantity

#: Mass of a wall per area, or in one package.
_MASS_KINDS = ("grammage", "mass")
WallMass = Annotated[Quantity, quantity(_MASS_KINDS, "85 g/m2", above=0.0, limits="more than 0")]


class ThicknessRange(Group):
    min: Length | None = None
    max: Length | None = None
    example: ClassVar[dict[str, str]] = {"min": "400 um", "max": "900 um"}


class MassRange(Group):
    min: WallMass | None = None
    max: WallMass | None = None
    example: ClassVar[dict[str, str]] = {"min": "60 g/m2", "max": "85 g/m2"}


class ShareRange(Group):
    min: Share | None = None
    max: Share | None = None
    example: ClassVar[dict[str, str]] = {"min": "0 %", "max": "5 %"}


class LeastShare(Group):
    min: Share
    example: ClassVar[dict[str, str]] = {"min": "30 %"}


class MonoMaterial(Group):
    family: Word
    min: PositiveShare
    example: ClassVar[dict[str, str]] = {"family": "PE", "min": "90 %"}


def _mono(value: Any) -> MonoMaterial | Quantity:
    """A share alone is read, so that the families there are can be named when it is refused."""
    if isinstance(value, dict):
        return MonoMaterial.model_validate(value)
    return take(value, SHARE, "{family: PE, min: 90 %}", above=0.0, most=1.0, limits="up to 100 %")


class Regrind(Group):
    """Trim and rejects of one resin, ground and run in a layer inside the wall."""

    of: Word
    share: ShareRange = ShareRange()
    price: (
        Annotated[Quantity, quantity("price per mass", "0.20 EUR/kg", least=0.0, limits="0 or more")] | None
    ) = None
    example: ClassVar[dict[str, str]] = {"of": "HDPE", "share": "{max: 30 %}", "price": "0.20 EUR/kg"}


class Rules(Group):
    max_layers: Annotated[int, whole(1, 15)] = 7
    gauge_step: Length | None = None
    total_thickness: ThicknessRange | None = None
    total_mass: MassRange | None = None
    inside: Annotated[str, choice(*ROLES, "any")] = "seal"
    outside: Annotated[str, choice(*ROLES, "any")] = "print"
    share: dict[Word, ShareRange] = {}
    mono_material: Annotated[Any, PlainValidator(_mono, json_schema_input_type=MonoMaterial)] = None
    recycled_content: LeastShare | None = None
    foil_free: Flag = False
    metal_free: Flag = False
    halogen_free: Flag = False
    food_contact: Annotated[str, choice("listed", "any")] = "any"
    bonding: Annotated[str, choice("table", "any")] = "table"
    symmetric: Flag = False
    keep: list[Word] = []
    avoid: list[Word] = []
    change_at_most: Annotated[int, whole(0, 15)] | None = None
    max_resins: Annotated[int, whole(1, 15)] | None = None
    regrind: Regrind | None = None
    scrap: (
        Annotated[Quantity, quantity("fraction", "8 %", least=0.0, most=0.9, limits="from 0 % to 90 %")]
        | None
    ) = None
    reserve: (
        Annotated[Quantity, quantity("fraction", "10 %", least=0.0, most=0.9, limits="from 0 % to 90 %")]
        | None
    ) = None
    example: ClassVar[dict[str, str]] = {
        "max_layers": "7",
        "gauge_step": "1 um",
        "total_thickness": "{min: 400 um, max: 900 um}",
        "total_mass": "{max: 85 g/m2}",
        "inside": "seal",
        "outside": "print",
        "share": "{EVOH: {max: 5 %}}",
        "mono_material": "{family: PE, min: 90 %}",
        "recycled_content": "{min: 30 %}",
        "foil_free": "true",
        "metal_free": "true",
        "halogen_free": "true",
        "food_contact": "listed",
        "bonding": "table",
        "symmetric": "false",
        "keep": "[HDPE]",
        "avoid": "[PA6]",
        "change_at_most": "2",
        "max_resins": "3",
        "regrind": "{of: HDPE, share: {max: 30 %}, price: 0.20 EUR/kg}",
        "scrap": "8 %",
        "reserve": "10 %",
    }


class Design(Group):
    walls: Annotated[list[Word], SOME, BeforeValidator(lambda v: some(v, "wall", "bottle"))]
    minimise: Annotated[str, choice(*OBJECTIVES)] = OBJECTIVES[0]
    choose_from: Annotated[
        list[Word], SOME, BeforeValidator(lambda v: some(v, "material", "HDPE, tie PE, EVOH 32"))
    ]
    rules: Rules = Rules()
    example: ClassVar[dict[str, str]] = {
        "walls": "[bottle]",
        "minimise": "cost",
        "choose_from": "[HDPE, tie PE, EVOH 32]",
        "rules": "{max_layers: 7}",
    }
