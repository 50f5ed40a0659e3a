"""Issued certificates read to their ends: the statement behind the head that the records know."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from pydantic import ValidationError

from asfound.faults import Fault, RecordsRefused
from asfound.records.issued import (
    ISSUED_INCOMPLETE,
    ISSUED_UNREADABLE,
    NEVER_EDIT,
    Head,
    Issued,
    issued_fault,
    whole,
)
from asfound.stated.statement import NotAStatement, Statement, read_statement


def statement_of(issued: Issued) -> Statement:
    """All that a certificate states, read now: keep it where it is needed twice.

    Raises RecordsRefused where it cannot be read.
    """
    content = issued.content
    try:
        statement = read_statement(content)
    except NotAStatement as problem:
        raise RecordsRefused([_behind_the_head(issued, content, problem)]) from None
    if Head.model_validate(statement, from_attributes=True) != issued.head:
        raise RecordsRefused([_twice(issued, "with two values")])
    return statement


def check_issued(certificates: Iterable[Issued]) -> Iterator[Fault]:
    """What reading the heads of certificates leaves out."""
    for one in certificates:
        try:
            statement_of(one)
        except RecordsRefused as refused:
            yield from refused.faults


def _behind_the_head(issued: Issued, content: bytes, problem: NotAStatement) -> Fault:
    """What is wrong with a certificate's file behind its head."""
    stated, fault = whole(issued.path, content)
    if fault is not None:
        return fault
    try:
        if Head.model_validate(stated) != issued.head:
            return _twice(issued, "with two values")
    except ValidationError:
        return _twice(issued, "once without what certificates hold")
    return issued_fault(ISSUED_INCOMPLETE, issued.path, str(problem), NEVER_EDIT, content, *reversed(problem.keys))


def _twice(issued: Issued, how: str) -> Fault:
    return issued_fault(ISSUED_UNREADABLE, issued.path, f"a key stands in it twice, {how}", NEVER_EDIT)
