"""Capacitors against what a motor and its bridge do to the supply.

Rules of this project, with common formulas: a capacitor across a motor that is switched f times a
second turns C V^2 f to heat in the bridge; the current that a bridge takes in pulses of share D
makes I D (1 - D) / (f C) of ripple on its capacitor, most at D = 1/2, with I/2 rms flowing in it.
"""

from __future__ import annotations

PWM_HZ = 20_000.0
MOTOR_LOSS_W = 0.1  # what the bridge may lose by the capacitor at the motor
RIPPLE_SHARE = 0.05  # of the supply
VOLTS_OVER_SUPPLY = 2.0  # rating of a capacitor: a pushed or braked rod lifts the supply
MOTOR_NF = (100.0, 47.0, 22.0, 10.0, 4.7, 2.2, 1.0)
BULK_UF = (100.0, 220.0, 470.0, 1000.0, 2200.0, 4700.0)


def motor_loss_w(farad: float, supply_v: float) -> float:
    """Heat in the bridge from a capacitor across the motor: C V^2 f."""
    return farad * supply_v**2 * PWM_HZ


def motor_capacitor_nf(supply_v: float) -> float | None:
    """The greatest usual capacitor across the motor whose loss the bridge bears; None: none."""
    return next((nf for nf in MOTOR_NF if motor_loss_w(nf * 1e-9, supply_v) <= MOTOR_LOSS_W), None)


def ripple_v(current_a: float, farad: float, share: float = 0.5) -> float:
    """Peak to peak ripple of a capacitor that feeds pulses of this share of the period."""
    return current_a * share * (1.0 - share) / (PWM_HZ * farad)


def bulk_uf(current_a: float, supply_v: float) -> float | None:
    """The smallest usual capacitor at the bridge that keeps the ripple; None above all of them."""
    allowed = RIPPLE_SHARE * supply_v
    return next((uf for uf in BULK_UF if ripple_v(current_a, uf * 1e-6) <= allowed), None)


def bulk_rms_a(current_a: float) -> float:
    """Ripple current in the capacitor, rms, at its worst: I sqrt(D (1 - D)) at D = 1/2."""
    return current_a / 2.0


def rated_v(supply_v: float) -> float:
    """Voltage that a capacitor beside the motor supply is to be rated for."""
    return VOLTS_OVER_SUPPLY * supply_v
