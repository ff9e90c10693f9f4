"""The shipped table itself: nothing changes unseen, every unit reads, every source resolves."""

from __future__ import annotations

import json
import math
import re
import time
import zlib
from pathlib import Path

import pytest

from optimizer.catalog import Catalog, load_catalog
from optimizer.catalog.choose import EVALUATED, evaluated
from optimizer.catalog.lint import lint_shipped
from optimizer.catalog.load import Shipped, find_materials, load_shipped
from optimizer.catalog.records import DiffusivityRecord, PermeabilityRecord, read_row
from optimizer.catalog.tables import Table, read_table
from optimizer.constants import PERMEANTS

_NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?:e-?\d+)?")
_SUMS = Path(__file__).with_name("table_sums.json")


@pytest.fixture(scope="module")
def shipped() -> Shipped:
    return load_shipped()


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog()


def _tables(shipped: Shipped) -> dict[str, Table]:
    single = {f"{name}.csv": table for name, table in shipped.tables.items()}
    return single | {f"{d}/{k}.csv": t for d, tables in shipped.sources.items() for k, t in tables.items()}


def _summary(table: Table) -> dict[str, object]:
    """Rows, and of each column the sum of all numbers in it and a check sum of its text."""
    columns = {}
    for name in table.columns:
        cells = [row.get(name) for row in table.rows]
        total = math.fsum(float(n) for cell in cells for n in _NUMBER.findall(cell))
        columns[name] = [float(f"{total:.10g}"), zlib.crc32("\n".join(cells).encode())]
    return {"rows": len(table.rows), "columns": columns}


def test_row_counts_and_column_sums_are_those_on_record(shipped: Shipped) -> None:
    """An edited cell shows here; table_sums.json is changed on purpose or not at all."""
    expected = json.loads(_SUMS.read_text("utf-8"))
    found = {name: _summary(table) for name, table in _tables(shipped).items()}
    assert found.keys() == expected.keys()
    wrong = {name: found[name] for name in found if found[name] != expected[name]}
    assert not wrong, f"these tables differ from the record: {json.dumps(wrong)}"


def test_one_changed_digit_changes_the_summary(shipped: Shipped, tmp_path: Path) -> None:
    source = find_materials() / "permeability" / "mxd6_producer_gas_barrier.csv"
    text = source.read_text("utf-8")
    assert "80 %" in text
    edited = tmp_path / "edited.csv"
    edited.write_text(text.replace("80 %", "81 %", 1), "utf-8")
    assert _summary(read_table(edited)) != _summary(read_table(source))


def test_every_file_of_the_folder_is_read(shipped: Shipped) -> None:
    on_disk = {str(p.relative_to(shipped.folder)) for p in shipped.folder.rglob("*.csv")}
    assert on_disk == set(_tables(shipped))


def test_the_shipped_table_has_no_finding() -> None:
    assert [str(f) for f in lint_shipped()] == []


def test_every_permeability_row_is_positive_and_reads_in_its_unit(shipped: Shipped) -> None:
    rows = list(shipped.rows("permeability"))
    assert len(rows) > 300
    for source, row in rows:
        record, wrong = read_row(PermeabilityRecord, row)
        assert record is not None and not wrong, (row.where, wrong)
        assert record.best > 0 or source == "sound_metal", row.where
        assert record.low <= record.best * (1 + 1e-12) and record.best <= record.high * (1 + 1e-12), row.where


def test_every_source_file_says_where_it_comes_from(shipped: Shipped) -> None:
    for tables in shipped.sources.values():
        for key, table in tables.items():
            assert table.fact("source") == key
            assert len(table.fact("citation")) > 40 and table.fact("conversion")
            assert table.fact("transcribed") == "2026-11-25"
            assert shipped.citation(key) != key


def test_every_used_number_carries_a_citation_not_a_key(catalog: Catalog) -> None:
    keys = {row.get("key") for row in catalog.shipped.tables["references"].rows}
    for name in catalog.names():
        for note in catalog.material(name).sources:
            assert note.source and note.source.split(";")[0] not in keys, (name, note)
            assert note.value and note.grade, (name, note)


def test_there_are_enough_materials_and_each_has_all_permeants(catalog: Catalog) -> None:
    assert len(catalog.names()) >= 40
    for name in catalog.names():
        assert catalog.gases(name) == PERMEANTS, name
        material = catalog.material(name)
        assert set(material.gases) == {"O2", "CO2", "N2"} and material.water is not None
        assert material.price is None and material.roles and 0 < material.gauge[0] <= material.gauge[1]


@pytest.mark.parametrize("name", ["HDPE", "PP", "tie PE", "EVOH 32", "PA6", "LDPE", "PET", "aluminium foil"])
def test_names_that_projects_use_are_there(catalog: Catalog, name: str) -> None:
    assert catalog.material(name).name == name


def test_no_alias_means_two_materials(shipped: Shipped) -> None:
    owner: dict[str, str] = {}
    for row in shipped.tables["polymers"].rows:
        for alias in [row.get("name"), *filter(None, row.get("aliases").split("|"))]:
            assert owner.setdefault(alias.casefold(), row.get("name")) == row.get("name"), alias


def test_coated_webs_have_one_gauge_and_it_is_that_of_their_rows(catalog: Catalog) -> None:
    webs = [n for n in catalog.names() if catalog.material(n).family.startswith("coated")]
    assert len(webs) >= 8
    for name in webs:
        low, high = catalog.material(name).gauge
        assert low == high
        for gas in PERMEANTS:
            selection = catalog.selection(name, gas)
            assert selection is not None
            for c in selection.chosen:
                thickness = c.record.thickness
                assert thickness == pytest.approx(low), (name, gas)


def test_a_default_states_the_value_of_the_rows_it_uses(catalog: Catalog) -> None:
    """defaults.csv repeats a number that stands in a source file; the two must not drift apart (2 %)."""
    compared = 0
    for row in catalog.shipped.tables["defaults"].rows:
        stated = evaluated(row).record
        selection = catalog.selection(row.get("material"), row.get("gas"))
        assert selection is not None and selection.default is not None, row.where
        if row.get("use") == EVALUATED:
            continue
        chosen = [c.record for c in selection.chosen if c.record.humidity == stated.humidity]
        assert chosen, row.where
        best = math.prod(c.best for c in chosen) ** (1 / len(chosen))
        if row.get("material") == "PLA":  # its row is at 30 degC and is shifted by its own activation energy
            best = float(catalog.material("PLA").gas_law("O2").at(303.15, 0.0))
        assert stated.best == pytest.approx(best, rel=0.02), row.where
        compared += 1
    assert compared > 35


def test_every_default_lies_in_its_band(catalog: Catalog) -> None:
    compared = 0
    for row in catalog.shipped.tables["defaults"].rows:
        if row.get("material") == "aluminium foil":  # zero, below every measured row
            continue
        band = catalog.band(row.get("material"), row.get("gas"))
        if band is None:  # one source alone has nothing to be compared with
            continue
        compared += 1
        assert band.low <= evaluated(row).record.best * 1.01, row.where
        assert evaluated(row).record.best <= band.high * 1.01, row.where
    assert compared > 30


def test_diffusivity_times_solubility_is_the_remembered_permeability(catalog: Catalog) -> None:
    """P = D S inside the remembered handbook rows (from memory); a misplaced power of ten would show."""
    compared = 0
    for source, row in catalog.shipped.rows("diffusivity"):
        record, wrong = read_row(DiffusivityRecord, row)
        assert record is not None and not wrong
        if source != "from_memory" or record.solubility is None or record.value is None:
            continue
        same = [c for c in catalog.candidates(record.material, record.gas) if c.source == "from_memory"]
        product = record.value.value * record.solubility.value
        assert product == pytest.approx(same[0].record.best, rel=0.03), row.where
        compared += 1
    assert compared == 13


def test_the_dictionary_names_every_column_of_every_table(shipped: Shipped) -> None:
    described: dict[str, set[str]] = {}
    for row in shipped.tables["columns"].rows:
        described.setdefault(row.get("file"), set()).add(row.get("column"))
        assert row.get("description") and row.get("required")
    for name, table in _tables(shipped).items():
        group = name.split("/")[0].removesuffix(".csv")
        assert set(table.columns) <= described[group], name


def test_reading_the_table_is_fast() -> None:
    """Processor time, the least of three: 5 to 20 ms when measured; ten times that for a slow machine."""
    from optimizer.catalog.load import _load

    def once() -> float:
        _load.cache_clear()
        start = time.process_time()
        load_catalog()
        return time.process_time() - start

    assert min(once() for _ in range(3)) < 0.2
