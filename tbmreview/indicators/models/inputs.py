"""Inputs that several models share. Their ranges are those of no source; a model that knows one states it."""

from tbmreview.indicators.models.record import BORED, GROUND, MACHINE, STATED, Input

UCS = Input("ucs_MPa", "MPa", "uniaxial compressive strength", GROUND)
BTS = Input("bts_MPa", "MPa", "Brazilian tensile strength", GROUND)
RQD = Input("rqd_pct", "%", "rock quality designation", GROUND)
JV = Input("jv_per_m3", "1/m3", "volumetric joint count", GROUND)
Q = Input("q", "", "Q value (Barton)", GROUND)
CAI = Input("cai", "", "CERCHAR abrasivity index", GROUND)
ANGLE = Input("angle_deg", "deg", "angle between tunnel axis and plane of weakness", GROUND)
BORE = Input("bore_diameter_m", "m", "bore diameter", MACHINE)
DISC_COUNT = Input("disc_count", "", "installed disc rings", MACHINE)
DISC_DIAMETER = Input("disc_diameter_mm", "mm", "disc diameter", MACHINE)
LEVER_ARM = Input(
    "disc_lever_arm", "", "mean lever arm of the discs as a share of the bore diameter", MACHINE
)
SPACING = Input("disc_spacing_mm", "mm", "spacing of disc tracks; not stated: D/(2 N)", MACHINE)
TIP_WIDTH = Input("disc_tip_mm", "mm", "width of the disc's tip", STATED)
DISC_LOAD = Input("disc_load_kN", "kN", "disc load as bored", BORED)
PENETRATION = Input("penetration_mm_rev", "mm/rev", "penetration as bored", BORED)
CLI = Input("cutter_life_index", "", "cutter life index", STATED)
QUARTZ = Input("quartz_pct", "%", "quartz content", STATED)
