"""`python -m tests.bench [ROW …]`: measures and prints the table."""

import sys

from tests.bench.arithmetic import ROWS
from tests.bench.table import print_table

print_table([measure() for name, measure in ROWS.items() if not sys.argv[1:] or name in sys.argv[1:]])
