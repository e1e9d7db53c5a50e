"""The books as they are asked: accounts, position, months, counts, register, photographs, erasure."""

from typing import Any

from flask import Response

from api.http.access import scope
from api.http.body import body
from api.http.conditional import etag, tagged
from api.http.idempotency import keeps, reads, the_work
from api.http.paging import page_answer, paged
from api.http.picture import picture_body
from api.http.published import Blueprint, answers
from api.http.query import query, span, wanted
from api.http.representations import is_for_paper, on_paper
from api.schemas.answers_books import (
    AccountAnswer,
    CashCountAnswer,
    CashCountsAnswer,
    MoneyMoveAnswer,
    MoneyMovesAnswer,
    PeriodAnswer,
    PeriodsAnswer,
    PositionAnswer,
    RegisterAnswer,
    StockCountAnswer,
    StockCountsAnswer,
    TrialBalanceAnswer,
)
from api.schemas.answers_counter import ClientAnswer
from api.schemas.answers_papers import PhotographAnswer, PhotographsAnswer
from api.schemas.ledger import CashCountSchema, MoneyMoveSchema, StockCountSchema
from api.schemas.queries import PositionQuery, RegisterQuery, SpanQuery
from settle.books import (
    accounts,
    counts,
    erasure,
    journal,
    money_moves,
    periods,
    photographs,
    position,
    register,
    trial_balance,
)
from settle.books.listing import Page
from settle.books.photographs import Picture
from settle.reckoning.problems import Faults

blp = Blueprint("ledger", __name__, url_prefix="/v1", description="Accounts, position, counts, register")
Body = dict[str, Any]


@blp.route("/clients/<client>/account")
@scope("read")
@query(SpanQuery)
@reads
@paged
@answers(200, AccountAnswer)
@on_paper("account")
def show_account(page: Page, asked: Body, client: str) -> Any:
    """A client's metal and money over a period: opening, movements, closing. What is his is positive.

    As a PDF the period comes whole; JSON comes a page of movements at a time.
    """
    if is_for_paper():
        return accounts.whole(the_work(), client, span(asked))
    found, listed = accounts.of_client(the_work(), client, span(asked), page)
    _, headers = page_answer(found["movements"], listed.next_after)
    return found, headers


@blp.route("/clients/<client>/erasure", methods=["POST"])
@scope("owner")
@keeps()
@answers(201, ClientAnswer)
def erase_client(client: str) -> Any:
    """Erase what is kept of a person; refused while a balance is open, retention or a freeze runs."""
    return tagged(erasure.erase(the_work(), client))


@blp.route("/position")
@scope("read")
@query(PositionQuery)
@reads
@answers(200, PositionAnswer)
def show_position(asked: Body) -> Any:
    """What the house holds, has in process, has lent and owes, priced, as at any moment that has been."""
    work = the_work()
    now = journal.now(work)
    return position.as_at(work, periods.moment(work, asked["as_at"], now) if "as_at" in asked else now)


@blp.route("/trial-balance")
@scope("read")
@query(SpanQuery)
@reads
@answers(200, TrialBalanceAnswer)
def show_trial_balance(asked: Body) -> Any:
    """What every place of the books held over a period: charges by kind, tax by code, till, stock (J4)."""
    return trial_balance.over(the_work(), span(asked))


@blp.route("/periods")
@scope("read")
@reads
@paged
@answers(200, PeriodsAnswer)
def list_periods(page: Page) -> Any:
    """The months that are locked, last locked first."""
    found, listed = periods.listed(the_work(), page)
    return page_answer(found, listed.next_after)


@blp.route("/periods/<month>/lock", methods=["POST"])
@scope("owner")
@keeps()
@answers(201, PeriodAnswer)
def lock_period(month: str) -> Any:
    """Lock a month that is over: it takes no entry, corrections fall in the open one (J4)."""
    return periods.lock(the_work(), month)


@blp.route("/stock-counts", methods=["POST"])
@scope("owner")
@keeps()
@body(StockCountSchema)
@answers(201, StockCountAnswer)
def count_stock(data: Body, faults: Faults) -> Any:
    """Count metal against the books; with `book` and a reason its difference is booked."""
    return counts.stock(the_work(), data, faults)


@blp.route("/stock-counts")
@scope("read")
@query(SpanQuery)
@reads
@paged
@answers(200, StockCountsAnswer)
def list_stock_counts(page: Page, asked: Body) -> Any:
    """The counts of metal and bars, newest first, each against what the books said then."""
    found, listed = counts.listed(the_work(), counts.STOCK_COUNT, page, span(asked))
    return page_answer(found, listed.next_after)


@blp.route("/cash-counts", methods=["POST"])
@scope("owner")
@keeps()
@body(CashCountSchema)
@answers(201, CashCountAnswer)
def count_cash(data: Body, faults: Faults) -> Any:
    """Count the till against the books; with `book` and a reason its difference is booked."""
    return counts.cash(the_work(), data, faults)


@blp.route("/cash-counts")
@scope("read")
@query(SpanQuery)
@reads
@paged
@answers(200, CashCountsAnswer)
def list_cash_counts(page: Page, asked: Body) -> Any:
    """The counts of the till, newest first, each against what the books said then."""
    found, listed = counts.listed(the_work(), counts.CASH_COUNT, page, span(asked))
    return page_answer(found, listed.next_after)


@blp.route("/money-moves", methods=["POST"])
@scope("owner")
@keeps()
@body(MoneyMoveSchema)
@answers(201, MoneyMoveAnswer)
def move_money(data: Body, faults: Faults) -> Any:
    """Move money that answers for no metal: a float, takings banked, tax paid, what the owner takes."""
    return money_moves.enter(the_work(), data, faults)


@blp.route("/money-moves")
@scope("read")
@query(SpanQuery)
@reads
@paged
@answers(200, MoneyMovesAnswer)
def list_money_moves(page: Page, asked: Body) -> Any:
    """The moves of money that answers for no metal, corrected ones too, newest first."""
    found, listed = money_moves.listed(the_work(), page, span(asked))
    return page_answer(found, listed.next_after)


@blp.route("/register")
@scope("read")
@query(RegisterQuery)
@reads
@paged
@answers(200, RegisterAnswer)
def show_register(page: Page, asked: Body) -> Any:
    """Every lot and purchase: who brought it, when, marks as stamped, paid how, melted when, which bars."""
    found, listed = register.listed(the_work(), page, wanted(asked), asked.get("stamped"))
    return page_answer(found, listed.next_after)


@blp.route("/lots/<number>/photographs", methods=["POST"])
@scope("quote")
@picture_body
@keeps()
@answers(201, PhotographAnswer)
def add_photograph(picture: Picture, number: str) -> Any:
    """Keep a photograph of what was brought: a JPEG or PNG, of which the picture alone is kept."""
    found = photographs.add(the_work(), number, picture)
    return found, {"Location": found["href"]}


@blp.route("/lots/<number>/photographs")
@scope("quote", "work")
@reads
@paged
@answers(200, PhotographsAnswer)
def list_photographs(page: Page, number: str) -> Any:
    """The photographs of a lot, newest first."""
    found, listed = photographs.listed(the_work(), number, page)
    return page_answer(found, listed.next_after)


@blp.route("/lots/<number>/photographs/<name>")
@scope("quote", "work")
@reads
@answers(200, media="image/png")
@answers(200, media="image/jpeg")
def show_photograph(number: str, name: str) -> Any:
    """One photograph as it is kept; its ETag is its SHA-256."""
    found = photographs.picture(the_work(), number, name)
    return Response(found.content, 200, {"ETag": etag(found.hash)}, content_type=found.media_type)
