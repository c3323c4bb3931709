"""A made-up engine of two banks of four, and what is told of it by a flow meter at a few openings of its lever."""

import math
from collections.abc import Sequence

import numpy as np

from app.sync.banks.bank_means import CENTRAL_LEVER, Opening
from app.sync.banks.banks import BankAssessment, balance
from app.sync.banks.link_hypotheses import FREE_PLAY
from app.sync.engine.engine_air import idling_on
from app.sync.engine.events import Meter
from app.sync.engine.hardware import likely_hardware
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.off_idle import gain_curve
from app.sync.engine.units import LITER

EIGHT = Layout((Bank("A", (1, 2, 3, 4), stop=2, drive=2), Bank("B", (5, 6, 7, 8), stop=6, drive=6)))
HARDWARE = likely_hardware(4 * LITER, 8)
IDLE_FLOW = 6.4 / 3600
USUAL = idling_on(8, IDLE_FLOW)
IDLE = dict.fromkeys(EIGHT.bores, IDLE_FLOW)


def opened(
    milliradians: float,
    *,
    early: float = 0.0,
    ratio: float = 0.0,
    first: float = IDLE_FLOW,
    gain: float | None = None,
) -> Opening:
    """Flows at a lever opening when the second bank leaves ``early`` [mrad] and opens faster by ``ratio``."""
    lever = milliradians * 1e-3
    curve = gain_curve(HARDWARE, IDLE_FLOW, USUAL, gain)
    one = max(0.0, lever - FREE_PLAY - max(early * 1e-3, 0.0))
    other = max(0.0, lever * (1 + ratio) - FREE_PLAY + min(early * 1e-3, 0.0))
    flow_one, flow_other = (first * math.exp(float(np.interp(x, *curve))) for x in (one, other))
    return Opening(lever * CENTRAL_LEVER, {bore: flow_one if bore < 5 else flow_other for bore in EIGHT.bores})


def told(
    openings: Sequence[Opening],
    *,
    proven: bool = True,
    both_hands: bool = False,
    tight: bool = True,
    gauged: float | None = None,
) -> BankAssessment:
    return balance(
        EIGHT, HARDWARE, IDLE, openings, Meter(), proven, both_hands, joints_tight=tight, gauged_ratio=gauged
    )
