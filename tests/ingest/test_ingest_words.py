"""Whole header rows as different people of the trade would write them: every channel is understood."""

import pytest

from tbmreview.ingest.headers import parse_header
from tbmreview.ingest.synonyms import meaning

CHANNELS = [
    "main_thrust_kN",
    "torque_kNm",
    "head_speed_rpm",
    "penetration_mm_rev",
    "advance_speed_mm_min",
    "main_stroke_mm",
    "gripper_pressure_bar",
    "chainage_m",
    "aux_thrust_kN",
    "aux_stroke_mm",
    "head_power_kW",
]

# One row a person: the channels above in their order.
ROWS = {
    "fitter": "Thrust kN|Torque kNm|RPM|Pen mm/rev|Adv rate mm/min|Stroke mm|Gripper bar|Chainage m|Aux thrust kN|Aux stroke mm|Drive power kW",
    "controller": "TBM1.MainThrust [kN]|TBM1.CutterheadTorque [kNm]|TBM1.CutterheadSpeed [rpm]|TBM1.Penetration [mm/rev]|TBM1.AdvanceSpeed [mm/min]|TBM1.MainStroke [mm]|TBM1.GripperPressure [bar]|TBM1.Chainage [m]|TBM1.AuxThrust [kN]|TBM1.AuxStroke [mm]|TBM1.CutterheadPower [kW]",
    "programmer": "PLC_thrust_force_kN|PLC_ch_torque_kNm|PLC_ch_speed_rpm|PLC_pen_mm_rev|PLC_adv_speed_mm_min|PLC_thrust_cyl_stroke_mm|PLC_gripper_press_bar|PLC_chainage_m|PLC_aux_thrust_kN|PLC_aux_cyl_stroke_mm|PLC_ch_power_kW",
    "indexed": "[21]Telescopic cylinder thrust(kN)|[22]Cutter head torque(kN·m)|[23]Cutter head rpm(r/min)|[24]Penetration(mm/r)|[25]Penetration rate(mm/min)|[26]Telescopic cylinder stroke(mm)|[27]Gripper pressure(bar)|[28]Tunnel station(m)|[29]Auxiliary cylinder thrust(kN)|[30]Auxiliary cylinder stroke(mm)|[31]Cutter head power(kW)",
    "German": "Vorschubkraft Hauptpressen [kN]|Drehmoment Bohrkopf [kNm]|Drehzahl Bohrkopf [1/min]|Penetration [mm/U]|Vortriebsgeschwindigkeit [mm/min]|Hub Hauptpressen [mm]|Gripper Verspanndruck [bar]|Stationierung [m]|Vorschubkraft Hilfspressen [kN]|Hub Hilfspressen [mm]|Bohrkopfleistung [kW]",
    "French": "Poussée principale (kN)|Couple de la tête (kNm)|Vitesse de rotation de la tête (tr/min)|Pénétration (mm/tr)|Vitesse d'avancement (mm/min)|Course vérins principaux (mm)|Pression des grippeurs (bar)|PK (m)|Poussée vérins auxiliaires (kN)|Course vérins auxiliaires (mm)|Puissance de la tête (kW)",
    "Spanish": "Empuje principal (kN)|Par de la cabeza (kNm)|Velocidad de giro de la cabeza (rpm)|Penetración (mm/vuelta)|Velocidad de avance (mm/min)|Carrera cilindros principales (mm)|Presión de zapatas (bar)|Progresiva (m)|Empuje cilindros auxiliares (kN)|Carrera cilindros auxiliares (mm)|Potencia de la cabeza (kW)",
    "Italian": "Spinta principale (kN)|Coppia testa fresante (kNm)|Velocità di rotazione testa (giri/min)|Penetrazione (mm/giro)|Velocità di avanzamento (mm/min)|Corsa cilindri principali (mm)|Pressione grippers (bar)|Progressiva (m)|Spinta cilindri ausiliari (kN)|Corsa cilindri ausiliari (mm)|Potenza testa fresante (kW)",
    "Norwegian": "Matekraft hovedsylindre [kN]|Dreiemoment kutterhode [kNm]|Rotasjonshastighet kutterhode [o/min]|Inntrengning [mm/omdr]|Borhastighet [mm/min]|Slaglengde hovedsylinder [mm]|Grippertrykk [bar]|Pel [m]|Matekraft hjelpesylindre [kN]|Slaglengde hjelpesylinder [mm]|Effekt kutterhode [kW]",
    "Chinese": "主推进力(kN)|刀盘扭矩(kN·m)|刀盘转速(r/min)|贯入度(mm/r)|掘进速度(mm/min)|主推进油缸行程(mm)|撑靴压力(bar)|里程(m)|辅助推进力(kN)|辅助推进油缸行程(mm)|刀盘驱动功率(kW)",
    "Japanese": "スラスト推力(kN)|カッタートルク(kN・m)|カッター回転数(rpm)|切込み量(mm/rev)|掘進速度(mm/min)|スラストジャッキストローク(mm)|グリッパ圧力(MPa)|距離程(m)|補助ジャッキ推力(kN)|補助ジャッキストローク(mm)|カッター動力(kW)",
    "terse": "F_main [kN]|M_CH [kNm]|n_CH [rpm]|pen [mm/rev]|adv [mm/min]|s_main [mm]|p_gripper [bar]|Chn. [m]|F_aux [kN]|s_aux [mm]|P_CH [kW]",
}  # fmt: skip


@pytest.mark.parametrize("who", ROWS)
def test_a_whole_header_row_is_understood(who: str) -> None:
    headers = ROWS[who].split("|")
    found = [(meaning(parse_header(h)).channels or ("",))[0] for h in headers]
    assert dict(zip(headers, found, strict=True)) == dict(zip(headers, CHANNELS, strict=True))
