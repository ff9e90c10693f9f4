"""What each key of the project file means, by the name of its group in the ``schema`` modules.

The JSON Schema and the tables of docs/project-file.md are made from these; a test holds them against the
keys.
"""

from __future__ import annotations

from collections.abc import Mapping

MEANINGS: Mapping[str, Mapping[str, str]] = {
    "ProjectFile": {
        "format": "`1`: the format of this page",
        "title": "shown in every answer; the file's name when absent",
        "materials": "your own prices, properties and tables",
        "product": "what is inside, and what limits its shelf life",
        "package": "the parts through which gas passes",
        "walls": "layers, by the name of the wall",
        "storage": "stages, in order",
        "target": "shelf life and transmission limits to meet",
        "design": "what `layerwright design` may change",
        "wall": "how the walls are simulated",
        "before_closing": "what the walls were stored in until closing",
        "uncertainty": "what varies, for chances and percentiles of the shelf life",
    },
    "Table": {
        "table": "CSV with the columns of the shipped tables, relative to the project file",
    },
    "Product": {
        "mass": "limits per mass refer to it",
        "volume": "of the product, without headspace",
        "water_activity": "0 to 1, fixed inside. Not beside `moisture`. For a liquid 1 is taken when absent",
        "headspace": "the gas over the product",
        "oxygen": "how the product dissolves and uses oxygen; absent: not at all",
        "moisture": "for products that take up or lose water",
        "carbonation": "CO2 in a liquid at filling",
        "limits": "any number; the first one reached ends the shelf life",
    },
    "Headspace": {
        "volume": "at closing",
        "walls": "`rigid`: the volume is kept; `flexible`: the pressure is kept and the volume follows",
        "gas": "dry mole shares of O2, N2 and CO2 at closing, 100 % in all; absent: air, or CO2 only over a "
        "carbonated product",
        "creep": "of a rigid package that gives way under pressure: rows of time since closing and growth of "
        "its volume, as a share of product and headspace; from 0 % at closing, constant after the last",
    },
    "Oxygen": {
        "dissolves_like": "`water`, `oil`, `nothing`, or a solubility such as `40 mg/(L*atm)`",
        "solubility_factor": "multiplies the solubility, for sugar or salt",
        "dissolved_at_closing": "oxygen in the product at closing; 0 when absent",
        "consumption": "how the product uses oxygen up; absent: not at all",
    },
    "Consumption": {
        "order": "of the reaction in oxygen; order 1 acts on dissolved oxygen, or on that of the "
        "headspace where the product dissolves none",
        "rate": "of order 1 per time, `0.05 1/day`; else oxygen per time: for the whole product (`1 "
        "mg/day`), per mass (`0.2 mg/(kg*day)`) or per volume (`0.02 mg/(L*day)`)",
        "half_pressure": "for michaelis-menten: the partial pressure at which it runs at half the rate",
        "temperature": "at which the rate was measured",
        "activation_energy": "the same rate at every temperature when absent",
    },
    "Moisture": {
        "dry_mass": "of the product",
        "isotherm": "water held at each water activity",
        "initial": "at closing",
    },
    "Gab": {
        "model": "Guggenheim-Anderson-de Boer",
        "monolayer": "water per dry mass",
        "c": "constant of the first layer",
        "k": "constant of the further layers",
    },
    "Oswin": {
        "model": "Oswin",
        "a": "water per dry mass at an activity of 0.5",
        "b": "exponent",
    },
    "Henderson": {
        "model": "modified Henderson",
        "k": "constant, with the water content in per cent and the temperature in degC",
        "n": "exponent",
        "c": "added to the temperature in degC",
        "temperature": "of the product",
    },
    "TableOfPoints": {
        "table": "points of water activity and water per dry mass, both increasing",
        "model": "`table`, and may be left out",
    },
    "Initial": {
        "water_activity": "of the product at closing, 0 to 1; give this or `content`",
        "content": "water per dry mass at closing; give this or `water_activity`",
    },
    "Carbonation": {
        "volumes": "of CO2 at 0 degC and 1 atm per volume of liquid",
        "temperature": "of filling",
    },
    "Limits": {
        "oxygen_gain": "oxygen taken up by the product, dissolved and used, less what was dissolved "
        "at closing; all that came in, if the product does neither",
        "headspace_oxygen": "oxygen in the dry headspace",
        "water_gain": "of the product's mass; needs the water activity inside",
        "water_loss": "of the product's mass; needs the water activity inside",
        "water_activity_max": "highest water activity, 0 to 1; needs `moisture`",
        "water_activity_min": "lowest water activity, 0 to 1; needs `moisture`",
        "co2_loss": "of all CO2 at closing; needs `carbonation`",
    },
    "Package": {
        "parts": "by name; gas passes through all of them in parallel",
        "labels": "labels or sleeves on the outside of parts, by name",
        "outer": "a second pack around several of these",
    },
    "WallPart": {
        "wall": "name of the wall it is made of",
        "thickness_ratio": "thickness of this part over that of its wall",
        "thickness": "of this part, all layers together; one, or from place to place: see local thickness",
    },
    "ShapePart": {
        "shape": "one of the shapes below",
        "dimensions": "where on the wall its lengths were measured",
    },
    "AreaPart": {
        "area": "that gas passes",
    },
    "MeshPart": {
        "mesh": "STL, OBJ, PLY, OFF, GLB or 3MF, relative to the project file",
        "unit": "one unit of its numbers, as `mm`; never guessed",
        "dimensions": "which face of the wall is drawn; of no account where both are",
        "shows": "of the wall: one face, or both (its solid, or two shells one in the other); "
        "absent: found from the mesh, and asked where that is in doubt",
        "inner": "the inner face of the wall, in the same unit and coordinates; `thickness` is then "
        "`between faces` unless given, and the room inside is that of this file",
        "up": "which way is up; absent: the way the only opening faces, else `z` (said)",
        "regions": "pieces of the mesh that become parts of their own, by name",
    },
    "OpeningPart": {
        "opening_of": "name of the part with the mesh",
        "opening": "its number, the largest first",
        "thickness": "of this piece, which is flat and has one",
    },
    "Region": {
        "above": "height over the lowest point of the part",
        "below": "height over the lowest point of the part",
        "from_opening": "depth on either side of the plane of an opening, of what hangs together "
        "with its edge",
        "opening": "number of that opening; absent: the largest, of the `body` where one is named, "
        "and not the open side of a cap",
        "body": "of a named object in the file",
        "box": "in the coordinates of the mesh, `[[0 mm, 0 mm, 60 mm], [20 mm, 20 mm, 90 mm]]`",
        "wall": "name of its wall; absent: that of the part",
        "thickness_ratio": "absent: that of the part",
        "thickness": "absent: that of the part; with a `wall` of its own only a thickness from "
        "place to place is taken over",
        "sealed": "it lies under a seal, as the flange of a tray: it weighs, and nothing passes it",
    },
    "ClosurePart": {
        "transmission": "one row for each gas; a gas that is not listed does not pass",
    },
    "Rate": {
        "gas": "that passes",
        "value": "`0.0012 cm3/day`, or per pressure `0.006 cm3/(day*atm)`; for H2O `0.3 mg/day`",
        "temperature": "of the test",
        "humidity": "for an H2O rate: of the wet side",
        "humidity_far": "for an H2O rate: of the other side, where it was not dry",
        "partial_pressure": "for a flow: the pressure difference of its test",
        "activation_energy": "an assumption when absent (said)",
        "spread": "how uncertain the value is, as a relative standard deviation; exact when absent",
    },
    "HolePart": {
        "pinhole": "a straight round hole or channel, or several",
    },
    "Hole": {
        "diameter": "of the hole",
        "length": "of the way through it",
        "count": "of such holes",
    },
    "SpreadHoles": {
        "diameter": "lognormal by number",
        "length": "of the way through them",
        "count": "of such holes",
    },
    "Diameters": {
        "median": "diameter",
        "spread": "geometric standard deviation, 1 to 3",
    },
    "HoleTable": {
        "sizes": "holes of each size",
        "length": "of the way through them",
    },
    "Size": {
        "diameter": "of the holes",
        "count": "of such holes",
    },
    "GasketPart": {
        "gasket": "a flat ring",
    },
    "ORingPart": {
        "o_ring": "a round cord in a groove",
    },
    "SealEdgePart": {
        "seal_edge": "the open edge of a heat seal",
    },
    "ValvePart": {
        "valve": "a one-way valve that is shut by a film of liquid",
    },
    "Gasket": {
        "material": "of the ring",
        "inner_diameter": "as compressed",
        "width": "of the way of the gas, as compressed",
        "height": "as compressed",
    },
    "ORing": {
        "material": "of the cord",
        "ring_diameter": "to the middle of the cord",
        "cord": "its diameter",
        "compression": "of the cord, 5 % to 40 %",
    },
    "SealEdge": {
        "material": "the sealant",
        "length": "of the edge",
        "width": "of the seal, the way of the gas",
        "thickness": "of the sealant of both webs together",
    },
    "WallEdge": {
        "wall": "that is sealed to itself; gas creeps through the layers under its foil, twice",
        "length": "of the edge",
        "width": "of the seal, the way of the gas",
    },
    "Valve": {
        "material": "of the film",
        "seat_diameter": "to the middle of the seat",
        "seat_width": "the way of the gas",
        "film": "its thickness",
        "opening_pressure": "overpressure inside at which it opens",
    },
    "Label": {
        "on": "the part",
        "share": "of the part's area that it covers; give this or `area`",
        "area": "that it covers; give this or `share`",
        "layers": "inside to outside",
    },
    "OuterPack": {
        "count": "packages in it, all alike",
        "volume": "of the gas between it and the packages, at closing",
        "walls": "`flexible`: the pressure outside is kept; `rigid`: the volume is kept",
        "gas": "dry mole shares of that gas at closing, 100 % in all; air when absent",
        "humidity": "of that gas at closing; that of the first stage when absent",
        "parts": "of the outer pack, as those of `package`",
    },
    "Wall": {
        "layers": "inside to outside",
    },
    "Layer": {
        "material": "a name of the property table or of `materials`",
        "thickness": "of the layer",
    },
    "Stage": {
        "name": "for the tables; `stage 1`, `stage 2` when absent",
        "duration": "how long it lasts; the last stage goes on",
        "temperature": "of the surroundings, -30 to 80 degC",
        "humidity": "of the surroundings",
        "pressure": "of the air; 1 atm when absent",
    },
    "WeatherStage": {
        "name": "for the tables",
        "weather": "hourly temperature and humidity, relative to the project file",
        "duration": "how long the stage lasts, the file repeats; the length of the file when absent",
        "damping": "time constant of a building: temperature and vapour pressure inside follow "
        "those outside as a first-order lag. Without it the package stands in the weather itself",
        "start": "`1 July`, `July`, or a time such as `4344 h`: where in the file the storage "
        "begins; a date needs a file with dates",
        "columns": "headings to read where they do not say what they are",
        "pressure": "of the air; 1 atm when absent",
    },
    "Columns": {
        "temperature": "heading of the column",
        "humidity": "heading of the column",
        "time": "heading of the column",
    },
    "_Column": {
        "name": "the heading",
        "unit": "that the heading lacks",
    },
    "Target": {
        "shelf_life": "to reach",
        "transmission": "specification limits, as buyers write them",
    },
    "TransmissionLimit": {
        "gas": "that passes",
        "wall": "whose m2 `max` is for; without it `max` is for the package",
        "max": "`2 cm3/(m2*day*atm)`, `0.05 cm3/day`, for H2O `8 g/(m2*day)`",
        "temperature": "of the test",
        "humidity": "for a gas on both faces; for H2O the wet side, and the worse way round counts",
        "humidity_far": "for H2O: the far side; dry when absent",
        "partial_pressure": "for a gas limit without a pressure in its unit",
    },
    "Design": {
        "walls": "names of the walls that may be changed",
        "minimise": "what is made least",
        "choose_from": "materials to choose from; with `cost` each needs a price",
        "rules": "all optional",
    },
    "Rules": {
        "max_layers": "1 to 15, tie layers and adhesives counted",
        "gauge_step": "thicknesses are whole multiples of it; layers of one fixed gauge keep that",
        "total_thickness": "of each wall, `{min: 400 um, max: 900 um}`",
        "total_mass": "of each wall, per m2 or in one package: `{max: 85 g/m2}`, `{min: 20 g, max: 24 g}`",
        "inside": "role of the innermost layer, or `any`",
        "outside": "role of the outermost layer, or `any`",
        "share": "mass share of a family or a material in each wall, `{EVOH: {max: 5 %}}`; `min` likewise",
        "mono_material": "`{family: PE, min: 90 %}`: mass share of one polymer, its ties and coated "
        "webs counted",
        "recycled_content": "`{min: 30 %}` of the mass of each wall",
        "foil_free": "no metal foil; metallised webs may stay",
        "metal_free": "neither foil nor anything metallised",
        "halogen_free": "no PVC, PVDC, PCTFE, and no web coated with them",
        "food_contact": "`listed`: the innermost layer is marked for contact with food",
        "bonding": "`table`: only pairs that the bonding table allows may touch",
        "symmetric": "mirrored layers",
        "keep": "materials that must be present",
        "avoid": "materials that must not",
        "change_at_most": "how many layers may differ from the wall given under `walls`; "
        "thicknesses are free",
        "max_resins": "most different materials in a wall: the extruders of the line",
        "regrind": "`{of: HDPE, share: {max: 30 %}, price: 0.20 EUR/kg}`: its trim once more, "
        "inside the wall",
        "scrap": "share of what is bought that ends in no package; the cost is divided by the rest; else 0 %",
        "reserve": "share of every limit kept unused; 0 % when absent",
    },
    "ThicknessRange": {
        "min": "at least",
        "max": "at most",
    },
    "MassRange": {
        "min": "at least",
        "max": "at most",
    },
    "ShareRange": {
        "min": "at least",
        "max": "at most",
    },
    "LeastShare": {
        "min": "at least",
    },
    "MonoMaterial": {
        "family": "of the polymer",
        "min": "its mass share",
    },
    "Regrind": {
        "of": "the resin that is ground",
        "share": "of the mass of the wall",
        "price": "of the regrind; 0 when absent",
    },
    "BeforeClosing": {
        "humidity": "that of the first stage when absent",
        "gas": "dry mole shares, 100 % in all, at 1 atm; air when absent",
    },
    "Heights": {
        "heights": "rows of height and thickness; straight between them, constant beyond",
    },
    "Stretch": {
        "stretch": "a preform or a parison that is blown into the mould",
    },
    "DrawDown": {
        "draw-down": "a sheet formed into a cavity whose open side is up",
    },
    "Preform": {
        "thickness": "wall of the preform or parison; rows are a programmed parison",
        "diameter": "outside diameter of preform or parison",
        "length": "of a preform, from the support ring to its end; a parison has none",
        "support_ring": "height; what is above it keeps the thickness of the preform; absent: all is blown",
        "mass": "of the blown part below the ring: thicknesses are scaled to it",
        "density": "with the mass",
    },
    "Sheet": {
        "sheet": "thickness of the sheet",
        "opening_area": "of the sheet that is drawn; absent: the section at the rim",
        "free_sheet": "shape of the sheet that does not touch yet",
        "corner_radius": "between wall and base of a tray",
        "plug_assist": "`0 %` none, `100 %` an even wall",
    },
    "Uncertainty": {
        "thickness": "by wall, or by part (on top of that of its wall): `{bottle: 8 %, base: 5 %}`; "
        "or one for every wall: `8 %`",
        "layers": 'of the layers of one material, in every wall, on top: `{"EVOH 32": 15 %}`',
        "temperature": "standard deviation of one offset that is common to all stages, up to 30 K",
        "humidity": "likewise, in percentage points of the humidity outside; up to 50 %",
        "durations": "by stage, `{truck: 20 %}`; or one for every stage: `10 %`",
        "limits": "by limit of the product, `{oxygen_gain: 10 %}`",
        "consumption": "of the rate at which the product uses oxygen",
        "isotherm": "of the water that the product holds at a water activity",
        "headspace_oxygen": "of the oxygen in the headspace at closing",
        "properties": "of permeabilities that have none of their own and no band in the table",
        "correlation": "share of the variance that properties of one source have in common; 50 % when absent",
        "confidence": "how sure the answer shall be, more than 50 % and less than 100 %",
        "samples": "4096 when absent. Rounded up to a power of two, 64 at least",
        "seed": "of the draw; a fixed one when absent. The same seed gives the same samples",
    },
}
