"""Headers of the trade in eight languages, and what must not be taken for the measurement."""

import pytest

from tbmreview.domain.channels import BY_NAME
from tbmreview.ingest.headers import parse_header
from tbmreview.ingest.synonyms import meaning, stamp_words, utc_words

NAMED = {
    "main_thrust_kN": "Thrust [kN]|Total thrust (kN)|Main thrust [MN]|thrust_kN|Thrust Force Total (t)|Propulsion force kN|Vorschubkraft [kN]|Gesamtvorschubkraft kN|Hauptvorschub Kraft [kN]|Vorschubkraft Hauptzylinder [kN]|Poussée totale [kN]|Empuje total (kN)|Fuerza de avance [kN]|Spinta totale [kN]|Matekraft [kN]|总推进力(kN)|总推力|推進力[kN]|総推力（kN）|Total cylinder force [kN]|Jacking force (kN)|Ram force [kN]|Gesamtschub [kN]|Thrust_kN",
    "aux_thrust_kN": "Aux. thrust [kN]|Auxiliary thrust force [kN]|Hilfspressen Kraft [kN]|Vorschubkraft Hilfszylinder [kN]|Poussée auxiliaire [kN]|辅助推力(kN)|Hilfspressenkraft [kN]",
    "main_pressure_bar": "Thrust pressure [bar]|Main cylinder pressure [bar]|Advance cylinder pressure bar|Vorschubdruck [bar]|Druck Hauptzylinder [bar]|Pression poussée (bar)|推进压力(bar)|主推进压力|推進圧力[MPa]|Matetrykk [bar]",
    "aux_pressure_bar": "Aux. cylinder pressure [bar]|Druck Hilfszylinder [bar]|辅助推进压力(bar)",
    "main_stroke_mm": "Stroke|Main stroke [mm]|Thrust cylinder stroke mm|Cylinder travel [mm]|Vorschubweg [mm]|Hub Hauptzylinder [mm]|Teleskopzylinder Hub [mm]|Pressenweg [mm]|Course vérins de poussée (mm)|Carrera cilindros de empuje [mm]|Corsa cilindri di spinta [mm]|Slaglengde [mm]|推进位移(mm)|推进行程(mm)|ジャッキストローク(mm)|Stroke cylinder no. 1 [mm]|油缸行程(mm)",
    "aux_stroke_mm": "Aux. stroke [mm]|Hilfspresse Weg [mm]|Hub Hilfszylinder [mm]|Auxiliary cylinder extension [mm]",
    "torque_kNm": "Torque|Cutterhead torque [MNm]|CH_Torque_kNm|Cutter head torque (kN-m)|Bohrkopfdrehmoment [kNm]|Antriebsdrehmoment [kNm]|Couple tête [kNm]|Par de la cabeza de corte [kNm]|Coppia testa [kNm]|Dreiemoment borhode [kNm]|刀盘扭矩(kN·m)|刀盘转矩(kN?m)|カッタートルク(kN・m)|Momento de giro cabeza [kNm]",
    "head_speed_rpm": "RPM|CH_RPM|Cutterhead speed [rpm]|Cutterhead rotation [rpm]|Cutter head rotating speed r/min|Head speed min-|Bohrkopfdrehzahl [1/min]|Drehzahl Schneidrad [U/min]|Vitesse de rotation tête [tr/min]|Velocidad de giro de la cabeza [rpm]|Giri testa [giri/min]|Borhode turtall [o/min]|刀盘转速(rpm)|刀盘速度(r/min)|カッター回転数(min-1)|Cutterhead_RPM",
    "penetration_mm_rev": "Penetration|Penetration [mm/rev]|Penetration rate [mm/rev]|Penetration (mm)|Advance per revolution|Eindringtiefe [mm/U]|Pénétration (mm/tr)|Penetración [mm/vuelta]|Penetrazione [mm/giro]|Penetrasjon [mm/omdr]|贯入度(mm/r)|切込み量(mm/rev)|Penetration_mm_per_rev|Profondità di taglio [mm/giro]",
    "advance_speed_mm_min": "Advance speed|Advance rate [m/h]|Penetration rate [mm/min]|Rate of penetration (m/hr)|ROP m/h|TBM advance (mm/min)|ADV_SPEED_MM_MIN|Vorschubgeschwindigkeit [mm/min]|Vitesse d'avancement [mm/min]|Velocidad de avance (mm/min)|Velocità di avanzamento [mm/min]|Netto inndrift [m/h]|推进速度(mm/min)|掘進速度(mm/min)|ジャッキスピード(mm/min)|Advance_Rate_mm_per_min|掘削速度(mm/min)",
    "head_power_kW": "Cutterhead power [kW]|Drive power [kW]|Antriebsleistung [kW]|Bohrkopf Leistung kW|Puissance tête (kW)|Potencia cabeza de corte [kW]|Effekt borhode [kW]|刀盘功率(kW)|カッター電力(kW)|Wirkleistung Bohrkopf [kW]",
    "gripper_pressure_bar": "Gripper pressure [bar]|Gripperdruck [bar]|Verspanndruck [bar]|Pression grippeurs (bar)|Presión zapatas [bar]|撑靴压力(bar)|グリッパ圧力(MPa)|Pression patins [bar]",
    "gripper_force_kN": "Gripper force [kN]|Gripper thrust kN|Verspannkraft [kN]",
    "chainage_m": "Chainage [m]|Tunnel station|Tunnelmeter [m]|Stationierung (m)|Point kilométrique (m)|Progresiva [m]|Progressiva (km)|Pel [m]|桩号|掘进里程(m)|距離程(m)|PM tunnel [m]|Point métrique (m)|掘進距離(m)",
    "ring_number": "Ring|Ring no.|Ring Nr.|Ring Build Number|N° anneau|Anillo|Anello|环号|リング番号|Ringnr.",
    "belt_rate_t_h": "Belt scale [t/h]|Belt weigher (t/h)|Bandwaage [t/h]|Förderband [t/h]|Bascule convoyeur [t/h]|皮带机输送量(t/h)|Båndvekt [t/h]|Conveyor_Belt_Scale_t_per_h",
    "belt_total_t": "Belt scale total [t]|Bandwaage Summe [t]|Belt weight accumulated [t]",
    "water_l_min": "Water inflow [l/min]|Wasserzufluss [l/s]|Venue d'eau [l/min]|涌水量(m3/h)|Débit d'exhaure [l/min]|渗水量(m3/h)",
    "pitch_mm_m": "Pitch [mm/m]|Neigung [°]|Längsneigung [mm/m]|俯仰角(°)|Pente longitudinale [mm/m]",
    "roll_mm_m": "Roll [mm/m]|Verrollung [°]|滚动角(°)|ローリング(°)|Querneigung [°]",
}  # fmt: skip

NOT_MEASURED = (
    "Thrust set point [kN]|Thrust limit [kN]|Sollwert Vorschubkraft [kN]|Max thrust [kN]|Torque motor 1 [kNm]|刀盘电机扭矩(kNm)|"
    "Cutterhead speed setpoint|刀盘给定转速|推进速度设定(mm/min)|Consigne vitesse d'avancement|Torque alarm|Cutterhead revolutions total counter|Operating hours cutterhead|"
    "Earth pressure [bar]|Articulation cylinder stroke [mm]|Gripper cylinder stroke [mm]|Tail grease pressure|Screw torque [kNm]|螺旋机扭矩(kNm)|Stroke number|"
    "Conveyor belt speed [m/s]|Cutterhead Rotation Direction|Thrust ratio|Field penetration index|Specific energy [MJ/m3]|Thrust per cutter [kN]|"
    "Net thrust [kN]|Contact force [kN]|Articulation cylinder force [kN]|Working state|Motor current [A]|Cutterhead power consumption kWh|推进泵压力(bar)|Torque deviation|Roll cylinder pressure [bar]"
)


@pytest.mark.parametrize(
    ("channel", "header"), [(c, h) for c, headers in NAMED.items() for h in headers.split("|")]
)
def test_trade_words_name_their_channel(channel: str, header: str) -> None:
    assert meaning(parse_header(header)).channels[:1] == (channel,)


@pytest.mark.parametrize("header", NOT_MEASURED.split("|"))
def test_what_is_not_the_measurement_is_left_aside(header: str) -> None:
    assert meaning(parse_header(header)).channels == ()


@pytest.mark.parametrize("name", list(BY_NAME))
def test_canonical_names_are_headers(name: str) -> None:
    for header in (name, name.upper(), f" {name}", f"{name}.1"):
        assert meaning(parse_header(header)).channels == (name,)


@pytest.mark.parametrize(
    ("cell", "text", "unit"),
    [
        ("[21]Thrust force(kN)", "Thrust force", "kN"),
        ("[22]", "", ""),
        ("刀盘转速（rpm）", "刀盘转速", "rpm"),
        ("Cutter\nhead torque, kNm", "Cutter head torque", "kNm"),
        ("\u200bThrust \u200b[kN] ", "Thrust", "kN"),
        ('"Thrust / kN"', "Thrust", "kN"),
        ("Thrust in kN", "Thrust", "kN"),
        ("Penetration [mm/rev].1", "Penetration", "mm/rev"),
        ("ADV_SPEED_MM_MIN", "ADV SPEED", "MM/MIN"),
        ("Advance_Rate_mm_per_min", "Advance Rate", "mm/min"),
        ("ch12: Torque kNm", "Torque", "kNm"),
        ("Pressure sector A", "Pressure sector A", ""),
        ("Torque [Mp m]", "Torque", "Mp m"),
        ("Stroke.1", "Stroke", ""),
        ("Thrust (main) [kN]", "Thrust (main)", "kN"),
    ],
)
def test_header_parts(cell: str, text: str, unit: str) -> None:
    header = parse_header(cell)
    assert (header.text, header.unit_text) == (text, unit)


def test_a_force_net_of_the_drag_says_so() -> None:
    assert "net of what drags" in meaning(parse_header("Contact Force [kN]")).set_aside


def test_a_unit_row_counts_before_the_header() -> None:
    assert parse_header("Torque [kNm]", "MNm").unit_text == "MNm"
    assert parse_header("Torque [kNm]", "-").unit_text == "kNm"


def test_stamp_words() -> None:
    assert all(
        map(
            stamp_words,
            ("Time", "Datum", "Uhrzeit", "时间", "日時", "time_stamp", "Fecha", "TimeStamp [UTC]"),
        )
    )
    assert not any(map(stamp_words, ("Thrust", "Estimate", "Data rate"[5:], "Stroke")))
    assert utc_words("Time (UTC)")
    assert not utc_words("Time")
