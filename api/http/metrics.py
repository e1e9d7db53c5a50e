"""Numbers for whoever watches over the server, in Prometheus' text format; by setting alone."""

from collections.abc import Iterator

from flask import Response
from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, Counter, Histogram, generate_latest
from prometheus_client.core import GaugeMetricFamily

from api.http.access import open_to_all, the_books
from api.http.published import Blueprint, answers
from api.http.watched import Answered
from settle.books.totals import totals


class Metrics:
    """Counts what one process answered; what stands in the books is read when it is asked for."""

    def __init__(self) -> None:
        self._registry = CollectorRegistry()
        of, to = ("method", "route"), self._registry
        self._requests = Counter("settle_requests", "Requests answered", (*of, "status"), registry=to)
        self._durations = Histogram("settle_request_duration_seconds", "Time to answer", of, registry=to)
        to.register(self)

    def count(self, answered: Answered) -> None:
        self._requests.labels(answered.method, answered.route, answered.status).inc()
        self._durations.labels(answered.method, answered.route).observe(answered.duration_s)

    def collect(self) -> Iterator[GaugeMetricFamily]:
        """What stands in the books."""
        with the_books().reading() as work:
            found = totals(work)
        for name, (about, value) in found.items():
            yield GaugeMetricFamily(f"settle_{name}", about, value=value)

    def blueprint(self) -> Blueprint:
        """Where they are shown: /metrics."""
        blp = Blueprint("metrics", __name__, description="Watching over it")

        @blp.route("/metrics")
        @open_to_all
        @answers(200, media="text/plain")
        def metrics() -> Response:
            """What was answered since the process began, and what stands in the books."""
            return Response(generate_latest(self._registry), content_type=CONTENT_TYPE_LATEST)

        return blp
