"""The sheets of a project workbook that have one row for each key."""

from __future__ import annotations

from optimizer.project.book_layout import KeySheet, item

_GASES = ("O2", "N2", "CO2")

PROJECT = KeySheet(
    "Project",
    "What is inside, and how long it has to last. Leave a value empty where the key does not apply.",
    (),
    (
        item("format", "number", "Always 1: the format of the project file"),
        item("title", "text", "Shown in every answer"),
        item("target.shelf_life", "quantity", "How long the product has to last", "duration"),
        item("wall", "text", "How walls are simulated: auto, steady or transient", "wall models"),
        item("product.mass", "quantity", "Mass of the product", "mass"),
        item("product.volume", "quantity", "Volume of the product, without headspace", "volume"),
        item("product.water_activity", "number", "Fixed water activity inside, 0 to 1; not beside moisture"),
        item(
            "product.headspace.volume", "quantity", "Gas above and between the product at closing", "volume"
        ),
        item(
            "product.headspace.walls",
            "text",
            "rigid: the volume is kept; flexible: the pressure",
            "headspace walls",
        ),
        item(
            "product.headspace.gas.*",
            "quantity",
            "Share of the dry headspace at closing",
            "share",
            names=_GASES,
        ),
        item(
            "product.headspace.creep",
            "quantity",
            "Growth of a rigid package: [[0 days, 0 %], [14 days, 1.5 %]]",
        ),
        item(
            "product.oxygen.dissolves_like", "quantity", "water, oil, nothing, or a solubility: 40 mg/(L*atm)"
        ),
        item("product.oxygen.solubility_factor", "number", "Multiplies the solubility, for sugar or salt"),
        item(
            "product.oxygen.dissolved_at_closing",
            "quantity",
            "Oxygen dissolved in the product",
            "concentration",
        ),
        item("product.oxygen.consumption.order", "number", "0, 1 or michaelis-menten", "orders"),
        item(
            "product.oxygen.consumption.rate",
            "quantity",
            "Rate at which the product uses oxygen",
            "oxygen use",
        ),
        item("product.oxygen.consumption.half_pressure", "quantity", "For michaelis-menten", "pressure"),
        item("product.oxygen.consumption.temperature", "quantity", "At which the rate holds", "temperature"),
        item(
            "product.oxygen.consumption.activation_energy", "quantity", "Of the rate; none if empty", "energy"
        ),
        item(
            "product.moisture.dry_mass",
            "quantity",
            "Dry mass of a product that takes up or loses water",
            "mass",
        ),
        item(
            "product.moisture.isotherm.model",
            "text",
            "GAB, Oswin or Henderson; its constants below",
            "isotherms",
        ),
        item("product.moisture.isotherm.monolayer", "number", "GAB"),
        item("product.moisture.isotherm.c", "number", "GAB, Henderson"),
        item("product.moisture.isotherm.k", "number", "GAB, Henderson"),
        item("product.moisture.isotherm.a", "number", "Oswin"),
        item("product.moisture.isotherm.b", "number", "Oswin"),
        item("product.moisture.isotherm.n", "number", "Henderson"),
        item("product.moisture.isotherm.temperature", "quantity", "Henderson", "temperature"),
        item(
            "product.moisture.isotherm.table",
            "any",
            "Or measured points: [[0.1, 0.02], [0.5, 0.06], [0.8, 0.15]]",
        ),
        item("product.moisture.initial.water_activity", "number", "At closing; or the content"),
        item("product.moisture.initial.content", "quantity", "Water per dry mass at closing", "share"),
        item("product.carbonation.volumes", "number", "Volumes of CO2 per volume of drink"),
        item("product.carbonation.temperature", "quantity", "Temperature of filling", "temperature"),
        item("before_closing.humidity", "quantity", "In which the walls were stored until closing", "share"),
        item(
            "before_closing.gas.*",
            "quantity",
            "Gas in which they were stored; air if empty",
            "share",
            names=_GASES,
        ),
        item("package.outer.count", "number", "Packages in a second pack around them, if there is one"),
        item("package.outer.volume", "quantity", "Gas between them and the second pack", "volume"),
        item("package.outer.walls", "text", "Of the second pack: flexible or rigid", "headspace walls"),
        item("package.outer.humidity", "quantity", "Of that gas at closing", "share"),
    ),
)

LIMITS = KeySheet(
    "Limits",
    "What ends the shelf life: the first of these that is reached. Leave empty what does not apply.",
    ("product", "limits"),
    (
        item("oxygen_gain", "quantity", "Oxygen taken up, per mass of product", "oxygen gain"),
        item("headspace_oxygen", "quantity", "Share of oxygen in the dry headspace", "share"),
        item("water_gain", "quantity", "Share of the mass of the product", "share"),
        item("water_loss", "quantity", "Share of the mass of the product", "share"),
        item("water_activity_max", "number", "0 to 1; needs moisture"),
        item("water_activity_min", "number", "0 to 1; needs moisture"),
        item("co2_loss", "quantity", "Share of all CO2 at closing; needs carbonation", "share"),
    ),
)

DESIGN = KeySheet(
    "Design",
    "What the program may change, and the rules. A key with several entries stands in several rows.",
    ("design",),
    (
        item("walls", "text", "A wall that may be changed", "walls", several=True),
        item("minimise", "text", "cost, mass or thickness", "goals"),
        item("choose_from", "text", "A material to choose from", "materials", several=True),
        item("rules.max_layers", "number", "Most layers, tie layers counted; 7 if empty"),
        item("rules.gauge_step", "quantity", "Thicknesses are whole multiples of it", "length"),
        item("rules.total_thickness.min", "quantity", "Of each wall", "length"),
        item("rules.total_thickness.max", "quantity", "Of each wall", "length"),
        item("rules.total_mass.min", "quantity", "Of each wall, per m2 or in one package", "wall mass"),
        item("rules.total_mass.max", "quantity", "Of each wall, per m2 or in one package", "wall mass"),
        item("rules.inside", "text", "Role of the innermost layer; seal if empty", "faces"),
        item("rules.outside", "text", "Role of the outermost layer; print if empty", "faces"),
        item("rules.share.*.min", "quantity", "Mass share of a family or material", "share"),
        item("rules.share.*.max", "quantity", "Mass share of a family or material", "share", names=("EVOH",)),
        item("rules.mono_material.family", "text", "Family of the one polymer that counts"),
        item("rules.mono_material.min", "quantity", "Its least mass share", "share"),
        item("rules.recycled_content.min", "quantity", "Of the mass of each wall", "share"),
        item("rules.foil_free", "flag", "No metal foil", "yes or no"),
        item("rules.metal_free", "flag", "Neither foil nor anything metallised", "yes or no"),
        item("rules.halogen_free", "flag", "No PVC, PVDC, PCTFE", "yes or no"),
        item("rules.food_contact", "text", "listed: the innermost layer is marked for food", "contact"),
        item("rules.bonding", "text", "table: only pairs that bond may touch", "bonding"),
        item("rules.symmetric", "flag", "Mirrored layers", "yes or no"),
        item("rules.keep", "text", "A material that must be present", "materials", several=True),
        item("rules.avoid", "text", "A material that must not", "materials", several=True),
        item("rules.change_at_most", "number", "How many layers may differ from the wall given"),
        item("rules.max_resins", "number", "Most different materials in a wall"),
        item("rules.regrind.of", "text", "Resin whose trim is run once more", "materials"),
        item("rules.regrind.share.min", "quantity", "Its mass share", "share"),
        item("rules.regrind.share.max", "quantity", "Its mass share", "share"),
        item("rules.regrind.price", "quantity", "Of the regrind", "price"),
        item("rules.scrap", "quantity", "Share of what is bought that is lost", "share"),
        item("rules.reserve", "quantity", "Share of every limit kept unused", "share"),
    ),
)

UNCERTAINTY = KeySheet(
    "Uncertainty",
    "What varies, as a relative standard deviation. Leave it empty for one answer without chances.",
    ("uncertainty",),
    (
        item("thickness", "quantity", "Of every wall; or a row for each wall: thickness.NAME", "share"),
        item("thickness.*", "quantity", "Of this wall or part", "share"),
        item("layers.*", "quantity", "Of the layers of this material", "share"),
        item("temperature", "quantity", "Standard deviation of all temperatures together", "difference"),
        item("humidity", "quantity", "Likewise, in percentage points", "share"),
        item("durations", "quantity", "Of every stage; or durations.NAME", "share"),
        item("durations.*", "quantity", "Of this stage", "share"),
        item("limits.*", "quantity", "Of this limit", "share"),
        item("consumption", "quantity", "Of the rate at which the product uses oxygen", "share"),
        item("isotherm", "quantity", "Of the water that the product holds", "share"),
        item("headspace_oxygen", "quantity", "Of the oxygen at closing", "share"),
        item("properties", "quantity", "Of permeabilities that have none of their own", "share"),
        item("correlation", "quantity", "Share of the variance in common within a source", "share"),
        item("confidence", "quantity", "How sure the answer shall be", "share"),
        item("samples", "number", "How many are drawn; 4096 if empty"),
        item("seed", "number", "Of the draw"),
    ),
)

MORE = KeySheet(
    "More",
    "Any other key of the project file, by its path. Lists and groups as in YAML: [a, b], {min: 8 um}.",
    (),
)
