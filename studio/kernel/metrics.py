"""What is counted for Prometheus while requests are served, and how it is written out.

With PROMETHEUS_MULTIPROC_DIR in the environment the counts of all processes of a server are kept in that folder and
added up; without it a process tells its own.
"""

import os
from collections.abc import Iterable

from prometheus_client import CollectorRegistry, Counter, Histogram, generate_latest
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.registry import Collector

REQUESTS = Counter("stillroom_requests_total", "Requests answered.", ["method", "route", "status"])
LATENCY = Histogram(
    "stillroom_request_seconds",
    "How long answers took.",
    ["method", "route"],
    buckets=(0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 10),
)


def count_request(*, method: str, route: str, status: int, seconds: float) -> None:
    """Count one request; `route` is the pattern of its address, of which there are few, and never the address."""
    REQUESTS.labels(method, route, str(status)).inc()
    LATENCY.labels(method, route).observe(seconds)


class Gauges(Collector):
    """Figures that are read when they are asked for: name, what it means, and values by one label."""

    def __init__(self, figures: Iterable[tuple[str, str, str, dict[str, float]]]) -> None:
        self.figures = list(figures)

    def collect(self) -> Iterable[Metric]:
        for name, meaning, label, values in self.figures:
            family = GaugeMetricFamily(name, meaning, labels=[label])
            for value_of, value in values.items():
                family.add_metric([value_of], value)
            yield family


def written(gauges: Gauges) -> bytes:
    """Everything in the text form that Prometheus reads."""
    registry = CollectorRegistry()
    if os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
        MultiProcessCollector(registry)  # type: ignore[no-untyped-call]
    else:
        registry.register(REQUESTS)
        registry.register(LATENCY)
    registry.register(gauges)
    return generate_latest(registry)
