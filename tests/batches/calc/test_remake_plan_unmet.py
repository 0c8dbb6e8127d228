"""Against an independent linear programme: no demand is left unmet, or late, that could be met without harm to another."""

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings

from batches.calc.remake_plan import plan_remakes
from tests.batches.calc.remake_programme import could_also_be_served
from tests.batches.calc.remake_studios import studios


@settings(max_examples=15, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(studios(pars=False, sizes=False, deepest=3))
def test_nothing_more_could_be_served_in_time_or_at_all(request_):
    request = replace(request_, items=tuple(replace(item, shelf_life_days=None) for item in request_.items))
    plan = plan_remakes(request)
    if not plan.late:
        return
    in_time, at_all = could_also_be_served(request, plan, 45)
    assert in_time == pytest.approx(0, abs=1e-3)
    assert at_all == pytest.approx(0, abs=1e-3)
