"""Tables of readings a person names, good and bad."""

from pathlib import Path

import pytest

from handsfree.core.conditions import Conditions
from handsfree.core.cure import SurfaceReading
from handsfree.core.errors import NotAllowed
from handsfree.shell.readings import load_conditions, load_surface_history


def test_file_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "history.csv"
    path.write_bytes(b"\xff\xfe\x00")
    for name in (str(path), str(tmp_path), str(tmp_path / "nowhere.csv"), ""):
        with pytest.raises(NotAllowed):
            load_surface_history(name)
    path.write_bytes(b"#" * 4_000_001)
    with pytest.raises(NotAllowed):
        load_surface_history(str(path))


def test_tables_are_read_by_their_header(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    path.write_text(
        "surface_c, hours,note,air_c,rh_percent\n15.5,0,start,18,60\n\n14,2.5,later,17,65\n",
        encoding="utf-8",
    )
    assert load_surface_history(str(path)) == (
        SurfaceReading(0.0, 15.5),
        SurfaceReading(2.5, 14.0),
    )
    assert load_conditions(str(path))[1] == Conditions(2.5, 17.0, 65.0, 14.0)


@pytest.mark.parametrize(
    ("text", "field"),
    [
        pytest.param("", "history, line 1,", id="empty"),
        pytest.param("hours,air_c\n0,20\n", "history, line 1,", id="column"),
        pytest.param("hours,surface_c\n", "history, line 2,", id="no-rows"),
        pytest.param("hours,surface_c\n0,20\n1\n", "history, line 3,", id="short-row"),
        pytest.param("hours,surface_c\n0,warm\n", "history, line 2,", id="word"),
        pytest.param("hours,surface_c\n0,nan\n", "history, line 2,", id="nan"),
        pytest.param("hours,surface_c\n0,2_0\n", "history, line 2,", id="underscore"),
    ],
)
def test_bad_table_is_refused_by_line(tmp_path: Path, text: str, field: str) -> None:
    path = tmp_path / "history.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(NotAllowed) as refusal:
        load_surface_history(str(path))
    assert refusal.value.field == field
