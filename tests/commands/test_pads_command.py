"""Pads from a log's columns through the import to the command."""

import csv
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tbmreview.cli import main
from tbmreview.drive.add import add
from tbmreview.drive.pads import GROUPINGS
from tbmreview.drive.start import start
from tests.support.sketch import Sketch
from tests.support.small_drive import SETUP

HEADINGS = {
    "main_thrust_kN": "Main thrust [kN]", "aux_thrust_kN": "Aux. thrust [kN]", "torque_kNm": "Torque [kNm]",
    "head_speed_rpm": "Head speed [rpm]", "advance_speed_mm_min": "Advance speed [mm/min]",
    "gripper_pressure_bar": "Gripper pressure [bar]", "main_stroke_mm": "Main stroke [mm]",
    "aux_stroke_mm": "Aux. stroke [mm]", "chainage_m": "Chainage [m]",
}  # fmt: skip
SHARES = (0.2, 0.4, 0.2, 0.2)


def written_log(path: Path, heading: str) -> Path:
    """A stroke on grippers, a regrip with a ring, then boring into the ring; pads that share the auxiliary thrust."""
    sketch = Sketch().turn(60).approach(50).bore(1300).regrip(1300).build_ring(1300).turn(60)
    samples = sketch.bore_on_ring(1000).add(300).samples()
    begin = datetime(2031, 3, 2, 5, tzinfo=UTC)
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["Time UTC", *HEADINGS.values(), *(heading.format(n) for n in (1, 2, 3, 4))])
        for k in range(len(samples)):
            pads = [f"{share * samples.values['aux_thrust_kN'][k]:.1f}" for share in SHARES]
            told = [f"{samples.values[name][k]:.3f}" for name in HEADINGS]
            writer.writerow([f"{begin + timedelta(seconds=k):%Y-%m-%dT%H:%M:%SZ}", *told, *pads])
    return path


@pytest.mark.parametrize("heading", ["aux pad force {} kN", "Hilfspresse Druckschuh {} Kraft [kN]"])
def test_from_a_log_through_add_to_the_command(
    heading: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    setup = tmp_path / "setup.toml"
    stated = "angles_deg = [0, 90, 180, 270]\nradius_m = 2.6\npushes = 'positive'\nforce_limit_kN = 2000"
    setup.write_text(SETUP.replace("[machine]", "ring_length_m = 1.5\n\n[machine]") + f"\n[pads]\n{stated}\n")
    folder = start(tmp_path / "east", setup).folder
    add(folder, [written_log(tmp_path / "log.csv", heading)])
    capsys.readouterr()
    assert main(["pads", str(folder)]) == 0
    text = capsys.readouterr().out
    assert f"2 at 90 deg, '{heading.format(2)}' in kN" in text
    assert "the pads add up to 1.000 of the logged auxiliary thrust" in text
    assert "Local codes and licensed practice come first." in text
    for by in GROUPINGS:
        out = tmp_path / f"{by}.csv"
        assert main(["pads", str(folder), "--by", by, "--out", str(out)]) == 0
    rows = list(csv.DictReader((tmp_path / "drive.csv").read_text("utf-8").splitlines()))
    pushing = next(one for one in rows if one["doing"] == "pushing")
    assert float(pushing["all_pads_s"]) == pytest.approx(1250, abs=15)  # 1000 mm at 0.8 mm/s
    assert float(pushing["total_kN"]) == pytest.approx(6000, rel=0.01)
    assert float(pushing["eccentricity_mm"]) == pytest.approx(520, abs=0.5)
    assert float(pushing["eccentricity_deg"]) == pytest.approx(90, abs=0.1)
    assert float(pushing["highest_of_limit"]) == pytest.approx(1.2)
    assert pushing["eccentricity_of_limit"] == ""
    holding = next(one for one in rows if one["doing"] == "holding")
    assert float(holding["total_kN"]) == pytest.approx(1200, rel=0.01)
    for form in ("xlsx", "parquet"):
        assert main(["pads", str(folder), "--by", "ring", "--out", str(tmp_path / f"r.{form}")]) == 0


def test_a_drive_without_pads_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    setup = tmp_path / "setup.toml"
    setup.write_text(SETUP)
    folder = start(tmp_path / "east", setup).folder
    assert main(["pads", str(folder)]) == 1
    assert "no pads are stated: [pads] in drive.toml" in capsys.readouterr().err
