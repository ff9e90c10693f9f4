"""The tables of a project workbook, and all of its sheets in their order."""

from __future__ import annotations

from optimizer.project.book_keys import DESIGN, LIMITS, MORE, PROJECT, UNCERTAINTY
from optimizer.project.book_layout import (
    UP,
    Column,
    KeySheet,
    Named,
    Next,
    TableSheet,
    measured,
    plain,
    unit_column,
)

MATERIALS = TableSheet(
    "Materials",
    "Your prices and facts. What is not given comes from the shipped table, where the material is known.",
    ("materials", Next),
    (
        plain("material", "text", "Name, as in the shipped table, or of your own", "materials", "name"),
        *measured("price", "Per mass; per area for a web of one gauge", "price"),
        *measured("density", "Needed for a material that the shipped table does not know", "density"),
        plain("gauge min", "quantity", "Thinnest layer", "", "gauge", "min", unit="gauge unit"),
        plain("gauge max", "quantity", "Thickest layer", "", "gauge", "max", unit="gauge unit"),
        plain("gauge", "quantity", "Or the one gauge it has", unit="gauge unit"),
        unit_column("gauge unit", "length"),
        plain("gauges", "words", "Or those in which a web is bought: 12 um; 15 um"),
        plain("roles", "words", "Of seal, print, core, barrier, bond, coating: seal; core"),
        plain("family", "text", "For the rules of bonding: PE"),
        plain("food contact", "flag", "yes or no", "yes or no"),
        plain("recycled content", "percent", "Share of its mass"),
        *measured("coat weight", "Of an adhesive or a coating, instead of a gauge", "grammage"),
        *measured("pass cost", "Of the pass that each layer of it needs", "price per area"),
        plain("carrier", "words", "Families that a coating may be put on: PET; PP"),
        plain("contains", "words", "Of foil, metallising, halogen; or none"),
        plain("aliases", "words", "Other names"),
        *measured("glass transition", "Temperature", "temperature"),
        plain("recycling family", "text", "If other than the family"),
        plain("note", "text", "A note of your own"),
        plain("table", "text", "Instead of a name: a CSV file of materials, beside this workbook"),
    ),
    once="material",
    rare=(
        "gauge",
        "gauges",
        "recycled content",
        "coat weight",
        "coat weight unit",
        "pass cost",
        "pass cost unit",
        "carrier",
        "contains",
        "aliases",
        "glass transition",
        "glass transition unit",
        "recycling family",
        "note",
        "table",
    ),
)

PROPERTIES = TableSheet(
    "Properties",
    "Measured values of your own, one row each. They replace those of the shipped table for that gas.",
    ("materials", Named("material"), Named("property"), Next),
    (
        Column(
            "material", meaning="As in the sheet Materials; empty: as in the row above", words="materials"
        ),
        Column(
            "property",
            meaning="permeability, permeance (of the whole layer) or diffusivity",
            words="properties",
        ),
        plain("gas", "text", "O2, CO2, N2 or H2O", "gases"),
        plain("value", "quantity", "As printed in the test report", unit="unit"),
        plain("value low", "quantity", "Instead of a value: the range as printed", unit="unit"),
        plain("value high", "quantity", "Its upper end", unit="unit"),
        unit_column("unit", "permeability"),
        *measured("thickness", "Of the film tested, where the value is its transmission", "length"),
        *measured("temperature", "Of the test", "temperature"),
        plain("humidity", "percent", "On both faces; for H2O on the wet side"),
        plain("humidity far", "percent", "For H2O on the other side; dry if empty"),
        *measured("activation energy", "If known", "energy"),
        plain("spread", "percent", "Relative standard deviation"),
        plain("grade", "text", "measured, producer, handbook, estimate"),
        plain("source", "text", "Where the value comes from"),
        plain("note", "text", "A note of your own"),
    ),
    carry=("material", "property"),
    rare=("value low", "value high", "thickness", "thickness unit", "humidity far", "grade", "note"),
)

PARTS = TableSheet(
    "Parts",
    "The parts through which gas passes. Closures and holes have their name here, and a sheet of their own.",
    ("package", "parts", Named("part")),
    (
        Column("part", meaning="A name of your own"),
        plain("shape", "text", "Empty for a plain area, a mesh and a closure", "shapes"),
        plain("wall", "text", "Name of the wall it is made of, in the sheet Layers", "walls"),
        plain("diameter", "quantity", "Of a round shape", unit="unit"),
        plain("height", "quantity", "cylinder, cone, box, pouch", unit="unit"),
        plain("length", "quantity", "tube, box, tray", unit="unit"),
        plain("width", "quantity", "box, tray, pouch", unit="unit"),
        plain("depth", "quantity", "tray", unit="unit"),
        plain("diameter top", "quantity", "cone", unit="unit"),
        plain("top length", "quantity", "tray", unit="unit"),
        plain("top width", "quantity", "tray", unit="unit"),
        plain("gusset", "quantity", "pouch", unit="unit"),
        plain("seal width", "quantity", "pouch", unit="unit"),
        Column("unit", kind="unit", meaning="Unit of the dimensions to the left", units="length"),
        *measured("area", "A plain area: no shape", "area"),
        plain("thickness ratio", "number", "Thickness of this part over that of its wall"),
        *measured("thickness", "Or its thickness, all layers together", "length"),
        plain("dimensions", "text", "Where they were measured; outside if empty", "dimensions"),
        plain("closed bottom", "flag", "profile: a disc closes it", "yes or no"),
        plain("closed top", "flag", "profile: a disc closes it", "yes or no"),
        plain("mesh", "text", "File of a drawn part, beside this workbook"),
        plain("mesh unit", "text", "One unit of the numbers in that file", "mesh units", "unit"),
        plain("inner", "text", "File of the inner face of the wall"),
        plain("shows", "text", "one face, or both faces"),
        plain("up", "text", "Axis of the mesh that points up", "up"),
        plain("opening of", "text", "A flat piece over an opening of the mesh of this part", "parts"),
        plain("opening", "number", "Its number, largest first"),
    ),
    twice=False,
    rare=(
        "depth",
        "diameter top",
        "top length",
        "top width",
        "gusset",
        "seal width",
        "dimensions",
        "closed bottom",
        "closed top",
        "mesh",
        "mesh unit",
        "inner",
        "shows",
        "up",
        "opening of",
        "opening",
    ),
)

PROFILES = TableSheet(
    "Profiles",
    "Points of parts of the shape 'profile': height and radius, from the base up.",
    ("package", "parts", Named("part"), "points", Next),
    (
        Column("part", meaning="As in the sheet Parts; empty: as in the row above", words="parts"),
        plain("height", "quantity", "Above the base", "", 0, unit="unit"),
        plain("radius", "quantity", "There", "", 1, unit="unit"),
        unit_column("unit", "length"),
    ),
    carry=("part",),
)

TRANSMISSION = TableSheet(
    "Transmission",
    "Closures and other pieces whose transmission was measured: one row for each gas.",
    ("package", "parts", Named("part"), "transmission", Next),
    (
        Column("part", meaning="As in the sheet Parts; empty: as in the row above", words="parts"),
        plain("gas", "text", "O2, CO2, N2 or H2O", "gases"),
        plain("value", "quantity", "Of the whole piece", unit="unit"),
        unit_column("unit", "transmission"),
        *measured("temperature", "Of the test", "temperature"),
        plain("humidity", "percent", "For H2O: on the wet side"),
        plain("humidity far", "percent", "For H2O: on the other side"),
        *measured("partial pressure", "Difference of the test, where the unit has no pressure", "pressure"),
        *measured("activation energy", "If known", "energy"),
        plain("spread", "percent", "Relative standard deviation"),
    ),
    carry=("part",),
)

CLOSURES = TableSheet(
    "Closures",
    "Holes, and closures by their geometry.",
    ("package", "parts", Named("part"), Named("kind")),
    (
        Column("part", meaning="As in the sheet Parts", words="parts"),
        Column("kind", meaning="pinhole, gasket, o_ring, seal_edge or valve", words="closures"),
        plain("material", "text", "Of gasket, ring or sealant", "materials"),
        plain("wall", "text", "seal_edge: of a wall sealed to itself", "walls"),
        plain("diameter", "quantity", "pinhole", unit="unit"),
        plain("inner diameter", "quantity", "gasket", unit="unit"),
        plain("ring diameter", "quantity", "o_ring", unit="unit"),
        plain("cord", "quantity", "o_ring", unit="unit"),
        plain("seat diameter", "quantity", "valve", unit="unit"),
        plain("seat width", "quantity", "valve", unit="unit"),
        plain("length", "quantity", "pinhole, seal_edge", unit="unit"),
        plain("width", "quantity", "gasket, seal_edge", unit="unit"),
        plain("height", "quantity", "gasket", unit="unit"),
        Column("unit", kind="unit", meaning="Unit of the dimensions to the left", units="length"),
        *measured("thickness", "seal_edge: of the sealant of both webs", "length"),
        *measured("film", "valve: of the oil or the membrane", "length"),
        plain("count", "number", "pinhole: how many"),
        plain("compression", "percent", "o_ring"),
        *measured("opening pressure", "valve", "pressure"),
    ),
    rare=(
        "wall",
        "inner diameter",
        "ring diameter",
        "cord",
        "seat diameter",
        "seat width",
        "height",
        "thickness",
        "thickness unit",
        "film",
        "film unit",
        "compression",
        "opening pressure",
        "opening pressure unit",
    ),
)

LABELS = TableSheet(
    "Labels",
    "Labels and sleeves on the outside of parts: one row for each layer, from inside to outside.",
    ("package", "labels", Named("label"), "layers", Next),
    (
        Column("label", meaning="A name of your own; empty: as in the row above"),
        plain("on", "text", "The part that it is on; in the first row of a label", "parts", UP, UP, "on"),
        plain("share", "percent", "Share of that part; or an area", "", UP, UP, "share"),
        *measured("area", "That it covers", "area", UP, UP, "area"),
        plain("material", "text", "Of the layer", "materials"),
        *measured("thickness", "Of the layer", "length"),
    ),
    carry=("label",),
)

LAYERS = TableSheet(
    "Layers",
    "The walls, layer by layer, from inside to outside.",
    ("walls", Named("wall"), "layers", Next),
    (
        Column("wall", meaning="A name of your own; empty: as in the row above", words="walls"),
        plain("material", "text", "Of the layer", "materials"),
        *measured("thickness", "Of the layer", "length"),
    ),
    carry=("wall",),
)

STORAGE = TableSheet(
    "Storage",
    "Where the package stands, stage by stage. If more time is looked at, the last stage goes on.",
    ("storage", Next),
    (
        plain("stage", "text", "A name of your own", "", "name"),
        *measured("duration", "How long", "duration"),
        *measured("temperature", "From -30 to 80 degC", "temperature"),
        plain("humidity", "percent", "Of the air, relative"),
        *measured("pressure", "Of the air; 1 atm if empty", "pressure"),
        plain("weather", "text", "Instead of temperature and humidity: a weather file beside this workbook"),
        *measured("damping", "Time constant of a building, with weather", "duration"),
        plain("start", "text", "Where in the weather file: 1 July"),
    ),
    rare=("pressure", "pressure unit", "weather", "damping", "damping unit", "start"),
)

SPECIFICATION = TableSheet(
    "Specification",
    "Transmission that the specification allows: of one wall per m2, or of the whole package (no wall).",
    ("target", "transmission", Next),
    (
        plain("gas", "text", "O2, CO2, N2 or H2O", "gases"),
        plain("max", "quantity", "Most that may pass", unit="unit"),
        unit_column("unit", "specification"),
        plain("wall", "text", "Where it is per m2 of a wall", "walls"),
        *measured("temperature", "Of the test", "temperature"),
        plain("humidity", "percent", "On both faces; for H2O on the wet side"),
        plain("humidity far", "percent", "For H2O on the other side; dry if empty"),
        *measured("partial pressure", "Of the test, where the unit has no pressure", "pressure"),
    ),
)

#: In the order of the workbook.
SHEETS: tuple[KeySheet | TableSheet, ...] = (
    PROJECT, LIMITS, MATERIALS, PROPERTIES, LAYERS, PARTS, PROFILES, TRANSMISSION, CLOSURES, LABELS, STORAGE,
    SPECIFICATION, DESIGN, UNCERTAINTY, MORE,
)  # fmt: skip
#: Where a section that is missing would begin.
HOMES: dict[tuple[str, ...], str] = {
    (): "Project",
    ("format",): "Project",
    ("product",): "Project",
    ("product", "limits"): "Limits",
    ("package",): "Parts",
    ("package", "parts"): "Parts",
    ("materials",): "Materials",
    ("walls",): "Layers",
    ("storage",): "Storage",
    ("target",): "Project",
    ("design",): "Design",
}
#: Order of the sections in a project file.
SECTIONS = (
    "format", "title", "materials", "product", "package", "walls", "storage", "target", "design", "wall",
    "before_closing", "uncertainty",
)  # fmt: skip
