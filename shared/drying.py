"""How much water a piece holds, how fast it lets go of it, and how long that takes.

Moisture contents are fractions of the dry mass. Drying runs in two stages: free water leaves a
wet surface at a constant rate, then bound water diffuses out of a slab towards equilibrium with
the room. The diffusivity is known to an order of magnitude, so every time is a low, a likely
and a high one until the piece has been weighed.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike

from shared import air
from shared.quantities import (
    FactBook,
    Mark,
    OutOfRange,
    Values,
    require_number,
    require_range,
    require_rh,
    require_temperature_c,
)

FACTS = FactBook()
_HANDBOOK = "Wood Handbook, FPL-GTR-190 (USDA 2010), ch. 4; Simpson (1973), Wood Fiber 5(1):41-49"
_CRANK = "Crank, The Mathematics of Diffusion, 2nd ed. (1975), p. 48"


# --- equilibrium with the air ----------------------------------------------------------------

# Quadratics in °F, constant first: the handbook's own unit, so that its digits stay its digits.
_HAILWOOD_HORROBIN = FACTS.note(
    "Hailwood-Horrobin W, K, K1, K2, each a quadratic in °F",
    (
        (330.0, 0.452, 0.00415),
        (0.791, 4.63e-4, -8.44e-7),
        (6.34, 7.75e-4, -9.35e-5),
        (1.09, 0.0284, -9.04e-5),
    ),
    "-",
    _HANDBOOK,
    Mark.PUBLISHED,
)


def wood_emc(t_c: ArrayLike, rh: ArrayLike) -> Values:
    """Equilibrium moisture content of wood, kg/kg dry.

    t_c: °C, -2 to 60 (above about 40 the equation reads up to 0.004 higher than the table).
    rh: fraction. Raises OutOfRange. Source: Wood Handbook ch. 4 (Simpson 1973).
    """
    t_f = require_temperature_c(t_c, low=-2) * 9 / 5 + 32
    h = require_rh(rh)
    w, k, k1, k2 = (a + b * t_f + c * t_f**2 for a, b, c in _HAILWOOD_HORROBIN)
    kh = k * h
    dissolved = kh / (1 - kh)
    hydrated = (k1 * kh + 2 * k1 * k2 * kh**2) / (1 + k1 * kh + k1 * k2 * kh**2)
    return np.asarray(18 / w * (dissolved + hydrated))


class Fibre(StrEnum):
    """Textile fibres with a commercial regain."""

    COTTON = "cotton"
    FLAX = "flax"
    HEMP = "hemp"
    JUTE = "jute"
    SILK = "silk"
    WOOL = "wool"


_REGAIN = FACTS.note(
    "commercial moisture regain",
    {
        Fibre.COTTON: 0.085,
        Fibre.FLAX: 0.12,
        Fibre.HEMP: 0.12,
        Fibre.JUTE: 0.1375,
        Fibre.SILK: 0.11,
        Fibre.WOOL: 0.136,
    },
    "kg/kg dry",
    "ASTM D1909-13, as tabulated in Bioresour. Bioprocess. 7 (2020),"
    " doi 10.1186/s40643-020-00339-1",
    Mark.PUBLISHED,
)


def commercial_regain(fibre: Fibre) -> float:
    """Conventional moisture of a textile at 65 % RH and 20 °C, kg/kg dry.

    It is agreed for trade by weight and may differ from a measured one by several hundredths.
    Source: ASTM D1909-13.
    """
    return _REGAIN[fibre]


@dataclass(frozen=True, slots=True)
class GabIsotherm:
    """Guggenheim-Anderson-de Boer isotherm.

    monolayer: M0, kg/kg dry. c: C. k: K, below 1. Raises OutOfRange.
    """

    monolayer: float
    c: float
    k: float

    def __post_init__(self) -> None:
        require_number("GAB monolayer moisture", self.monolayer, 0, 1, "kg/kg", above_low=True)
        require_number("GAB constant C", self.c, 0, 1000, above_low=True)
        require_number("GAB constant K", self.k, 0, 0.999, above_low=True)

    def moisture(self, rh: ArrayLike) -> Values:
        """Equilibrium moisture content, kg/kg dry. rh: fraction. Raises OutOfRange."""
        ka = self.k * require_rh(rh)
        return np.asarray(self.monolayer * self.c * ka / ((1 - ka) * (1 - ka + self.c * ka)))


class SorbingMaterial(StrEnum):
    """Materials with a default GAB isotherm."""

    PAPER = "paper"
    COTTON = "cotton"
    LEATHER = "leather"
    GELATIN = "gelatin"


GAB_DEFAULTS = FACTS.note(
    "default GAB isotherms near 20 °C: M0, C, K (to be tuned to one's own weighings)",
    {
        SorbingMaterial.PAPER: GabIsotherm(0.050, 15, 0.78),
        SorbingMaterial.COTTON: GabIsotherm(0.040, 12, 0.80),
        SorbingMaterial.LEATHER: GabIsotherm(0.090, 12, 0.75),
        SorbingMaterial.GELATIN: GabIsotherm(0.090, 10, 0.70),
    },
    "kg/kg dry, -, -",
    "low confidence; form after Guggenheim, Anderson and de Boer",
    Mark.FROM_MEMORY,
)


# --- stage 1: free water ---------------------------------------------------------------------

_FILM_COEFFICIENT = FACTS.note(
    "heat transfer 5.7 + 3.8 v, air below 5 m/s",
    (5.7, 3.8),
    "W/(m2 K), W s/(m3 K)",
    "Jürges (1924), as given by McAdams, Heat Transmission",
    Mark.FROM_MEMORY,
)
_AIR_HEAT_CAPACITY = FACTS.note(
    "volumetric heat capacity of room air",
    1207.2,
    "J/(m3 K)",
    "1.2 kg/m3 at 1006 J/(kg K), air at 20 °C",
    Mark.FROM_MEMORY,
)
_LEWIS_FACTOR = FACTS.note(
    "Le^(2/3), water vapour in air",
    0.907,
    "-",
    "Chilton & Colburn (1934) analogy",
    Mark.FROM_MEMORY,
)


def evaporation_flux_kg_m2_h(
    t_c: ArrayLike,
    rh: ArrayLike,
    air_speed_m_s: ArrayLike,
    p_pa: ArrayLike = air.STANDARD_PRESSURE_PA,
) -> Values:
    """Evaporation from a free wet face at wet-bulb temperature, kg/(m2 h).

    It reads about a fifth more than the heat of the air alone could evaporate; radiation from
    the room makes up for it, so a piece shaded on all sides dries more slowly.
    t_c: °C, 1 to 60. rh: fraction. air_speed_m_s: along the face, 0 to 5. p_pa: Pa.
    Raises OutOfRange. Heat and mass transfer analogy (Chilton & Colburn 1934).
    """
    t = require_temperature_c(t_c, low=1)
    speed = require_range("air speed at the face", air_speed_m_s, 0, 5, "m/s")
    still, moving = _FILM_COEFFICIENT
    mass_transfer_m_s = (still + moving * speed) / (_AIR_HEAT_CAPACITY * _LEWIS_FACTOR)
    at_face = air.vapour_density_kg_m3(air.wet_bulb(t, rh, p_pa), 1.0)
    return np.asarray(3600 * mass_transfer_m_s * (at_face - air.vapour_density_kg_m3(t, rh)))


# --- stage 2: bound water --------------------------------------------------------------------

_SWITCH_FO = 0.02  # below, the square-root law is exact to 1e-6; above, few terms are
_ODD = np.arange(1, 16, 2)


def fick_number(
    diffusivity_m2_s: ArrayLike, hours: ArrayLike, thickness_m: float, open_faces: int
) -> Values:
    """Dimensionless time D t / L², where a slab sealed on one face counts twice as thick.

    diffusivity_m2_s: m2/s. hours: h. thickness_m: m. open_faces: 1 or 2. Raises OutOfRange.
    """
    d = require_range("diffusivity", diffusivity_m2_s, 0, 1e-4, "m2/s", above_low=True)
    t = require_range("drying time", hours, 0, 1e6, "h")
    return np.asarray(d * t * 3600 / _path_m(thickness_m, open_faces) ** 2)


def _path_m(thickness_m: float, open_faces: int) -> float:
    if open_faces not in (1, 2):
        raise OutOfRange("open faces", open_faces, "1 or 2")
    return require_number("thickness", thickness_m, 0, 10, "m", above_low=True) * 2 / open_faces


def _unaccomplished(fo: Values) -> Values:
    series = np.exp(-((_ODD * math.pi) ** 2) * np.maximum(fo, _SWITCH_FO)[..., None]) / _ODD**2
    return np.asarray(
        np.where(fo < _SWITCH_FO, 1 - _early_loss(fo), 8 / math.pi**2 * series.sum(axis=-1))
    )


def _early_loss(fo: Values) -> Values:
    return np.asarray(4 * np.sqrt(np.minimum(fo, _SWITCH_FO) / math.pi))


def slab_unaccomplished(fo: ArrayLike) -> Values:
    """Share of the water above equilibrium still in a slab at dimensionless time ``fo``.

    fo: D t / L², 0 or more. Raises OutOfRange. Source: Crank (1975), p. 48.
    """
    return _unaccomplished(require_range("dimensionless time", fo, 0, 1e9))


def slab_early_loss(fo: ArrayLike) -> Values:
    """Share of the water above equilibrium lost early on, by the square-root-of-time law.

    fo: D t / L², 0 to 0.02, where it agrees with the full series to 1e-6. Raises OutOfRange.
    Source: Crank (1975), p. 48.
    """
    return _early_loss(require_range("dimensionless time", fo, 0, _SWITCH_FO))


def slab_time(unaccomplished: float) -> float:
    """Dimensionless time D t / L² at which this share of the water is still in the slab.

    unaccomplished: above 0, to 1. Raises OutOfRange. Source: Crank (1975), p. 48.
    """
    share = require_number("share still to lose", unaccomplished, 1e-12, 1)
    low, high = 0.0, 3.0  # at 3 the share is 1e-13
    for _ in range(60):
        middle = (low + high) / 2
        if float(_unaccomplished(np.asarray(middle))) > share:
            low = middle
        else:
            high = middle
    return (low + high) / 2


# --- both stages -----------------------------------------------------------------------------

DIFFUSIVITY_SPREAD = FACTS.note(
    "factor either way on an untested diffusivity (90 % band)",
    3.0,
    "-",
    "ours: published transverse values spread over an order of magnitude",
    Mark.COMMON_PRACTICE,
)
FLUX_SPREAD = FACTS.note(
    "factor either way on an untested evaporation rate (90 % band)",
    1.5,
    "-",
    "ours: air speed at the face is seldom known better",
    Mark.COMMON_PRACTICE,
)
DRY_WITHIN = FACTS.note(
    "dry: moisture content within this of equilibrium",
    0.01,
    "kg/kg dry",
    "ours, with the two below",
    Mark.COMMON_PRACTICE,
)
STEADY_WITHIN = FACTS.note(
    "dry: largest change between weighings a day apart", 0.005, "-", "ours", Mark.COMMON_PRACTICE
)
DRY_SURFACE_RH = FACTS.note("dry: surface RH below", 0.65, "fraction", "ours", Mark.COMMON_PRACTICE)


@dataclass(frozen=True, slots=True)
class DryingAir:
    """Air at the piece. t_c: °C, 1 to 60. rh: fraction, to 0.95. air_speed_m_s: m/s. p_pa: Pa."""

    t_c: float
    rh: float
    air_speed_m_s: float
    p_pa: float = air.STANDARD_PRESSURE_PA

    def __post_init__(self) -> None:
        require_temperature_c(self.t_c, low=1)
        hint = "Wetter air dries nothing. Give a fraction: 55 % is 0.55."
        require_number("relative humidity of the drying air", self.rh, 1e-4, 0.95, hint=hint)


@dataclass(frozen=True, slots=True)
class DryingPiece:
    """A piece as a slab.

    dry_mass_kg: kg. open_area_m2: all faces the air reaches, m2. thickness_m: m. open_faces:
    1 or 2. fibre_saturation: moisture content where free water ends, kg/kg dry.
    diffusivity_m2_s: transverse, m2/s. max_rh_step: largest allowed difference in RH between
    the wet surface and the air, which caps the first stage. Raises OutOfRange.
    """

    dry_mass_kg: float
    open_area_m2: float
    thickness_m: float
    open_faces: int
    fibre_saturation: float
    diffusivity_m2_s: float
    max_rh_step: float = 1.0

    def __post_init__(self) -> None:
        require_number("dry mass", self.dry_mass_kg, 0, 1e4, "kg", above_low=True)
        require_number("open area", self.open_area_m2, 0, 1e3, "m2", above_low=True)
        _path_m(self.thickness_m, self.open_faces)
        require_number("fibre saturation", self.fibre_saturation, 0, 3, "kg/kg", above_low=True)
        require_number("diffusivity", self.diffusivity_m2_s, 0, 1e-4, "m2/s", above_low=True)
        require_number("largest RH step", self.max_rh_step, 0.05, 1)


@dataclass(frozen=True, slots=True)
class DryingTime:
    """Hours of each stage until the piece is within a hundredth of equilibrium."""

    free_water_h: float
    bound_water_h: float

    @property
    def total_h(self) -> float:
        """Both stages, h."""
        return self.free_water_h + self.bound_water_h


@dataclass(frozen=True, slots=True)
class DryingEstimate:
    """A low, a likely and a high drying time."""

    low: DryingTime
    likely: DryingTime
    high: DryingTime


@dataclass(frozen=True, slots=True)
class _Course:
    """Drying of one piece, for any number of rates and diffusivities at once.

    rate_kg_h, diffusivity: shape (m,) or 0-d. Water is kg, time h.
    """

    free_kg: float
    bound_kg: float
    equilibrium_kg: float
    within_kg: float
    path_m: float
    rate_kg_h: Values
    diffusivity: Values

    def water_left(self, hours: Values) -> Values:
        """Water at each hour, kg; shape of rate and diffusivity broadcast against ``hours``."""
        since_free = hours - self.free_kg / self.rate_kg_h
        bound_h = np.maximum(since_free, 0)
        fo = self.diffusivity * bound_h * 3600 / self.path_m**2
        excess = self.bound_kg - self.equilibrium_kg
        by_diffusion = self.equilibrium_kg + excess * _unaccomplished(fo)
        # Fick's law alone starts infinitely fast; the air can take up no more than it did before.
        by_air = self.bound_kg - self.rate_kg_h * bound_h
        bound = np.maximum(by_diffusion, by_air)
        free = np.maximum(-since_free * self.rate_kg_h, 0)
        return np.asarray(free + bound)

    def hours_to_dry(self) -> tuple[Values, Values]:
        """Hours of the first and of the second stage."""
        first = self.free_kg / self.rate_kg_h
        excess = self.bound_kg - self.equilibrium_kg
        if excess <= self.within_kg:
            return first, np.zeros(np.broadcast_shapes(first.shape, self.diffusivity.shape))
        fo = slab_time(self.within_kg / excess)
        by_diffusion = fo * self.path_m**2 / self.diffusivity / 3600
        return first, np.maximum(by_diffusion, (excess - self.within_kg) / self.rate_kg_h)


def _course(
    piece: DryingPiece, drying_air: DryingAir, water_kg: float, emc: float, within: float
) -> _Course:
    water = require_number("water in the piece", water_kg, 0, 1e4, "kg")
    require_number("equilibrium moisture content", emc, 0, piece.fibre_saturation, "kg/kg dry")
    margin = require_number("margin to equilibrium", within, 1e-4, 0.5, "kg/kg dry")
    # A capped step is a surface kept from seeing air drier than the cap: tented, or humidified.
    rh = max(drying_air.rh, 1 - piece.max_rh_step)
    flux = evaporation_flux_kg_m2_h(drying_air.t_c, rh, drying_air.air_speed_m_s, drying_air.p_pa)
    equilibrium = emc * piece.dry_mass_kg
    bound = min(water, piece.fibre_saturation * piece.dry_mass_kg)
    return _Course(
        free_kg=water - bound,
        bound_kg=bound,
        # A piece drier than the room stays as it is: taking up water is not drying.
        equilibrium_kg=min(equilibrium, bound),
        within_kg=margin * piece.dry_mass_kg,
        path_m=_path_m(piece.thickness_m, piece.open_faces),
        rate_kg_h=flux * piece.open_area_m2,
        diffusivity=np.asarray(piece.diffusivity_m2_s),
    )


def estimate_drying(
    piece: DryingPiece,
    drying_air: DryingAir,
    water_kg: float,
    emc: float,
    within: float = DRY_WITHIN,
) -> DryingEstimate:
    """Time to dry before any weighing, from the diffusivity and a factor of 3 either way.

    water_kg: water in the piece now. emc: equilibrium at the room's set point, kg/kg dry.
    within: how near to it counts as dry, kg/kg dry. Raises OutOfRange.
    """

    def time(factor: float) -> DryingTime:
        varied = replace(piece, diffusivity_m2_s=piece.diffusivity_m2_s * factor)
        first, second = _course(varied, drying_air, water_kg, emc, within).hours_to_dry()
        return DryingTime(float(first), float(second))

    return DryingEstimate(time(DIFFUSIVITY_SPREAD), time(1), time(1 / DIFFUSIVITY_SPREAD))


def water_left_kg(
    piece: DryingPiece, drying_air: DryingAir, water_kg: float, emc: float, hours: ArrayLike
) -> Values:
    """Water in the piece after each of ``hours``, kg, same shape. Raises OutOfRange."""
    times = require_range("drying time", hours, 0, 1e6, "h")
    return _course(piece, drying_air, water_kg, emc, DRY_WITHIN).water_left(times)


def moisture_release_kg_h(
    piece: DryingPiece, drying_air: DryingAir, water_kg: float, emc: float, hours: int
) -> Values:
    """Water released in each of the next ``hours`` hours, kg/h, shape (hours,).

    A room's load is the sum over its pieces. Raises OutOfRange.
    """
    count = int(require_number("hours of drying", hours, 1, 100_000, "h"))
    left = water_left_kg(piece, drying_air, water_kg, emc, np.arange(count + 1))
    return np.asarray(-np.diff(left))


# --- learning from the scale -----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Weighing:
    """Mass of the piece at an hour since any fixed origin. hour: h. mass_kg: kg."""

    hour: float
    mass_kg: float


@dataclass(frozen=True, slots=True)
class Interval:
    """A median and the ends of a 90 % interval."""

    low: float
    likely: float
    high: float


@dataclass(frozen=True, slots=True)
class DryingRefit:
    """What the weighings say.

    diffusivity_m2_s: m2/s. rate_factor: on the calculated evaporation rate. total_h: from the
    first weighing to dry, h. residual_kg: root mean square misfit. disbelieved: by how much the
    stated errors had to be widened to explain the weighings, 1 if not at all.
    outside_expectation: the weighings contradict what was assumed of the piece or its air.
    gained_water: a weighing heavier than one before it by more than the scale explains.
    """

    diffusivity_m2_s: Interval
    rate_factor: Interval
    total_h: Interval
    weighings_used: int
    residual_kg: float
    disbelieved: float
    outside_expectation: bool
    gained_water: bool


_MODEL_ERROR = FACTS.note(
    "error of the two-stage model, share of the water at the start",
    0.02,
    "-",
    "ours: keeps intervals honest where no slab is ideal",
    Mark.COMMON_PRACTICE,
)
_Z_90 = 1.6448536269514722  # a normal variable stays within this of its mean 90 % of the time
_GRID = 41
_ZOOMS = 3


def refit_drying(
    piece: DryingPiece,
    drying_air: DryingAir,
    emc: float,
    weighings: Sequence[Weighing],
    *,
    scale_error_kg: float,
    within: float = DRY_WITHIN,
) -> DryingRefit:
    """Diffusivity, evaporation rate and drying time from weighings.

    Least squares with a prior: ``piece`` and ``drying_air`` give the expected values, a factor
    3 either way on diffusivity and 1.5 on the rate hold 90 % of the belief. Both are found on a
    grid that is narrowed three times, so that intervals need not be symmetric. Errors are the
    scale's and the model's; if the best fit is still worse, they are widened until it is not.
    The first weighing is the start. It is assumed that the dry mass is known and the air steady.

    scale_error_kg: standard error of one weighing, kg. within: as in ``estimate_drying``.
    Raises OutOfRange for fewer than one weighing, unordered hours, or a mass below the dry mass.
    """
    hours, masses = _checked(piece, weighings)
    scale = require_number("scale error", scale_error_kg, 0, 100, "kg", above_low=True)
    water = masses - piece.dry_mass_kg
    course = _course(piece, drying_air, float(water[0]), emc, within)
    variance = 2 * scale**2 + (_MODEL_ERROR * water[0]) ** 2  # twice: the start was weighed too

    sd_rate, sd_diffusivity = math.log(FLUX_SPREAD) / _Z_90, math.log(DIFFUSIVITY_SPREAD) / _Z_90
    bounds = [(-5 * sd_rate, 5 * sd_rate), (-5 * sd_diffusivity, 5 * sd_diffusivity)]
    for _ in range(_ZOOMS):
        axes = [np.linspace(low, high, _GRID) for low, high in bounds]
        ln_rate, ln_d = (grid.ravel() for grid in np.meshgrid(*axes, indexing="ij"))
        candidates = replace(
            course,
            rate_kg_h=course.rate_kg_h * np.exp(ln_rate)[:, None],
            diffusivity=course.diffusivity * np.exp(ln_d)[:, None],
        )
        misfit_kg = candidates.water_left(hours[1:] - hours[0]) - water[1:]
        misfit = (misfit_kg**2).sum(axis=1) / variance
        prior = (ln_rate / sd_rate) ** 2 + (ln_d / sd_diffusivity) ** 2
        best = int(np.argmin(misfit + prior))
        disbelieved = max(1.0, float(misfit[best]) / max(len(weighings) - 2, 1))
        weight = np.exp(-((misfit - misfit[best]) / disbelieved + prior - prior[best]) / 2)
        marginals = [weight.reshape(_GRID, _GRID).sum(axis=other) for other in (1, 0)]
        bounds = [_support(*pair) for pair in zip(axes, marginals, strict=True)]

    first, second = candidates.hours_to_dry()
    residuals = misfit_kg[best]
    return DryingRefit(
        diffusivity_m2_s=_interval(course.diffusivity * np.exp(axes[1]), marginals[1]),
        rate_factor=_interval(np.exp(axes[0]), marginals[0]),
        total_h=_interval((first + second).ravel(), weight),
        weighings_used=len(weighings),
        residual_kg=float(np.sqrt((residuals**2).mean())) if residuals.size else 0.0,
        disbelieved=math.sqrt(disbelieved),
        outside_expectation=bool(prior[best] > 2 * _Z_90**2),
        gained_water=bool((masses - np.minimum.accumulate(masses)).max() > 3 * scale),
    )


def _checked(piece: DryingPiece, weighings: Sequence[Weighing]) -> tuple[Values, Values]:
    hours = require_range("hour of a weighing", [w.hour for w in weighings], -1e7, 1e7, "h")
    masses = require_range(
        "weighed mass",
        [w.mass_kg for w in weighings],
        piece.dry_mass_kg,
        1e4,
        "kg",
        hint="Nothing weighs less than its dry mass: correct the weighing or the dry mass.",
    )
    if (np.diff(hours) <= 0).any():
        raise OutOfRange("hour of a weighing", "the series", "in strictly increasing order")
    return hours, masses


def _support(axis: Values, marginal: Values) -> tuple[float, float]:
    """The part of an axis that holds all but a negligible share of the weight."""
    held = np.flatnonzero(marginal > 1e-6 * marginal.max())
    return float(axis[max(held[0] - 1, 0)]), float(axis[min(held[-1] + 1, axis.size - 1)])


def _interval(values: Values, weight: Values) -> Interval:
    order = np.argsort(values)
    ranked, mass = values[order], weight[order]
    # Each value stands for the middle of its share, so a quantile falls between two values.
    cumulative = (np.cumsum(mass) - mass / 2) / mass.sum()
    low, likely, high = np.interp([0.05, 0.5, 0.95], cumulative, ranked)
    return Interval(float(low), float(likely), float(high))


@dataclass(frozen=True, slots=True)
class Dryness:
    """The three signs of a dry piece; it is dry when all hold."""

    near_equilibrium: bool
    steady_for_a_day: bool
    surface_dry: bool

    @property
    def is_dry(self) -> bool:
        """Whether all three signs hold."""
        return self.near_equilibrium and self.steady_for_a_day and self.surface_dry


def judge_dryness(
    moisture: float, emc: float, mass_kg: float, mass_a_day_before_kg: float, rh_surface: float
) -> Dryness:
    """Whether a piece is dry, by three signs (common practice).

    moisture, emc: now and at equilibrium with the room it will be kept in, kg/kg dry.
    mass_kg, mass_a_day_before_kg: two weighings 24 h apart. rh_surface: fraction.
    Raises OutOfRange.
    """
    mc = require_number("moisture content", moisture, 0, 10, "kg/kg dry")
    target = require_number("equilibrium moisture content", emc, 0, 3, "kg/kg dry")
    now = require_number("mass", mass_kg, 0, 1e4, "kg", above_low=True)
    before = require_number("mass a day before", mass_a_day_before_kg, 0, 1e4, "kg", above_low=True)
    return Dryness(
        near_equilibrium=mc - target <= DRY_WITHIN,
        steady_for_a_day=abs(now - before) / before < STEADY_WITHIN,
        surface_dry=float(require_rh(rh_surface, "surface relative humidity")) < DRY_SURFACE_RH,
    )
