"""The remake plan: what to make and to buy, how much, when, from what and for whom, for everything wanted until a day.

How it goes: `remake_ways` finds how each item is come by and how deep it lies; `remake_passes` nets the items from the top
down (`remake_netting`, each with lots, receipts, par and lot sizes) until every row's inputs are there on its day; here
the rows found are told in dates and grams. The plan depends on the request alone: the same request, the same plan.

Worked table: 10 g of a 1 % are wanted on day 9; it is made of the 10 % in 0 days and rests 2, the 10 % likewise rests 2; 0.4 g of
the 10 % stand on the shelf, and nothing else.
    day 9   1 %    wanted 10 g            →  make 10 g on day 7
    day 7   10 %   wanted 1 g, there 0.4  →  make 0.6 g on day 5
    day 5   neat   wanted 0.06 g          →  buy, ordered so that it comes on day 5
Rejected: one mixed-integer programme for everything. It would find the fewest makings over all levels at once, but not
within seconds for thousands of recipes, and nobody could be told why a row is as it is.
"""

from batches.calc.remake_passes import Passes
from batches.calc.remake_request import RemakeRequest, check_request
from batches.calc.remake_result import RemakePlan
from batches.calc.remake_telling import told
from batches.calc.remake_ways import find_ways


def plan_remakes(request: RemakeRequest) -> RemakePlan:
    """The plan of a request. Raises `BadRemakeRequest`; what cannot be had is no error but stands in the plan."""
    check_request(request)
    ways = find_ways(request)
    return told(request, ways, Passes(request, ways).run())
