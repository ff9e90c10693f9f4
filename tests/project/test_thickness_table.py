"""Tables of local thickness: what is read, and what each mistake says, with file, line and column."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from optimizer.errors import InputError
from optimizer.project.thickness_table import read_thickness

HEIGHTS = "height mm,thickness um\n0,600\n20,350\n120,300\n"
ANGLES = "height mm,angle deg,thickness um\n0,0,600\n0,90,500\n20,0,350\n20,90,300\n"
POINTS = "x mm,y mm,z mm,thickness mm\n0,0,0,0.6\n1,0,0,0.5\n0,1,0,0.4\n0,0,1,0.3\n"


def write(folder: Path, text: str | bytes, name: str = "local.csv") -> Path:
    path = folder / name
    path.write_bytes(text.encode("utf-8") if isinstance(text, str) else text)
    return path


def said(folder: Path, text: str | bytes, name: str = "local.csv") -> list[str]:
    with pytest.raises(InputError) as caught:
        read_thickness(write(folder, text, name))
    return [str(p).replace(f"{folder}/", "") for p in caught.value.problems]


def test_a_table_of_heights_is_read_in_metres(tmp_path: Path) -> None:
    table = read_thickness(write(tmp_path, HEIGHTS))
    assert (table.name, table.columns, table.ignored) == ("local.csv", ("height",), ())
    assert table.places.tolist() == [pytest.approx([x]) for x in (0.0, 0.02, 0.12)]
    assert table.thickness.tolist() == pytest.approx([600e-6, 350e-6, 300e-6])


def test_a_table_of_heights_and_angles_is_read_in_metres_and_radians(tmp_path: Path) -> None:
    table = read_thickness(write(tmp_path, ANGLES))
    assert table.columns == ("height", "angle") and table.places.shape == (4, 2)
    assert table.places[:, 1].tolist() == pytest.approx([0.0, math.pi / 2, 0.0, math.pi / 2])
    radians = ANGLES.replace("angle deg", "angle rad").replace(",90,", ",1.5,")
    assert read_thickness(write(tmp_path, radians)).places[1, 1] == pytest.approx(1.5)


def test_a_table_of_points_is_read_in_metres(tmp_path: Path) -> None:
    table = read_thickness(write(tmp_path, POINTS))
    assert table.columns == ("x", "y", "z") and table.places.shape == (4, 3)
    assert table.places[3].tolist() == pytest.approx([0, 0, 1e-3])
    assert table.thickness[3] == pytest.approx(0.3e-3)


def test_each_column_has_the_unit_of_its_own_heading(tmp_path: Path) -> None:
    # 1 in = 25.4 mm, 1 mil = 25.4 um (international inch, exact by definition)
    table = read_thickness(write(tmp_path, "height in,thickness mil\n0,10\n1,20\n"))
    assert table.places[1, 0] == pytest.approx(25.4e-3) and table.thickness[1] == pytest.approx(508e-6)


@pytest.mark.parametrize(
    "heading",
    [
        "height mm,thickness um",
        "Height (mm),Thickness (um)",
        "HEIGHT [mm],wall thickness [um]",
        "height_mm,thickness_um",
        "height/mm,wall thickness/um",
        "\ufeffheight mm,thickness um",
        '"height mm","thickness um"',
        " height  mm , thickness um ",
        "# a section cut along the axis\nheight mm,thickness um",
    ],
)
def test_headings_may_be_written_in_the_ways_that_are_usual(tmp_path: Path, heading: str) -> None:
    table = read_thickness(write(tmp_path, HEIGHTS.replace("height mm,thickness um", heading)))
    assert table.thickness.tolist() == pytest.approx([600e-6, 350e-6, 300e-6])


@pytest.mark.parametrize(
    "text",
    [
        HEIGHTS.replace(",", ";"),
        HEIGHTS.replace(",", "\t"),
        HEIGHTS.replace("\n", "\r\n"),
        HEIGHTS.replace("20,350", '"20","350"'),
        HEIGHTS.replace("20,350", "\n# checked twice\n20,350\n\n,,"),
        "thickness um,height mm\n600,0\n350,20\n300,120",
    ],
)
def test_separators_quotes_blank_lines_and_order_of_columns_are_free(tmp_path: Path, text: str) -> None:
    table = read_thickness(write(tmp_path, text))
    assert table.places[:, 0].tolist() == pytest.approx([0, 20e-3, 120e-3])
    assert table.thickness.tolist() == pytest.approx([600e-6, 350e-6, 300e-6])


def test_columns_of_other_names_are_left_out_and_told(tmp_path: Path) -> None:
    text = "no,height mm,thickness um,note\n1,0,600,base\n2,20,350,\n"
    table = read_thickness(write(tmp_path, text))
    assert table.ignored == ("no", "note") and table.thickness.tolist() == pytest.approx([600e-6, 350e-6])


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", "local.csv: the file is empty (the first line names the columns)"),
        ("height mm,thickness um\n", "local.csv:1: has no rows below its headings"),
        (
            HEIGHTS.replace("thickness um", "thickness"),
            "local.csv:1:11: thickness: has no unit (call it 'thickness um')",
        ),
        (
            HEIGHTS.replace("thickness um", "thickness kg"),
            "local.csv:1:11: thickness kg: 'kg' is no unit of a length (call it 'thickness um')",
        ),
        (
            ANGLES.replace("deg", "mm"),
            "local.csv:1:11: angle mm: 'mm' is no unit of an angle (call it 'angle deg')",
        ),
        (
            HEIGHTS.replace("thickness um", "thicknes um"),
            "local.csv:1:1: has no column of thickness (did you mean 'thicknes um'?)",
        ),
        (
            ANGLES.replace("height mm,", "no,"),
            "local.csv:1:1: has no column of height (call it 'height mm')",
        ),
        (POINTS.replace("z mm", "w mm"), "local.csv:1:1: has no column of z (call it 'z mm')"),
        (
            HEIGHTS.replace("height mm", "place"),
            "local.csv:1:1: has no column that says where a thickness was measured (one of 'height mm', "
            "'height mm, angle deg', or 'x mm, y mm, z mm', and then 'thickness um')",
        ),
        (
            "height mm,height cm,thickness um\n0,0,600\n20,2,350\n",
            "local.csv:1:11: height cm: has two columns of height, 'height mm' and 'height cm' "
            "(keep one of them)",
        ),
        (
            "height mm,height mm,thickness um\n0,0,600\n20,2,350\n",
            "local.csv:1:11: height mm: has two columns of height, 'height mm' and 'height mm' "
            "(keep one of them)",
        ),
        (
            "height mm,x mm,thickness um\n0,0,600\n20,2,350\n",
            "local.csv:1:11: x mm: has both 'height mm' and 'x mm' "
            "(a place is a height, a height and an angle, or x, y and z)",
        ),
        (
            HEIGHTS.replace("350", "35O"),
            "local.csv:3:4: thickness um: '35O' is not a number",
        ),
        (
            HEIGHTS.replace("20,350", "20,"),
            "local.csv:3:4: thickness um: there is no value ('') (fill the gap, or take the row out)",
        ),
        (
            HEIGHTS.replace("20,350", "20"),
            "local.csv:3:1: 1 cell for 2 columns (one ',' between cells, and a decimal point: 12.5)",
        ),
        (
            HEIGHTS.replace("350", "NaN"),
            "local.csv:3:4: thickness um: there is no value ('NaN') (fill the gap, or take the row out)",
        ),
        (HEIGHTS.replace("350", "inf"), "local.csv:3:4: thickness um: 'inf' is not a number"),
        (HEIGHTS.replace("350", "3_50"), "local.csv:3:4: thickness um: '3_50' is not a number"),
        (
            HEIGHTS.replace(",", ";").replace("350", "350,5"),
            "local.csv:3:4: thickness um: '350,5' has a decimal comma (use a decimal point, such as 12.5)",
        ),
        (
            HEIGHTS.replace("350", "350,5"),
            "local.csv:3:1: 3 cells for 2 columns (one ',' between cells, and a decimal point: 12.5)",
        ),
        (HEIGHTS.replace("350", "0"), "local.csv:3:4: thickness um: '0' is out of range (more than 0)"),
        (HEIGHTS.replace("350", "-5"), "local.csv:3:4: thickness um: '-5' is out of range (more than 0)"),
        (
            HEIGHTS.replace("20,350", "-2,350"),
            "local.csv:3:1: height mm: '-2' is out of range (at least 0: from the lowest point of the part)",
        ),
        (
            HEIGHTS.replace("120,300", "20.0,300"),
            "local.csv:4:1: height mm: height 20.0 stands twice, first on line 3 "
            "(keep one row for each place)",
        ),
        (
            ANGLES.replace("20,90", "20,360"),
            "local.csv:5:1: height mm: height 20, angle 360 stands twice, first on line 4 "
            "(keep one row for each place)",
        ),
        (
            ANGLES.replace("deg", "rad"),
            "local.csv:3:3: angle rad: '90' rad is more than two turns; 1 more row likewise "
            "(is it in degrees? then 'angle deg')",
        ),
        (
            "height mm,thickness um\n0,600\n",
            "local.csv:2:1: has 1 row, and needs at least 2 (for one thickness write 'thickness: 480 um')",
        ),
        (
            POINTS.replace("0,1,0,0.4\n0,0,1,0.3\n", ""),
            "local.csv:2:1: has 2 rows, and needs at least 3 (for one thickness write 'thickness: 480 um')",
        ),
        (
            b"height mm,thickness \xb5m\n0,600\n",
            "local.csv: the file is not UTF-8 text (save it as 'CSV UTF-8')",
        ),
    ],
)
def test_a_mistake_is_told_with_its_place(tmp_path: Path, text: str | bytes, expected: str) -> None:
    assert said(tmp_path, text) == [expected]


def test_all_mistakes_of_a_table_come_at_once_and_like_ones_together(tmp_path: Path) -> None:
    rows = "0,600\n20,x\n40,y\n60,z\n-1,400\n80,0\n60,5\n"
    assert said(tmp_path, "height mm,thickness um\n" + rows) == [
        "local.csv:3:4: thickness um: 'x' is not a number; 2 more rows likewise",
        "local.csv:6:1: height mm: '-1' is out of range (at least 0: from the lowest point of the part)",
        "local.csv:7:4: thickness um: '0' is out of range (more than 0)",
        "local.csv:8:1: height mm: height 60 stands twice, first on line 5 (keep one row for each place)",
    ]
    assert len(said(tmp_path, "height,thickness\n0,600\n")) == 2


def test_a_workbook_says_what_to_save_instead(tmp_path: Path) -> None:
    assert said(tmp_path, b"PK\x03\x04", "local.xlsx") == [
        "local.xlsx: is a workbook (save the sheet as 'CSV UTF-8')"
    ]


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    text=st.sampled_from([HEIGHTS, ANGLES, POINTS]),
    at=st.integers(0, 60),
    cut=st.integers(0, 3),
    put=st.one_of(st.text(max_size=3), st.sampled_from([",", ";", '"', "\n", "-", "e", "#", "\0", "1e400"])),
)
def test_a_damaged_table_reads_or_says_what_is_wrong(
    tmp_path: Path, text: str, at: int, cut: int, put: str
) -> None:
    path = write(tmp_path, (text[:at] + put + text[at + cut :]).encode("utf-8", "replace"))
    try:
        table = read_thickness(path)
    except InputError as error:
        assert all(p.file == str(path) and p.message for p in error.problems)
    else:
        assert (table.thickness > 0).all() and table.places.shape == (
            len(table.thickness),
            len(table.columns),
        )
