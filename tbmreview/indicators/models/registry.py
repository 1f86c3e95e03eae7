"""Every model of expectation, in the order in which they are listed. The command and the help read this."""

from tbmreview.indicators.models import (
    csm,
    cutting_rate,
    delisio,
    farrokh,
    gokceoglu,
    gong_zhao,
    hassanpour,
    khademi_hamidi,
    ntnu,
    q_tbm,
    rules,
    yagiz,
)
from tbmreview.indicators.models.record import Model

MODELS: tuple[Model, ...] = (
    hassanpour.HASSANPOUR_2011,
    khademi_hamidi.KHADEMI_HAMIDI_2010,
    gong_zhao.GONG_ZHAO_2009,
    gong_zhao.GONG_ZHAO_2009_PENETRATION,
    delisio.DELISIO_ZHAO_2014,
    farrokh.FARROKH_2012,
    csm.CSM_FORCE,
    csm.CSM_TORQUE,
    ntnu.BRULAND_1998,
    ntnu.BRULAND_1998_TORQUE,
    cutting_rate.ROSTAMI_1994,
    gokceoglu.GOKCEOGLU_2022_STRENGTH,
    gokceoglu.GOKCEOGLU_2022_ABRASIVITY,
    yagiz.YAGIZ_2008,
    q_tbm.Q_TBM,
    rules.GRAHAM_1976,
    rules.FARMER_GLOSSOP_1980,
    rules.GEHRING_1995,
    rules.HUGHES_1986,
    rules.INNAURATO_1991,
    rules.CASSINELLI_1982,
)

BY_NAME: dict[str, Model] = {model.name: model for model in MODELS}
