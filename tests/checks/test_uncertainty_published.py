"""Propagation of uncertainty against worked examples of the EURACHEM/CITAC guide QUAM and an own series.

The guide's examples A1 and A2 are products and quotients, c = m·P/V and the like. A little of something in
much of something else has the fraction m·P/(m + S) ≈ m·P/S, so each factor becomes a weighing: a factor above the
line is a little weighed into a certain large mass, one below the line a large mass that a certain little
goes into. The fraction itself, at most 0.1 % here, is the relative error of the comparison, hence the
tolerance of 0.2 %. Example A3 is no check: the uncertainty it prints does not follow from its own table.
"""

from decimal import Decimal, localcontext

import numpy as np
import pytest

from inventory.calc.contents import mixed
from inventory.calc.uncertainty import Purity, Weighing, budget

D = Decimal
SUBSTANCE, SOLVENT = 1, 2
BOTTLE, SOLVENT_BOTTLE = 1, 2


class Series:
    """Lots made one from another; `unrounded` keeps contents exact where they fall far below 1e-9."""

    def __init__(self, purity="1", u_purity="0"):
        self.weighings = []
        rest = {3: 1 - D(purity)} if D(purity) < 1 else {}
        self.contents = {(BOTTLE, 0): {SUBSTANCE: D(purity)} | rest, (SOLVENT_BOTTLE, 0): {SOLVENT: D(1)}}
        self.purities = [Purity(BOTTLE, SUBSTANCE, D(u_purity))]
        self.last = BOTTLE

    def diluted(self, mass, u_mass, *solvents, unrounded=True):
        """`mass` grams of the last lot with several pours of solvent, each (grams, standard uncertainty)."""
        lot = len(self.contents) + 10
        parts = [(self.last, D(mass), D(u_mass))] + [(SOLVENT_BOTTLE, D(m), D(u)) for m, u in solvents]
        self.weighings += [Weighing(source, 0, lot, m, u) for source, m, u in parts]
        if unrounded:
            with localcontext(prec=60):
                total = sum(m for _, m, _ in parts)
                grams = {}
                for source, m, _ in parts:
                    for material, fraction in self.contents[source, 0].items():
                        grams[material] = grams.get(material, 0) + m * fraction
                self.contents[lot, 0] = {material: g / total for material, g in grams.items()}
        else:
            self.contents[lot, 0] = mixed([(m, self.contents[source, 0]) for source, m, _ in parts])
        self.last = lot
        return self

    def found(self):
        return budget(
            target=self.last, weighings=self.weighings, contents=self.contents, purities=self.purities
        )

    def fraction(self):
        return float(self.contents[self.last, 0][SUBSTANCE])

    def relative(self):
        found = self.found()
        return float(np.linalg.norm(found.effects[:, found.materials.index(SUBSTANCE)])) / self.fraction()


def calibration_standard():
    """QUAM example A1: 100.28 mg (u 0.05 mg) cadmium of purity 0.9999 ± 0.0001, rectangular, in 100 mL.

    u(V) has three parts: calibration 0.1/√6, repeatability 0.02, temperature 0.048497 mL; each stands on one of
    three pours of solvent that together make 100 g.
    """
    solvents = [("40", D("0.1") / D(6).sqrt()), ("40", "0.02"), ("19.89972", "0.048497")]
    return Series("0.9999", D("0.0001") / D(3).sqrt()).diluted("0.10028", "0.00005", *solvents)


def test_quam_a1_calibration_standard():
    # Printed in the guide (seen at measurementuncertainty.org and in the EURACHEM A1 file of metrodata):
    # c = 1002.7 mg/L, u(V) = 0.0664730521840743 mL, u(c) = 0.9 mg/L; unrounded 0.8352 (computed).
    series = calibration_standard()

    assert series.fraction() * 1e6 == pytest.approx(1002.7, abs=0.05)
    assert series.relative() * 1002.69972 == pytest.approx(0.8352, rel=2e-3)


def test_quam_a1_contributions():
    # Contributions to u(c), computed from the guide's table: purity 0.0579, mass 0.49995, volume 0.6665 mg/L.
    found = calibration_standard().found()
    column = found.materials.index(SUBSTANCE)
    effects = {type(s).__name__: [] for s in found.sources}
    for source, effect in zip(found.sources, found.effects[:, column] * 1e6, strict=True):
        effects[type(source).__name__].append(abs(effect))
    mass, *volume = effects["Weighing"]

    assert effects["Purity"][0] == pytest.approx(0.0579, rel=2e-3)
    assert mass == pytest.approx(0.49995, rel=2e-3)
    assert np.linalg.norm(volume) == pytest.approx(0.6665, rel=2e-3)
    assert np.linalg.norm(volume) / 1002.69972 * 100 == pytest.approx(0.0664730521840743, rel=2e-3)


def test_quam_a1_ranks_volume_before_mass_before_purity():
    # By the same contributions; the volume in one piece here.
    series = Series("0.9999", D("0.0001") / D(3).sqrt())
    series.diluted("0.10028", "0.00005", ("99.89972", "0.0664730521840743"))

    first, second, third = series.found().largest({SUBSTANCE})

    assert (first.source.mass, second.source.mass) == (D("99.89972"), D("0.10028"))
    assert isinstance(third.source, Purity)


def test_quam_a2_titre_of_sodium_hydroxide():
    # Guide, example A2 (seen): repeatability 1 (0.0005), 0.3888 g (0.00013), purity 1.0 (0.00029), molar mass
    # 204.2212 g/mol (0.0038), 18.64 mL (0.013): 0.10214 mol/L with u = 0.00010; computed 0.102136 and 9.86e-5.
    series = (
        Series("1", "0.00029")
        .diluted("0.3888", "0.00013", ("999.6112", "0"))
        .diluted("1", "0.0005", ("1999", "0"))
        .diluted("0.01", "0", ("204.2212", "0.0038"))
        .diluted("0.01", "0", ("18.64", "0.013"))
    )

    assert series.relative() * 0.102136 == pytest.approx(9.86e-5, rel=2e-3)
    assert round(series.relative() * 0.10214, 5) == 0.00010


@pytest.mark.parametrize(
    ("steps", "fraction", "u", "relative"),
    [(1, 0.1, 3.697e-5, 3.70e-4), (2, 0.01, 5.228e-6, 5.23e-4), (3, 0.001, 6.403e-7, 6.40e-4)],
)
def test_own_gravimetric_series(steps, fraction, u, relative):
    # Not published; computed with `uncertainties` 3.2.3: 1.000 g + 9.000 g three times over, d = 1 mg, each net
    # mass from two readings, u = d/√6.
    reading = D("0.001") / D(6).sqrt()
    series = Series()
    for _ in range(steps):
        series.diluted("1", reading, ("9", reading), unrounded=False)
    found = series.found()

    assert series.fraction() == fraction
    assert float(found.of_sum({SUBSTANCE})) == pytest.approx(u, rel=2e-4)
    assert found.of_each()[SUBSTANCE] == found.of_each()[SOLVENT]
    assert series.relative() == pytest.approx(relative, rel=2e-3)


def test_own_gravimetric_series_on_a_balance_ten_times_coarser():
    # Not published, computed: d = 10 mg gives the first step a relative uncertainty of 0.370 %.
    reading = D("0.01") / D(6).sqrt()

    assert Series().diluted("1", reading, ("9", reading)).relative() == pytest.approx(3.70e-3, rel=2e-3)
