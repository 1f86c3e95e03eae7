"""The axis in space: directions and bends of a line and an arc; GeoJSON held against pyproj and RFC 7946."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from pyproj import Geod

from tbmreview.cli import main
from tbmreview.domain.errors import SiteError
from tbmreview.domain.marks import Mark
from tbmreview.drive.alignment import alignment_of, import_alignment
from tbmreview.drive.marks import draw
from tbmreview.drive.opened import Drive, open_drive
from tests.support.judged import judged_drive

RADIUS_M = 500.0


@pytest.fixture
def drive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Drive:
    return judged_drive(tmp_path, monkeypatch)


def axis(path: Path, swap: bool = False, scale: float = 1.0) -> Path:
    """100 m straight on at azimuth 60, then an arc to the right; 1 % down."""
    rows = ["chainage,east,north,elevation"]
    for s in range(0, 210, 10):
        a = math.radians(60)
        straight, turn = min(s, 100), max(0, s - 100) / RADIUS_M
        east = straight * math.sin(a) + RADIUS_M * (math.cos(a) - math.cos(a + turn))
        north = straight * math.cos(a) + RADIUS_M * (math.sin(a + turn) - math.sin(a))
        places = (6_700_000 + north, 600_000 + east) if swap else (600_000 + scale * east, 6_700_000 + north)
        rows.append(f"{4180 + s},{places[0]:.4f},{places[1]:.4f},{300 - 0.01 * s:.3f}")
    path.write_text("\n".join(rows))
    return path


def test_directions_and_bends(drive: Drive, tmp_path: Path) -> None:
    told = import_alignment(drive.folder, axis(tmp_path / "a.csv"), "EPSG:25832")
    assert "21 points, chainage 4+180.00 to 4+380.00" in told
    line = alignment_of(open_drive(drive.folder))
    assert line is not None
    assert line.azimuth_deg(50.0) == pytest.approx(60.0, abs=1e-3)
    assert line.azimuth_deg(195.0) == pytest.approx(60 + math.degrees(95 / RADIUS_M), abs=1e-3)
    assert line.plunge_deg(50.0) == pytest.approx(math.degrees(math.asin(0.01)), abs=1e-3)
    assert math.isnan(line.azimuth_deg(201.0))
    assert line.bends_m() == pytest.approx([100.0], abs=10.0)


def test_points_that_contradict_their_chainage_are_refused(drive: Drive, tmp_path: Path) -> None:
    with pytest.raises(SiteError, match="by chainage and"):
        import_alignment(drive.folder, axis(tmp_path / "a.csv", scale=1.2), "EPSG:25832")
    for crs in ("EPSG:4326", "EPSG:2263", "nonsense"):  # degrees, feet, none
        with pytest.raises(SiteError, match=crs):
            import_alignment(drive.folder, axis(tmp_path / "b.csv"), crs)
    assert alignment_of(drive) is None


def test_marks_as_geojson(drive: Drive, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """RFC 7946: longitude, latitude on WGS 84, no crs member; lengths held against pyproj's geodesics."""
    folder = str(drive.folder)
    assert main(["alignment", folder, str(axis(tmp_path / "a.csv")), "--crs", "EPSG:25832"]) == 0
    drive = open_drive(drive.folder)
    draw(drive, Mark("fault zone", 95.0, 123.0, note="=1"))
    draw(drive, Mark("change of rock", 20.0, 20.0))
    assert main(["marks", folder, "--out", str(tmp_path / "m.geojson")]) == 0
    told = json.loads((tmp_path / "m.geojson").read_text("utf-8"))
    assert set(told) == {"type", "features"}
    point, line = told["features"]
    assert (point["geometry"]["type"], line["geometry"]["type"]) == ("Point", "LineString")
    assert line["properties"]["note"] == "=1"
    assert line["properties"]["dip_deg"] is None
    places = np.array(line["geometry"]["coordinates"])
    assert places.shape == (5, 2)  # 95, 100, 110, 120, 123
    geod = Geod(ellps="WGS84")
    # UTM shrinks lengths by 0.04 % at most near its central meridian
    assert geod.line_length(*places.T) == pytest.approx(28.0, rel=6e-4)
    east_of, north_of = point["geometry"]["coordinates"]
    assert (round(east_of), round(north_of)) == (11, 60)
    draw(drive, Mark("water", 190.0, 230.0))
    assert main(["marks", folder, "--out", str(tmp_path / "n.geojson")]) == 0
    assert "left out: M3 lies at 190.0 m to 230.0 m" in capsys.readouterr().err
    assert len(json.loads((tmp_path / "n.geojson").read_text("utf-8"))["features"]) == 2
    assert main(["findings", folder, "--out", str(tmp_path / "f.geojson")]) == 0
