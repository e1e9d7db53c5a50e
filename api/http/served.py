"""What the server refuses before the app sees it, said as every other refusal is: as a problem."""

from http import HTTPStatus
from typing import Any

from waitress.channel import HTTPChannel  # type: ignore[import-untyped]
from waitress.task import ErrorTask  # type: ignore[import-untyped]
from werkzeug.exceptions import HTTPException

from api.http.problems import problem_of_http


class ProblemTask(ErrorTask):  # type: ignore[misc]
    """A head that can't be read (400, 431, 501), or a body far beyond what anyone may send (413)."""

    def execute(self) -> None:
        """As waitress's own, which writes plain text."""
        refused = HTTPException()
        refused.code = HTTPStatus(self.request.error.code)
        answer: Any = problem_of_http(refused)
        body: bytes = answer.get_data()
        self.status = f"{answer.status_code} {self.request.error.reason}"
        self.response_headers.append(("Content-Type", answer.content_type))
        self.set_close_on_finish()
        self.content_length = len(body)
        self.write(body)


class Channel(HTTPChannel):  # type: ignore[misc]
    """A connection on which every refusal is a problem."""

    error_task_class = ProblemTask
