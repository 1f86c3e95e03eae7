"""Tables of stations, chainage equations and delays (invented) in the dialects that sites write."""

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
import xlsxwriter

from tbmreview.domain.errors import SiteError
from tbmreview.domain.setup import DriveFacts
from tbmreview.ingest.site_table import read_delays, read_equations, read_stations

ZONE = ZoneInfo("Europe/Oslo")
FACTS = DriveFacts("invented", "Europe/Oslo", 4180.0, "increasing", 1.5, 11.0, guidance_offset_m=9.0)
FIRST = dt.datetime(2030, 5, 2, 12, 30, tzinfo=dt.UTC)  # 14:30 in Oslo
SECOND = dt.datetime(2030, 5, 3, 4, 0, tzinfo=dt.UTC)
SPAN = tuple(
    round(t.timestamp() * 1e6) for t in (FIRST - dt.timedelta(days=5), SECOND + dt.timedelta(days=5))
)


def us(*times: dt.datetime) -> list[int]:
    return [round(t.timestamp() * 1e6) for t in times]


STATIONS = {
    "iso local": "Time,Chainage [m]\n2030-05-02 14:30,4230.55\n2030-05-03 06:00,4260.1\n",
    "utc by header": "Time (UTC);Chainage\n2030-05-02 12:30;4+230.55\n2030-05-03 04:00;4+260.10\n",
    "offset by value": "time,chainage\n2030-05-02T14:30+02:00,4230.55\n2030-05-03T04:00Z,4260.1\n",
    "german": "Datum;Uhrzeit;Station [m]\n02.05.2030;14:30;4230,55\n03.05.2030;06:00;4260,10\n",
    "kilometres": "Date,Time,Chainage [km]\n2030-05-02,14:30,4.23055\n2030-05-03,06:00,4.2601\n",
    "order by the logs": "Date\tTime\tStation\n02/05/2030\t2:30 PM\t4230.55\n03/05/2030\t6:00 AM\t4260.1\n",
    "title above": "Survey of week 18\n\nSurveyed;Face chainage\n2030-05-02 14:30;4230.55\n2030-05-03 06:00;4260.1\n",
    "chinese": "测量时间,掌子面里程\n2030-05-02 14:30,DK4+230.55\n2030-05-03 06:00,DK4+260.1\n",
}


@pytest.mark.parametrize("name", list(STATIONS))
def test_stations(name: str, tmp_path: Path) -> None:
    path = tmp_path / "survey.csv"
    path.write_text(STATIONS[name], encoding="utf-8")
    table = read_stations(path, FACTS, SPAN)
    assert table["time_us"].tolist() == us(FIRST, SECOND)
    np.testing.assert_allclose(table["chainage_m"], [4230.55, 4260.1])
    assert table["offset_m"].tolist() == [0.0, 0.0]
    assert np.isnan(table["sd_m"]).all()


def test_a_workbook_with_offset_point_and_spread(tmp_path: Path) -> None:
    path = tmp_path / "survey.xlsx"
    with xlsxwriter.Workbook(str(path)) as book:
        sheet = book.add_worksheet()
        stamp = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
        sheet.write_row(2, 1, ["Date and time", "Chainage", "Point", "Offset behind face", "sd [mm]", "Note"])
        rows = [(dt.datetime(2030, 5, 2, 14, 30), "P12", 8.5), (dt.datetime(2030, 5, 3), "target", "")]
        for i, (time, point, offset) in enumerate(rows, start=3):
            sheet.write_datetime(i, 1, time, stamp)
            sheet.write_row(i, 2, [4230.55, point, offset, 12, "wet"])
    table = read_stations(path, FACTS)
    assert table["time_us"].tolist() == us(
        FIRST, dt.datetime(2030, 5, 2, 22, tzinfo=dt.UTC)
    )  # midnight in Oslo
    assert table["offset_m"].tolist() == [8.5, 9.0]
    np.testing.assert_allclose(table["sd_m"], 0.012)
    assert table["note"].tolist() == ["P12; wet", "target; wet"]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("a,b\n1,2\n", "no table of surveyed stations.*expected columns"),
        ("Time,Chainage\n", "header but no rows"),
        ("Time,Chainage\n2030-05-02 14:30,x\n", "row 2: the chainage 'x' is no number"),
        ("Time,Chainage\n\nsoon,4230\n", "row 3: the time 'soon' is no date with time"),
        ("Date,Chainage\n2030-05-02,4230\n", "row 2: '2030-05-02' says no time of day"),
        ("Time,Chainage,sd\n2030-05-02 14:30,4230,12\n", "row 2: the standard deviation has no unit"),
        ("Time,Chainage,Point\n2030-05-02 14:30,4230,P12\n", "row 2: how far the point 'P12' lies behind"),
        ("Time,Chainage,Offset\n2030-05-02 14:30,4230,-3\n", "row 2: the offset '-3' is none"),
        ("Time,Chainage\n02/03/2030 14:30,4230\n", "day first or month first"),
        ("Time,Chainage\n2030-10-27 02:30,4230\n", "row 2: 2030-10-27 02:30 comes twice in Europe/Oslo"),
        ("Time,Chainage\n2030-03-31 02:30,4230\n", "row 2: 2030-03-31 02:30 does not exist"),
    ],
)
def test_what_cannot_be_used_names_row_and_what_was_expected(content: str, said: str, tmp_path: Path) -> None:
    path = tmp_path / "survey.csv"
    path.write_text(content)
    with pytest.raises(SiteError, match=said) as error:
        read_stations(path, FACTS)
    assert str(path) in str(error.value)


def test_equations(tmp_path: Path) -> None:
    path = tmp_path / "equations.csv"
    path.write_text("In force from;Back;Ahead;Note\n2030-05-02;5+120.00;5+100.00;new alignment\n")
    table = read_equations(path, ZONE)
    assert table["time_us"].tolist() == us(dt.datetime(2030, 5, 1, 22, tzinfo=dt.UTC))
    assert (table["back_m"][0], table["ahead_m"][0]) == (5120.0, 5100.0)


DELAYS = {
    "stamps": "start,end,code,note\n2030-05-02 14:30,2030-05-03 06:00,D3,discs\n",
    "one date": "Date;From;To;Code;Remarks\n02.05.2030;14:30;06:00;D3;discs\n",
    "own dates": "Start date,Start time,End date,End time,Cause,Comment\n"
    "2030-05-02,14:30,2030-05-03,06:00,D3,discs\n",
    "duration": "Start (UTC),Duration [min],Code,Note\n2030-05-02 12:30,930,D3,discs\n",
    "hours and minutes": "Start,Duration,Code,Note\n2030-05-02 14:30,15:30,D3,discs\n",
}


@pytest.mark.parametrize("name", list(DELAYS))
def test_delays(name: str, tmp_path: Path) -> None:
    path = tmp_path / "delays.csv"
    path.write_text(DELAYS[name])
    table = read_delays(path, ZONE)
    assert [table["start_us"][0], table["end_us"][0]] == us(FIRST, SECOND)
    assert (table["code"].tolist(), table["note"].tolist()) == (["D3"], ["discs"])


def test_a_delay_past_midnight_of_the_changed_clock_ends_on_the_next_day_by_the_clock(tmp_path: Path) -> None:
    path = tmp_path / "delays.csv"
    path.write_text("Date,From,To,Code\n2030-10-26,22:00,05:00,D3\n")
    table = read_delays(path, ZONE)
    assert table["end_us"][0] - table["start_us"][0] == 8 * 3_600_000_000  # the night has an hour more


def test_a_delay_that_ends_before_it_begins_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "delays.csv"
    path.write_text("start,end,code\n2030-05-02 14:30,2030-05-02 14:00,D3\n")
    with pytest.raises(SiteError, match="row 2: the delay ends before it begins"):
        read_delays(path, ZONE)
