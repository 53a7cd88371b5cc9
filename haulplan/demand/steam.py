"""Properties of water and steam, IAPWS-IF97, through the `chemicals` library."""

from functools import lru_cache
from typing import Final

__all__ = [
    "liquid_enthalpy",
    "saturated_liquid_enthalpy",
    "saturated_steam_density",
    "saturated_steam_enthalpy",
    "saturation_pressure",
    "saturation_temperature",
    "steam_enthalpy",
]

_R: Final = 461.526


@lru_cache(maxsize=4096)
def saturation_temperature(pressure: float) -> float:
    """Temperature at which water boils.

    Parameters
    ----------
    pressure
        Absolute pressure, 611.2 Pa to 22.06 MPa. [Pa]

    Returns
    -------
    temperature
        [K]

    References
    ----------
    .. [1] IAPWS R7-97(2012), eq. 31; verification table 36.

    Examples
    --------
    >>> round(saturation_temperature(1e6), 6)
    453.035632
    """
    from chemicals.vapor_pressure import Tsat_IAPWS  # noqa: PLC0415  loaded where used

    return float(Tsat_IAPWS(pressure))


def saturation_pressure(temperature: float) -> float:
    """Absolute pressure at which water boils.

    Parameters
    ----------
    temperature
        273.15 K to 647.096 K. [K]

    Returns
    -------
    pressure
        [Pa]

    References
    ----------
    .. [1] IAPWS R7-97(2012), eq. 30; verification table 35.

    Examples
    --------
    >>> round(saturation_pressure(500.0), 2)
    2638897.76
    """
    from chemicals.vapor_pressure import Psat_IAPWS  # noqa: PLC0415  loaded where used

    return float(Psat_IAPWS(temperature))


@lru_cache(maxsize=4096)
def liquid_enthalpy(temperature: float, pressure: float) -> float:
    """Specific enthalpy of liquid water (region 1).

    Parameters
    ----------
    temperature
        273.15 K to 623.15 K, at or below boiling. [K]
    pressure
        Absolute pressure. [Pa]

    Returns
    -------
    enthalpy
        [J kg⁻¹]

    Notes
    -----
    h = R T τ ∂γ/∂τ with τ = 1386 K / T.

    References
    ----------
    .. [1] IAPWS R7-97(2012), table 3; verification table 5.

    Examples
    --------
    >>> round(liquid_enthalpy(300.0, 3e6), 3)
    115331.273
    """
    from chemicals.iapws import iapws97_dG_dtau_region1  # noqa: PLC0415  loaded where used

    return float(iapws97_dG_dtau_region1(1386.0 / temperature, pressure / 16.53e6)) * _R * 1386.0


@lru_cache(maxsize=4096)
def steam_enthalpy(temperature: float, pressure: float) -> float:
    """Specific enthalpy of steam (region 2).

    Parameters
    ----------
    temperature
        At or above boiling, to 1073.15 K. [K]
    pressure
        Absolute pressure. [Pa]

    Returns
    -------
    enthalpy
        [J kg⁻¹]

    Notes
    -----
    h = R T τ (∂γ⁰/∂τ + ∂γʳ/∂τ) with τ = 540 K / T.

    References
    ----------
    .. [1] IAPWS R7-97(2012), table 12; verification table 15.

    Examples
    --------
    >>> round(steam_enthalpy(700.0, 3500.0), 2)
    3335683.75
    """
    from chemicals.iapws import (  # noqa: PLC0415  loaded where used
        iapws97_dG0_dtau_region2,
        iapws97_dGr_dtau_region2,
    )

    tau, pi = 540.0 / temperature, pressure / 1e6
    slope = float(iapws97_dG0_dtau_region2(tau, pi)) + float(iapws97_dGr_dtau_region2(tau, pi))
    return slope * _R * 540.0


def saturated_liquid_enthalpy(pressure: float) -> float:
    """Specific enthalpy of boiling water.

    Parameters
    ----------
    pressure
        Absolute pressure. [Pa]

    Returns
    -------
    enthalpy
        [J kg⁻¹]

    References
    ----------
    .. [1] IAPWS R7-97(2012), regions 1 and 4.

    Examples
    --------
    >>> round(saturated_liquid_enthalpy(1135504.0) / 2326.0, 1)  # 150 psig, Btu/lb
    338.6
    """
    return liquid_enthalpy(saturation_temperature(pressure), pressure)


def saturated_steam_enthalpy(pressure: float) -> float:
    """Specific enthalpy of dry saturated steam.

    Parameters
    ----------
    pressure
        Absolute pressure. [Pa]

    Returns
    -------
    enthalpy
        [J kg⁻¹]

    References
    ----------
    .. [1] IAPWS R7-97(2012), regions 2 and 4.

    Examples
    --------
    >>> round(saturated_steam_enthalpy(1135504.0) / 2326.0, 1)  # 150 psig, Btu/lb
    1196.0
    """
    return steam_enthalpy(saturation_temperature(pressure), pressure)


@lru_cache(maxsize=4096)
def saturated_steam_density(pressure: float) -> float:
    """Density of dry saturated steam.

    Parameters
    ----------
    pressure
        Absolute pressure. [Pa]

    Returns
    -------
    density
        [kg m⁻³]

    References
    ----------
    .. [1] IAPWS R7-97(2012), regions 2 and 4.

    Examples
    --------
    >>> round(16.01846 / saturated_steam_density(1135504.0), 3)  # 150 psig, cu ft/lb
    2.757
    """
    from chemicals.iapws import iapws97_region2_rho  # noqa: PLC0415  loaded where used

    return float(iapws97_region2_rho(saturation_temperature(pressure), pressure))
