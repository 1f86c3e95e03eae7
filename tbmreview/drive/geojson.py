"""Rows with a place on the axis as GeoJSON (RFC 7946): longitude and latitude on WGS 84.

No altitude: RFC 7946 counts it from the ellipsoid, and the elevations of a site are counted from a height datum that
nobody states here, tens of metres from it.
"""

import json
from pathlib import Path
from typing import Any

import numpy as np

from tbmreview.domain.errors import DriveError
from tbmreview.domain.table import Table
from tbmreview.drive.alignment import Alignment, Turned, alignment_of, to_wgs84
from tbmreview.drive.columns_text import BY_NAME, WHOLE
from tbmreview.drive.export import iso_utc, replaced
from tbmreview.drive.opened import Drive
from tbmreview.drive.reading import NO_TIME, Floats

DECIMALS = 7  # of a degree: a centimetre
_PLACE = ("position_from_m", "position_to_m")


def write_geojson(drive: Drive, table: Table, path: Path) -> list[str]:
    """Each row of a table as a line along the axis from its position_from_m to its position_to_m, or as a point
    where these are one; the columns are its properties, missing null, times ISO 8601 in UTC. All or nothing.

    Rows that lie beyond the alignment have no place on the map: they are left out, and what is returned names each in
    a line. DriveError where the drive has no alignment, or it reaches none of the rows.
    """
    alignment = alignment_of(drive)
    if alignment is None:
        raise DriveError(
            f"{drive.folder}: GeoJSON needs the axis in space; give it with: tbmreview alignment DRIVE FILE --crs EPSG:…"
        )
    low, high = alignment.position_m[0], alignment.position_m[-1]
    on_it = (table["position_from_m"] >= low) & (table["position_to_m"] <= high)
    left_out = [_beyond(alignment, table, i) for i in np.flatnonzero(~on_it).tolist()]
    if left_out and not on_it.any():
        raise DriveError(left_out[0])
    turned = to_wgs84(alignment)
    features = [_feature(alignment, turned, table, i) for i in np.flatnonzero(on_it).tolist()]
    told = {"type": "FeatureCollection", "features": features}
    text = json.dumps(told, ensure_ascii=False, allow_nan=False, indent=1) + "\n"
    with replaced(path) as part:
        part.write_text(text, encoding="utf-8")
    return left_out


def _beyond(alignment: Alignment, table: Table, i: int) -> str:
    name = table["id"][i] if "id" in table else f"row {i + 1}"
    low, high = (float(table[n][i]) for n in _PLACE)
    return (
        f"{name} lies at {low:.1f} m to {high:.1f} m of the drive, beyond the alignment, which runs from "
        f"{alignment.position_m[0]:.1f} m to {alignment.position_m[-1]:.1f} m"
    )


def _feature(alignment: Alignment, turned: Turned, table: Table, i: int) -> dict[str, Any]:
    low, high = (float(table[name][i]) for name in _PLACE)
    inner = alignment.position_m[(alignment.position_m > low) & (alignment.position_m < high)]
    places = np.unique(np.array([low, *inner, high]))
    points = _points(*turned(*alignment.at(places)))
    line = len(points) > 1
    geometry = {"type": "LineString" if line else "Point", "coordinates": points if line else points[0]}
    return {"type": "Feature", "geometry": geometry, "properties": {n: _plain(n, table[n][i]) for n in table}}


def _points(lon: Floats, lat: Floats) -> list[list[float]]:
    return [[round(x, DECIMALS), round(y, DECIMALS)] for x, y in zip(lon.tolist(), lat.tolist(), strict=True)]


def _plain(name: str, value: Any) -> Any:
    if isinstance(value, str):
        return value or None
    if name.endswith("_utc"):
        return iso_utc(int(value)) if value != NO_TIME else None
    number = float(value)
    if np.isnan(number):
        return None
    whole = name in BY_NAME and BY_NAME[name].kind == WHOLE
    return int(number) if whole else number
