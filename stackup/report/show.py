"""Fills the table of displays: imported where results are to show themselves."""

from __future__ import annotations

from typing import Any

from stackup.decide.displays import Display, register
from stackup.decide.explain import ExplainResult
from stackup.decide.record import CheckResult
from stackup.report import checking, explaining
from stackup.report.html import html_of
from stackup.report.view import Page


def _rich(page: Page) -> Any:
    from stackup.report.terminal import Screen

    return Screen(page)


for _type, _page in ((CheckResult, checking.page), (ExplainResult, explaining.page)):
    register(
        _type,
        Display(
            rich=lambda result, page=_page: _rich(page(result)),
            html=lambda result, page=_page: html_of(page(result)),
        ),
    )
