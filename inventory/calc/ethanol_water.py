"""Density and strength of ethanol–water mixtures by the general formula of OIML R 22 (1975).

The formula is a polynomial of 54 published coefficients in the mass fraction *p* of ethanol and the
temperature *t*, valid from −20 °C to +40 °C; it was fitted to measurements and knows the contraction on
mixing. It is evaluated in exact-enough decimals (28 digits), so the same input gives the same digits on
every machine. "% vol" here is the alcoholic strength by volume at 20 °C. The way back from % vol to mass
fraction has no closed form; bisection on the whole interval was chosen because strength by volume only rises
with *p*, the bracket cannot be lost, and 40 halvings always give the same digits (Newton would be quicker
and would need a proof of convergence near pure ethanol).
"""

from decimal import ROUND_HALF_EVEN, Context, Decimal, localcontext

from inventory.calc.wording import figure
from studio.kernel.errors import Invalid
from studio.kernel.mass import nearest_fraction

COLDEST_C = Decimal(-20)
WARMEST_C = Decimal(40)
REFERENCE_C = Decimal(20)
PURE_ETHANOL_KG_M3 = Decimal("789.24")
"""Density of ethanol at 20 °C that R 22 divides by; the polynomial itself gives 789.239."""
_DIGITS = 28
_HALVINGS = 40


def _decimals(text: str) -> tuple[Decimal, ...]:
    return tuple(Decimal(word) for word in text.split())


_A = _decimals(
    "998.20123 -192.9769495 389.1238958 -1668.103923 13522.15441 -88292.78388 "
    "306287.4042 -613838.1234 747017.2998 -547846.1354 223446.0334 -39032.85426"
)
_B = _decimals("-0.20618513 -5.2682542e-3 3.6130013e-5 -3.8957702e-7 7.1693540e-9 -9.9739231e-11")
_C = (
    _decimals(
        "0.1693443461530087 -10.46914743455169 71.96353469546523 -704.7478054272792 3924.090430035045 "
        "-12101.64659068747 22486.46550400788 -26055.62982188164 18523.73922069467 -7420.201433430137 "
        "1285.617841998974"
    ),
    _decimals(
        "-0.01193013005057010 0.2517399633803461 -2.170575700536993 13.53034988843029 -50.29988758547014 "
        "109.6355666577570 -142.2753946421155 108.0435942856230 -44.14153236817392 7.442971530188783"
    ),
    _decimals(
        "-6.802995733503803e-4 1.876837790289664e-2 -0.2002561813734156 1.022992966719220 "
        "-2.895696483903638 4.810060584300675 -4.672147440794683 2.458043105903461 -0.5411227621436812"
    ),
    _decimals("4.075376675622027e-6 -8.763058573471110e-6 6.515031360099368e-6 -1.515784836987210e-6"),
    _decimals("-2.788074354782409e-8 1.345612883493354e-8"),
)


class BeyondAlcoholTables(Invalid):
    """A fraction or temperature for which OIML R 22 says nothing."""

    code = "beyond-alcohol-tables"
    title = "Outside the alcohol tables"


def density_kg_m3(*, ethanol_fraction: Decimal, temperature_c: Decimal = REFERENCE_C) -> Decimal:
    """Density, kg/m³, of a mixture with mass fraction `ethanol_fraction` of ethanol at `temperature_c`.

    ρ = A₁ + Σ A_k p^(k−1) + Σ B_k (t−20)^k + ΣΣ C_ik p^k (t−20)^i (OIML R 22, annex to Directive
    76/766/EEC). Raises `BeyondAlcoholTables` outside 0 ≤ p ≤ 1 and −20 °C ≤ t ≤ 40 °C.
    """
    _check_share(ethanol_fraction, "mass fraction")
    if not (temperature_c.is_finite() and COLDEST_C <= temperature_c <= WARMEST_C):
        raise BeyondAlcoholTables(
            f"The alcohol formula holds from {COLDEST_C} °C to {WARMEST_C} °C; {temperature_c} °C is outside."
        )
    with localcontext(Context(prec=_DIGITS, rounding=ROUND_HALF_EVEN)):
        warmer = temperature_c - REFERENCE_C
        density = _polynomial(_A, ethanol_fraction) + warmer * _polynomial(_B, warmer)
        for power, row in enumerate(_C, start=1):
            density += warmer**power * ethanol_fraction * _polynomial(row, ethanol_fraction)
        return density


def density_g_ml(*, ethanol_fraction: Decimal, temperature_c: Decimal = REFERENCE_C) -> Decimal:
    """The same density in g/mL, exactly a thousandth of `density_kg_m3`."""
    return density_kg_m3(ethanol_fraction=ethanol_fraction, temperature_c=temperature_c).scaleb(-3)


def volume_fraction(ethanol_fraction: Decimal) -> Decimal:
    """Alcoholic strength by volume at 20 °C (0.96 = "96 % vol") of a mass fraction, nine places, at most 1.

    q = ρ₂₀(p)·p / 789.24 (OIML R 22).
    """
    _check_share(ethanol_fraction, "mass fraction")
    return nearest_fraction(_volume_fraction(ethanol_fraction))


def mass_fraction(volume_share: Decimal) -> Decimal:
    """Mass fraction of ethanol of an alcoholic strength by volume at 20 °C, nine places.

    The inverse of `volume_fraction` by bisection on [0, 1]. The formula ends a millionth short of 100 % vol,
    so a strength above its last value is pure ethanol, mass fraction 1.
    """
    _check_share(volume_share, "strength by volume")
    low, high = Decimal(0), Decimal(1)
    if volume_share == 0:
        return nearest_fraction(low)
    if volume_share >= _volume_fraction(high):
        return nearest_fraction(high)
    with localcontext(Context(prec=_DIGITS, rounding=ROUND_HALF_EVEN)):
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            if _volume_fraction(middle) < volume_share:
                low = middle
            else:
                high = middle
        return nearest_fraction((low + high) / 2)


def _volume_fraction(ethanol_fraction: Decimal) -> Decimal:
    with localcontext(Context(prec=_DIGITS, rounding=ROUND_HALF_EVEN)):
        return _polynomial(_A, ethanol_fraction) * ethanol_fraction / PURE_ETHANOL_KG_M3


def _polynomial(coefficients: tuple[Decimal, ...], variable: Decimal) -> Decimal:
    value = Decimal(0)
    for coefficient in reversed(coefficients):
        value = value * variable + coefficient
    return value


def _check_share(share: Decimal, what: str) -> None:
    if not (share.is_finite() and 0 <= share <= 1):
        hint = f" Did you mean {figure(share / 100)}?" if share.is_finite() and 1 < share <= 100 else ""
        raise BeyondAlcoholTables(f"A {what} lies between 0 and 1 (0.96 means 96 %), not {share}.{hint}")
