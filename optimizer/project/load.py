"""From a project file to everything that the commands need; every problem at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from optimizer.catalog import Catalog, load_catalog
from optimizer.catalog.workbook import OTHER_BOOKS, WORKBOOKS
from optimizer.design.options import DesignOptions
from optimizer.errors import InputError
from optimizer.physics.material import Material
from optimizer.project import check_storage, checks
from optimizer.project.book import read_book
from optimizer.project.build_closures import build_covers, build_seals
from optimizer.project.build_design import build_design
from optimizer.project.build_outer import build_outer
from optimizer.project.build_package import build_parts, build_walls, find_material, is_file
from optimizer.project.build_product import build_before, build_product
from optimizer.project.build_storage import (
    build_specifications,
    build_stages,
    horizon,
    mean_temperature,
)
from optimizer.project.build_uncertainty import build_uncertainty
from optimizer.project.check_layers import layers_are_within_gauge
from optimizer.project.check_steady import steady_walls_suffice
from optimizer.project.check_uncertainty import names_are_known, spreads_have_something_to_act_on
from optimizer.project.entry_places import EntryPlaces
from optimizer.project.reader import Contents, Reader
from optimizer.project.schema import Sections, outer_sections, read_sections
from optimizer.project.schema_material import Table
from optimizer.project.schema_package import files_of
from optimizer.project.schema_storage import WeatherStage
from optimizer.project.source import Location, Source, read_source
from optimizer.shelflife.contents import simulated_gases
from optimizer.shelflife.nested import surrounded
from optimizer.shelflife.package import Case, Package, Part, Product, Stage, TransmissionLimit, Wall


@dataclass(frozen=True)
class Project:
    """A project file, YAML or a workbook, that was read without a problem.

    design: None without a ``design`` section. sha256: of the project file and every file it refers to.
    data: the plain contents of the file. files: the project file, then the files it refers to.
    """

    case: Case
    design: DesignOptions | None
    catalog: Catalog
    path: Path
    sha256: str
    data: Mapping[str, Any]
    files: tuple[Path, ...]
    source: Source


def load_project(path: str | Path) -> Project:
    """Read the project file at ``path``, YAML or a workbook; paths in it are relative to its folder.

    Raises InputError with all problems.
    """
    path = Path(path)
    contents = Contents()
    source = project_source(path, contents.read)
    sections, found = read_sections(source)
    reader = Reader(source, [*source.problems, *found], contents=contents)
    catalog = _catalog(sections, path.parent, reader)
    materials = _materials(sections, catalog, reader)
    case = _case(sections, materials, catalog, path.parent, reader)
    design = None
    if sections.design and catalog:
        design = build_design(sections.design, materials, catalog, reader, sections.walls)
    if reader.problems or case is None or catalog is None:
        raise InputError(reader.problems)
    files = _files(sections, path)
    return Project(case, design, catalog, path, contents.digest(files), source.data, files, source)


def project_source(path: Path, read: Callable[[Path], bytes] = Path.read_bytes) -> Source:
    """The plain contents of a project file, YAML or a workbook, with their places; ``read`` gives its bytes.
    Raises InputError."""
    is_book = path.suffix.lower() in (*WORKBOOKS, *OTHER_BOOKS)
    return read_book(path, read=read) if is_book else read_source(path, read=read)


def _catalog(sections: Sections, base: Path, reader: Reader) -> Catalog | None:
    """The shipped table with the user's own merged over it; None when those cannot be read."""
    if "materials" in sections.failed:
        return None
    tables: list[Path] = []
    inline: list[dict[str, Any]] = []
    places: list[int] = []
    before = len(reader.problems)
    for i, entry in enumerate(sections.materials):
        if not isinstance(entry, Table):
            inline.append(entry)
            places.append(i)
        elif is_file(base / entry.table):
            tables.append(base / entry.table)
        else:
            place: Location = ("materials", i, "table")
            reader.refuse(place, "there is no such file", "paths are relative to the project file")
    found = EntryPlaces(reader.source, places)
    try:
        catalog = load_catalog(
            tables, inline, file=reader.source.file, locate=found.locate, read=reader.contents.read
        )
        return catalog if len(reader.problems) == before else None
    except InputError as error:
        reader.problems += [found.told(problem) for problem in error.problems]
        return None


def _materials(sections: Sections, catalog: Catalog | None, reader: Reader) -> dict[str, Material]:
    """Every material that the file names, by that name; unknown names are problems."""
    known: dict[str, Material] = {}
    if catalog:
        for place, name in checks.material_places(sections, reader.source.data):
            find_material(catalog, name, place, reader, known)
    return known


def _case(
    sections: Sections, materials: Mapping[str, Material], catalog: Catalog | None, base: Path, reader: Reader
) -> Case | None:
    """Check and build whatever is sound; None when a part of the case is missing."""
    checks.walls_exist(sections, reader)
    checks.walls_are_used(sections, reader)
    checks.target_asks_for_something(sections, reader)
    checks.design_has_a_goal(sections, reader)
    check_storage.stages_have_their_own_names(sections, reader)
    check_storage.weather_is_not_looked_at_for_ages(sections, reader)
    stages = build_stages(sections.storage, base, reader) if sections.storage else ()
    product = _product(sections, materials, stages, reader)
    parts: dict[str, Part] = {}
    if sections.package:
        parts, surfaces = build_parts(sections.package, sections.walls, base, reader)
        checks.product_fits_the_package(sections, surfaces, reader)
        checks.walls_fit_into_their_parts(sections, surfaces, reader)
        checks.fields_follow_the_design(sections, surfaces, reader)
    walls: dict[str, Wall] = {}
    if catalog is not None:
        layers_are_within_gauge(sections, materials, reader)
        followed = simulated_gases(product) if product else ()
        checks.materials_have_the_gases(sections, materials, followed, reader)
        walls = build_walls(sections.walls or {}, materials)
    seals = build_seals(sections, materials, reader)
    parts, walls = parts | seals.parts, walls | seals.walls
    covers = build_covers(sections, parts, walls, materials, reader)
    outer = build_outer(sections, materials, walls, base, reader)
    steady_walls_suffice(sections, materials, reader)
    before = build_before(sections.before_closing, sections.wall, reader)
    names_are_known(sections, materials, catalog, reader)
    spreads_have_something_to_act_on(sections, reader)
    specifications: tuple[TransmissionLimit, ...] = ()
    if sections.target:
        specifications = build_specifications(sections.target, reader)
    if reader.problems or product is None:
        return None
    shelf_life = sections.target.shelf_life if sections.target else None
    target = shelf_life.value if shelf_life else None
    case = Case(
        title=sections.title,
        product=product,
        package=Package(tuple(parts.values()), walls, covers, seals.opening_pressure),
        storage=stages,
        target=target,
        horizon=horizon(stages, target),
        transmission_limits=specifications,
        warnings=tuple(reader.warnings),
        assumptions=tuple(reader.assumptions),
        wall=sections.wall,
        before=before,
        uncertainty=build_uncertainty(sections, materials, catalog),
        outer=outer,
    )
    return surrounded(case)


def _product(
    sections: Sections, materials: Mapping[str, Material], stages: tuple[Stage, ...], reader: Reader
) -> Product | None:
    if sections.product is None:
        return None
    checks.limits_have_their_model(sections.product, reader)
    checks.headspace_is_smaller_than_the_product(sections.product, reader)
    checks.mass_fits_the_volume(sections.product, reader)
    sensitive = tuple(name for name, material in materials.items() if material.humidity_sensitive)
    first = mean_temperature(stages) if stages else 296.15
    return build_product(sections.product, first, sensitive, reader)


def _files(sections: Sections, path: Path) -> tuple[Path, ...]:
    """The project file and the files it names."""
    named = [entry.table for entry in sections.materials if isinstance(entry, Table)]
    if sections.package:
        named += files_of(sections.package)
    around = outer_sections(sections)
    if around is not None and around.package is not None:
        named += files_of(around.package)
    named += [stage.weather for stage in sections.storage or [] if isinstance(stage, WeatherStage)]
    return (path, *(path.parent / name for name in dict.fromkeys(named)))
