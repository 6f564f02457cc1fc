"""Debye-Hueckel and SIT: activity coefficients and the activity of water.

    log10 gamma_s = -z_s^2 A sqrt(I) / (1 + Ba sqrt(I)) + sum_j eps(s, j) m_j

with Ba = 1.5 (kg/mol)^1/2 (Scatchard's value adopted by the NEA; Grenthe, Mompean, Spahiu and
Wanner, Guidelines for the extrapolation to zero ionic strength, OECD/NEA TDB-2, 2013), and the
osmotic coefficient that the Gibbs-Duhem relation gives for the same expression.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from chem.reference import tables

LN10 = math.log(10.0)
MOLAR_MASS_WATER_KG = 0.01801528  # kg/mol, IUPAC 2021 abridged atomic masses
Floats = NDArray[np.float64]


def water_density_g_per_mL(t_celsius: float) -> float:
    """Density of air-free water at 1 atm [g/mL], 0-150 degC (Kell 1975)."""
    p = tables().value
    powers = [t_celsius**i for i in range(6)]
    top = sum(p(f"kell_a{i}") * powers[i] for i in range(6))
    return top / (1.0 + p("kell_b") * t_celsius) / 1000.0


def dielectric_constant(t_celsius: float) -> float:
    """Relative permittivity of water at 1 bar, 0-350 degC (Bradley and Pitzer 1979)."""
    u = [0.0] + [tables().value(f"bradley_pitzer_U{i}") for i in range(1, 10)]
    t = t_celsius + 273.15
    eps_1000 = u[1] * math.exp(u[2] * t + u[3] * t * t)
    c = u[4] + u[5] / (u[6] + t)
    b = u[7] + u[8] / t + u[9] * t
    return eps_1000 + c * math.log((b + 1.01325) / (b + 1000.0))


def debye_hueckel_a(t_celsius: float) -> float:
    """A of log10 gamma [(kg/mol)^1/2] from density and permittivity of water."""
    density = water_density_g_per_mL(t_celsius)
    # (2 pi N_A)^(1/2) (e^2 / 4 pi eps_0 k_B)^(3/2) / ln 10 of CODATA 2018, for g/mL and kelvin.
    return float(
        1.824812e6
        * math.sqrt(density)
        / (dielectric_constant(t_celsius) * (t_celsius + 273.15)) ** 1.5
    )


def osmotic_debye_hueckel(root_i: Floats, a: float, ba: float) -> Floats:
    """Debye-Hueckel part of sum_k m_k (1 - phi) [mol/kg], shape of `root_i` [(mol/kg)^1/2]."""
    x = 1.0 + ba * root_i
    return 2.0 * a * LN10 / ba**3 * (x - 2.0 * np.log(x) - 1.0 / x)
