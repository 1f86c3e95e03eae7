"""What the program says about its own limits: in the window, on every sheet, at the command line."""

CAUTION = (
    "A reviewing aid that looks backward: no finding does not mean safe ground. "
    "The responsible engineer, local codes and licensed practice come first."
)

NO_ADVICE = (
    "Nothing here is advice to use more thrust, torque, gripper pressure or ring load, nor to pass a limit."
)
LOCAL = "Local codes and licensed practice come first."

CAUTIONS: tuple[str, ...] = (
    "This is a reviewing aid and looks backward. It is no alarm system and replaces neither face mapping, "
    "probe drilling, gas and water monitoring nor the judgement of the responsible engineer.",
    "No finding does not mean safe ground. Machine data say nothing reliable about the ground ahead of the "
    "face.",
    "A sign that the shield is being held shows up here hours late: tell the shift at once.",
    "A surplus of muck may be a cavity; a balance within tolerance excludes none.",
    '"Standing" is no proof that the machine is isolated. Entry to the head follows the site\'s permit and '
    "lock-out.",
    "A sign-off confirms that data were reviewed. It says nothing about support, entry or lining.",
    NO_ADVICE,
    LOCAL,
)
