"""`python -m tests.bench [--size small|full] [--keep] [ROW …]`: fills a studio, measures, and prints the table."""

import os
import sys
from argparse import ArgumentParser, Namespace

from tests.bench.databases import database_of
from tests.bench.filled.size import SIZES


def main() -> None:
    asked = _asked()
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.bench.settings"
    if asked.growth:
        from tests.bench.growth import print_growth

        print_growth(asked.rows, keep=asked.keep, largest=asked.largest)
        return
    size = SIZES[asked.size]
    with database_of(size, keep=asked.keep):
        from tests.bench.families import measured
        from tests.bench.growth import keep_figures

        rows = measured(asked.rows)
        if asked.figures:
            keep_figures(rows, asked.figures)


def _asked() -> Namespace:
    parser = ArgumentParser(
        prog="bash studio/bin/bench", description="Measures the service against its floors."
    )
    parser.add_argument("rows", nargs="*", help="Names of rows, such as P1; all of them when left out.")
    parser.add_argument("--size", choices=SIZES, default="small")
    parser.add_argument("--growth", action="store_true", help="At three sizes, with the exponent that fits.")
    parser.add_argument("--largest", choices=["100k", "1M"], default="1M", help="Where the growth ends.")
    parser.add_argument("--keep", action="store_true", help="Leave the filled database for the next run.")
    parser.add_argument("--figures", metavar="FILE", help="Write what each row took there as well.")
    return parser.parse_args()


if __name__ == "__main__":
    sys.exit(main())
