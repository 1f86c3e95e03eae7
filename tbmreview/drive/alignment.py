"""The axis in space: points of chainage, east, north, elevation and their coordinate reference system."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tbmreview.domain.errors import SiteError
from tbmreview.domain.site import ALIGNMENT
from tbmreview.domain.station import Axis, format_chainage
from tbmreview.domain.table import Table
from tbmreview.drive.delays import Stated
from tbmreview.drive.reading import Floats
from tbmreview.drive.site_tables import keep_table
from tbmreview.drive.stored import StoredDrive
from tbmreview.ingest.site_table import read_alignment

OFF_SCALE = (
    0.01  # of the length between two points by chainage: a projection stretches by less than a permille
)
CURVED_PER_M = 1 / 5000  # change of direction a metre from which the axis counts as curved
WGS84 = "EPSG:4326"  # of GeoJSON (RFC 7946, section 4)
Turned = Callable[[Floats, Floats], tuple[Floats, Floats]]


@dataclass(frozen=True, slots=True)
class Alignment:
    """Points along the drive, two or more, rising along position: (n,) each, in m; elevation NaN where not known."""

    position_m: Floats
    east_m: Floats
    north_m: Floats
    elevation_m: Floats
    crs: str

    def at(self, position_m: Floats) -> tuple[Floats, Floats]:
        """(east, north) of positions, (k,) each; NaN beyond the alignment's ends."""
        east, north = (
            np.interp(position_m, self.position_m, values, left=np.nan, right=np.nan)
            for values in (self.east_m, self.north_m)
        )
        return east, north

    def azimuth_deg(self, position_m: float) -> float:
        """Direction of driving at a position, degrees from north, clockwise; NaN beyond the ends."""
        if not self.position_m[0] <= position_m <= self.position_m[-1]:
            return math.nan
        last = len(self.position_m) - 2
        i = min(int(np.searchsorted(self.position_m, position_m, side="right")) - 1, last)
        return float(self._azimuths()[i] % 360)

    def plunge_deg(self, position_m: float) -> float:
        """Its dip below the horizontal there, positive downwards; 0 where elevations are not known."""
        if not self.position_m[0] <= position_m <= self.position_m[-1]:
            return math.nan
        i = min(int(np.searchsorted(self.position_m, position_m, side="right")) - 1, len(self.position_m) - 2)
        down = self.elevation_m[i] - self.elevation_m[i + 1]
        flat = math.hypot(self.east_m[i + 1] - self.east_m[i], self.north_m[i + 1] - self.north_m[i])
        return math.degrees(math.atan2(down, flat)) if down == down else 0.0

    def bends_m(self) -> Floats:
        """Positions at which the axis begins or ends to curve by CURVED_PER_M or more, (k,)."""
        if len(self.position_m) < 3:
            return np.empty(0)
        turn = np.radians(np.diff(self._azimuths()))
        length = (self.position_m[2:] - self.position_m[:-2]) / 2
        curved = np.abs(turn) / length >= CURVED_PER_M
        return np.asarray(self.position_m[1:-1][np.flatnonzero(np.diff(curved)) + 1])

    def _azimuths(self) -> Floats:
        """Of each piece between two points, degrees, without jumps of a full turn, (n - 1,)."""
        radians = np.arctan2(np.diff(self.east_m), np.diff(self.north_m))
        return np.asarray(np.degrees(np.unwrap(radians)))


def import_alignment(folder: Path | str, file: Path | str, crs: str) -> str:
    """Take points of the axis into a drive, in the place of those before; says in lines what was done.

    crs: of east and north, EPSG:25832 say. SiteError if it is none in metres, or the points contradict their
    chainage by more than OFF_SCALE.
    """
    file, drive = Path(file), StoredDrive(Path(folder))
    _projected(crs)
    table = read_alignment(file, crs)
    points = _laid(drive.axis, table, str(file))
    ends = [format_chainage(float(table["chainage_m"][i])) for i in (0, -1)]
    told = f"{len(points.position_m)} points, chainage {ends[0]} to {ends[1]}, {crs}"
    return keep_table(drive, ALIGNMENT, (ALIGNMENT, file), table, told)


def alignment_of(drive: Stated) -> Alignment | None:
    """The drive's alignment; None where none was stated."""
    table = drive.site_table(ALIGNMENT)
    return _laid(drive.axis, table, "the alignment") if len(table) else None


def _laid(axis: Axis, table: Table, source: str) -> Alignment:
    position = np.asarray(axis.position_m(table["chainage_m"]))
    order = np.argsort(position, kind="stable")
    rows = table.rows(order)
    position = position[order]
    if len(position) < 2:
        raise SiteError(f"{source}: an alignment needs two points or more")
    apart = np.diff(position)
    flat = np.hypot(np.diff(rows["east_m"]), np.diff(rows["north_m"]))
    length = np.hypot(flat, np.nan_to_num(np.diff(rows["elevation_m"])))
    wrong = np.flatnonzero((apart <= 0) | (np.abs(length - apart) > OFF_SCALE * apart + 0.01))
    if len(wrong):
        i = int(wrong[0])
        ends = [format_chainage(float(rows["chainage_m"][j])) for j in (i, i + 1)]
        raise SiteError(
            f"{source}: {ends[0]} and {ends[1]} lie {apart[i]:.2f} m apart by chainage and {length[i]:.2f} m by their "
            "coordinates; expected the same within 1 %. Are east and north exchanged, or a chainage equation missing?"
        )
    return Alignment(position, rows["east_m"], rows["north_m"], rows["elevation_m"], str(rows["crs"][0]))


def _projected(crs: str) -> Any:
    """The reference system; SiteError if it is not known or not one of east and north in metres."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        known = CRS.from_user_input(crs)
    except CRSError as error:
        raise SiteError(
            f"the coordinate reference system '{crs}' is not known; expected one such as EPSG:25832"
        ) from error
    units = {axis.unit_name for axis in known.axis_info[:2]}
    if not known.is_projected or units != {"metre"}:
        raise SiteError(
            f"'{crs}' ({known.name}) has no east and north in metres; expected a projected system such as EPSG:25832"
        )
    return known


def to_wgs84(alignment: Alignment) -> Turned:
    """What turns east and north [m], (n,) each, into longitude and latitude in degrees on WGS 84."""
    from pyproj import Transformer

    turn = Transformer.from_crs(_projected(alignment.crs), WGS84, always_xy=True)

    def turned(east_m: Floats, north_m: Floats) -> tuple[Floats, Floats]:
        lon, lat = turn.transform(east_m, north_m)
        return np.asarray(lon, np.float64), np.asarray(lat, np.float64)

    return turned
