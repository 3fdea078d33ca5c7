"""A key that stands twice in a file: both rows are refused by name, even where one is refused anyhow."""

from __future__ import annotations

from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from weather.importing.repeated import also, cells, refuse_repeated
from weather.importing.rows import Column, Table, number, read_csv, read_records, text

COLUMNS = (Column("name", text(9), required=True), Column("size", number(0, 9), required=True))


def held(table: Table) -> Table:
    refuse_repeated(table, key=cells("name"), column="name", once="each name once")
    return table


def test_both_rows_are_named_and_none_is_taken(tmp_path: Path) -> None:
    path = tmp_path / "rows.csv"
    path.write_text("name,size\na,1\nb,2\na,3\n")

    table = held(read_csv(path, COLUMNS))

    assert [row.values["name"] for row in table.rows] == ["b"]
    assert [str(one) for one in table.problems] == [
        "rows.csv: row 2, column name: 'a': expected each name once (also row 4)",
        "rows.csv: row 4, column name: 'a': expected each name once (also row 2)",
    ]


def test_a_row_with_a_bad_cell_holds_its_name_too(tmp_path: Path) -> None:
    path = tmp_path / "rows.csv"
    path.write_text("name,size\na,many\na,3\n,5\n")

    table = held(read_csv(path, COLUMNS))

    assert table.rows == []
    assert [(one.row, one.column) for one in table.problems] == [
        (2, "size"), (4, "name"), (3, "name"), (2, "name"),
    ]  # fmt: skip


def test_many_rows_are_told_short() -> None:
    assert also([2, 3], 2) == "also row 3"
    assert also(list(range(2, 12)), 2) == "also rows 3, 4, 5, 6, 7 and 4 more"
    assert also([5, 5], 5) == "also row 5"  # rows of two layers


@given(st.lists(st.tuples(st.sampled_from("abc"), st.sampled_from(["1", "x"])), max_size=8))
def test_no_name_that_stands_twice_is_ever_taken(records: list[tuple[str, str]]) -> None:
    table = read_records(Table("t"), ("name", "size"), enumerate(records, start=2), COLUMNS)
    names = [name for name, _ in records]

    held(table)

    taken = [row.values["name"] for row in table.rows]
    assert taken == [name for name, size in records if size == "1" and names.count(name) == 1]
    assert {
        row for row, (name, _) in enumerate(records, start=2) if names.count(name) > 1
    } <= table.bad_rows()
