"""Tables of disc changes, backfill and water (invented) in the dialects that sites write."""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest

from tbmreview.domain.errors import SiteError
from tbmreview.domain.setup import DriveFacts
from tbmreview.ingest.site_table import read_backfill, read_disc_changes, read_water

FACTS = DriveFacts("invented", "Europe/Oslo", 4180.0, "increasing", 1.5, 11.0)
NOON = round(dt.datetime(2030, 5, 2, 10, 0, tzinfo=dt.UTC).timestamp() * 1e6)  # 12:00 in Oslo
DISCS = 8


def written(folder: Path, content: str) -> Path:
    path = folder / "table.csv"
    path.write_text(content, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    "content",
    [
        "Time,Disc,Reason,Wear [mm],Note\n2030-05-02 12:00,3,worn,15.5,\n2030-05-02 12:00,8,,,\n",
        "Datum;Uhrzeit;Meißel Nr.;Grund;Verschleiß [cm]\n02.05.2030;12:00;3;worn;1,55\n02.05.2030;12:00;8;;\n",
        "Time (UTC)\tCutter no\tcause\twear_mm\n2030-05-02 10:00\t3\tworn\t15.5\n2030-05-02 10:00\t8\t\t\n",
    ],
    ids=["english", "german", "utc"],
)
def test_disc_changes(content: str, tmp_path: Path) -> None:
    table = read_disc_changes(written(tmp_path, content), FACTS, DISCS)
    assert table["time_us"].tolist() == [NOON, NOON]
    assert table["disc"].tolist() == [3, 8]
    assert table["reason"].tolist() == ["worn", ""]
    np.testing.assert_allclose(table["wear_mm"], [15.5, np.nan])


def test_a_row_may_name_several_discs(tmp_path: Path) -> None:
    rows = "".join(f"2030-05-02 12:00;{named}\n" for named in ("all", "1-3", "2, 7", "4 - 5"))
    table = read_disc_changes(written(tmp_path, "Time;Disc\n" + rows), FACTS, DISCS)
    assert table["disc"].tolist() == [*range(1, 9), 1, 2, 3, 2, 7, 4, 5]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("2030-05-02 12:00;9;1", "row 2: there is no disc '9'; expected positions from 1 to 8"),
        ("2030-05-02 12:00;0;1", "there is no disc '0'"),
        ("2030-05-02 12:00;gauge;1", "there is no disc 'gauge'"),
        ("2030-05-02 12:00;;1", "there is no disc ''"),
        ("soon;3;1", "the time 'soon' is no date with time"),
        ("2030-05-02 12:00;3;thin", "the wear 'thin' is no number of 0 or more"),
        ("2030-05-02 12:00;3;-1", "the wear '-1' is no number of 0 or more"),
    ],
)
def test_a_wrong_change_is_named(row: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(SiteError, match=said):
        read_disc_changes(written(tmp_path, f"Time;Disc;Wear [mm]\n{row}\n"), FACTS, DISCS)


def test_a_unit_is_asked_for(tmp_path: Path) -> None:
    with pytest.raises(SiteError, match=r"the wear has no unit; .* wear \[mm\]"):
        read_disc_changes(written(tmp_path, "Time,Disc,Wear\n2030-05-02 12:00,3,15\n"), FACTS, DISCS)
    with pytest.raises(SiteError, match=r"the mortar has no unit; .* mortar \[m3\]"):
        read_backfill(written(tmp_path, "Ring,Mortar\n12,3.5\n"))


def test_backfill(tmp_path: Path) -> None:
    table = read_backfill(
        written(tmp_path, "Ring;Mörtel [l];Perlkies [m³];Bemerkung\n12;900;4,5;\n13;;;fehlt\n")
    )
    assert table["ring"].tolist() == [12, 13]
    np.testing.assert_allclose(table["mortar_m3"], [0.9, np.nan])
    np.testing.assert_allclose(table["gravel_m3"], [4.5, np.nan])
    assert table["note"].tolist() == ["", "fehlt"]
    with pytest.raises(SiteError, match="row 2: the ring 'K' is no number of a ring"):
        read_backfill(written(tmp_path, "Ring,Mortar [m3]\nK,3.5\n"))


def test_water(tmp_path: Path) -> None:
    table = read_water(
        written(tmp_path, "From,To,Inflow [l/s],Note\n4+180,4+200.5,0.5,joint\n4+200.5,4+230,0,\n")
    )
    np.testing.assert_allclose(table["chainage_from_m"], [4180, 4200.5])
    np.testing.assert_allclose(table["chainage_to_m"], [4200.5, 4230])
    np.testing.assert_allclose(table["inflow_l_min"], [30, 0])
    with pytest.raises(SiteError, match="the stretch has no length"):
        read_water(written(tmp_path, "From,To,Inflow [l/s]\n4+180,4+180,1\n"))
    with pytest.raises(SiteError, match="the inflow is missing; write 0 where it was dry"):
        read_water(written(tmp_path, "From,To,Inflow [l/s]\n4+180,4+190,\n"))
