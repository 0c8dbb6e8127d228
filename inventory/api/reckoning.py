"""Figures that follow from what is known: volumes and fill, ethanol and water, where an uncertainty comes from."""

from decimal import Decimal

from django.http import HttpResponse
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from inventory.api.references import lot_numbered
from inventory.calc.ethanol_water import density_g_ml, mass_fraction, volume_fraction
from inventory.calc.volume import nearest_density
from inventory.queries.reckoning import certainty_of, volume_of
from inventory.queries.shelf import lots_of
from studio.api.fields import DecimalText, GramsField, NumberField, PlainText, Shape, StrengthField, YesNo
from studio.api.views import Endpoint
from studio.kernel.errors import Faults
from studio.kernel.mass import nearest_fraction


class FillOut(Shape):
    nominal_ml = DecimalText(digits=12, places=3)
    fraction = DecimalText(digits=12, places=4)
    too_full = YesNo()
    sentence = PlainText(longest=500)


class VolumeOut(Shape):
    volume_ml = DecimalText(digits=12, places=3, source="volume.volume_ml")
    density_g_ml = DecimalText(digits=12, places=6, source="volume.density_g_ml")
    sentence = PlainText(longest=500, source="volume.sentence")
    fill = FillOut(allow_null=True)


class SourceOut(Shape):
    words = PlainText(longest=500)
    standard_uncertainty = DecimalText(digits=14, places=12)
    share = DecimalText(digits=10, places=9, help_text="Of the variance.")


class CertaintyOut(Shape):
    lot = NumberField("lot")
    strength = StrengthField(allow_null=True)
    standard_uncertainty = DecimalText(digits=14, places=12)
    relative = DecimalText(digits=18, places=9, allow_null=True)
    sources = SourceOut(many=True)


class EthanolAsk(Shape):
    volume_fraction = DecimalText(
        digits=10, places=9, least=0, most=1, required=False, help_text="“96 % vol” is 0.96."
    )
    mass_fraction = DecimalText(digits=10, places=9, least=0, most=1, required=False)
    temperature_c = DecimalText(digits=6, places=2, least=-20, most=40, required=False)
    mass = GramsField(required=False, help_text="Of the mixture, to have its volume as well.")


class EthanolOut(Shape):
    mass_fraction = DecimalText(digits=10, places=9)
    volume_fraction = DecimalText(digits=10, places=9)
    temperature_c = DecimalText(digits=6, places=2)
    density_g_ml = DecimalText(digits=12, places=6)
    volume_ml = DecimalText(digits=12, places=3, allow_null=True)
    source = PlainText(longest=300)


class LotVolumeView(Endpoint):
    @extend_schema(responses=VolumeOut)
    def get(self, request: Request, number: str) -> HttpResponse:
        """Read the volume of what is on hand at 20 °C, and how full the container is.

        Volumes are added without contraction, and the sentence says so.
        """
        return self.answer(VolumeOut, volume_of(lot_numbered(self.studio, number)))


class LotCertainty(Endpoint):
    @extend_schema(responses=CertaintyOut)
    def get(self, request: Request, number: str) -> HttpResponse:
        """Read where the uncertainty of a lot's strength comes from, through all generations."""
        lot = lots_of(self.studio).get(pk=lot_numbered(self.studio, number).pk)
        return self.answer(CertaintyOut, certainty_of(lot))


class EthanolWater(Endpoint):
    asks = {"GET": EthanolAsk}

    @extend_schema(responses=EthanolOut)
    def get(self, request: Request) -> HttpResponse:
        """Convert % vol and mass fraction of ethanol in water, with the density, by OIML R 22."""
        asked = self.asked
        faults = Faults()
        if ("volume_fraction" in asked) == ("mass_fraction" in asked):
            faults.add("volume_fraction", "Give either volume_fraction or mass_fraction.")
        faults.refuse_if_any()
        by_mass = asked.get("mass_fraction")
        if by_mass is None:
            by_mass = nearest_fraction(mass_fraction(asked["volume_fraction"]))
        temperature = asked.get("temperature_c", Decimal(20))
        density = density_g_ml(ethanol_fraction=by_mass, temperature_c=temperature)
        result = {
            "mass_fraction": by_mass,
            "volume_fraction": nearest_fraction(volume_fraction(by_mass)),
            "temperature_c": temperature,
            "density_g_ml": nearest_density(density),
            "volume_ml": asked["mass"] / density if "mass" in asked else None,
            "source": "OIML R 22 (1975), the general formula; % vol at 20 °C",
        }
        return self.answer(EthanolOut, result)
