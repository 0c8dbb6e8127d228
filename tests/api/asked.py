"""What operations are asked for and with, where their description alone would not do: states, bodies, values by name."""

from collections.abc import Mapping
from typing import Any

from tests.conftest import PASSWORD

LONG_AGO = "2020-01-01T00:00:00Z"

PLACES: Mapping[str, str] = {
    "lots_release": "held",
    "batches_reserve": "draft",
    "batches_partial_update": "draft",
    "batches_void": "draft",
    "batches_weigh_plan": "draft",
    "batches_weigh_plan_retrieve": "draft",
    "batches_other_lot": "draft",
    "batches_weighings_create": "reserved",
    "batches_weighings_strike": "weighing",
    "batches_refused_readings_list": "weighing",
    "batches_overpour": "weighing",
    "batches_overpour_retrieve": "weighing",
    "batches_close": "weighed",
    "batches_record_retrieve": "closed",
    "batches_ask_keepers": "unasked",
    "requests_withdraw": "own request",
    "lots_lend": "held elsewhere",
    "batches_sign": "closed",
    "batches_amend": "closed",
    "panels_answers_create": "sat panel",
    "panels_interim": "own panel",
    "panels_end": "own panel",
    "vials_smellings_list": "vial",
    "vials_smellings_create": "vial",
    "blind_sets_reveal": "own set",
}
"""Operations on a thing that must be in a certain state, with the name of one in `World.names`."""

BODIES: Mapping[str, list[dict[str, Any]]] = {
    "bottles_create": [{"purity": "0.98"}, {"strength": None, "solvent": None}],
    "materials_create": [{"cas": "106-24-1"}],
    "materials_partial_update": [{"cas": "106-24-1", "kind": None}],
    "formulas_create": [
        {"lines": [{"parts": "3"}, {"material": "ethanol", "strength": None, "solvent": None}]}
    ],
    "formulas_versions_create": [{"lines": [{"parts": "3"}]}],
    "formulas_versions_update": [{"lines": [{"parts": "3"}]}],
    "batches_create": [
        {"material": None, "solvent": None, "strength": None, "reserve": None, "version": None},
        {"formula": None, "version": None, "solvent_bounds": None, "mass": "1"},
    ],
    "batches_weigh_plan": [
        {"pins": [{"lot": "stock", "mass": None}], "pours": None, "allow": None},
        {"pins": None, "knowingly": True},
    ],
    "batches_reserve": [{"expired": None}],
    "remake_plan_accept": [
        {"rows": [{"key": "plan row", "mass": None}], "digest": "plan digest", "days": 28}
    ],
    "requests_create": [
        {"lot": "maker's lot", "until": None},
        {"lot": "maker's lot", "wish": "loan", "mass": None, "until": "2099-12-31"},
    ],
    "lots_lend": [{"until": "2099-12-31"}],
    "requests_grant": [{"until": None, "tare": None}],
    "labels": [{}, {"sheet": None}],
    "lots_label": [{}, {"sheet": None}],
    "batches_amend": [{}, {"corrections": None}],
    "panels_create": [{"method": "pair", "answers": None}],
    "vials_smellings_create": [{"minutes": None, "at": None}, {"strip": None}],
    "strips_end": [{"at": None}],
    "strips_create": [
        {"blind_set": None, "code": None, "dipped_at": None},
        {"lot": None, "dipped_at": None},
    ],
    "blind_sets_smellings": [{"strip": None}],
}
"""Changes to the bodies drawn: None leaves a field out, the name of a thing in `World.names` is put in place of it."""

VALUES: Mapping[str, Any] = {
    "mass": "1",
    "gross": "60",
    "tare": "10",
    "strength": "0.1",
    "purity": "0.98",
    "cas": "106-24-1",
    "hazards": ["H315"],
    "capacity": "200",
    "readability": "0.001",
    "repeatability": "0.001",
    "linearity": "0.002",
    "verification_interval": "0.01",
    "reference": "100",
    "reading": "100.001",
    "allowed_error": "0.01",
    "tolerance": "0.05",
    "position": 1,
    "level": "0.05",
    "power": "0.8",
    "share": "0.5",
    "triangles": 4,
    "with_version": 1,
    "version": 1,
    "code": "new-code",
    "way": "keep-going",
    "despite_claims": True,
    "confirmed": True,
    "ordering": None,
    "cursor": None,
    "format": None,
    "dry_run": True,
    "least": "0.1",
    "most": "0.9",
    "volume_fraction": None,
    "mass_fraction": "0.9",
    "density_g_ml": "0.9",
    "parts": "2",
    "email": "new@example.org",
    "password": PASSWORD,
    "where": "/title",
}
"""Values by the name of a field, where the example of its schema would not do."""
