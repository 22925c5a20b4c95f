"""Fills the table of displays: imported where results are to show themselves."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from stackup.decide.allocation import AllocationResult
from stackup.decide.assemble_record import AssembleResult
from stackup.decide.capability_record import CapabilityResult
from stackup.decide.displays import Display, register
from stackup.decide.explain import ExplainResult
from stackup.decide.record import CheckResult
from stackup.decide.review_record import ReviewResult
from stackup.decide.rollers_record import RollersResult
from stackup.report import allocating, assembling, capability, checking, explaining, reviewing, rollers
from stackup.report.html import html_of
from stackup.report.view import Page


def _rich(page: Page) -> Any:
    from stackup.report.terminal import Screen

    return Screen(page)


def _display(page: Callable[[Any], Page]) -> Display:
    return Display(rich=lambda result: _rich(page(result)), html=lambda result: html_of(page(result)))


register(CheckResult, _display(checking.page))
register(ExplainResult, _display(explaining.page))
register(CapabilityResult, _display(capability.page))
register(RollersResult, _display(rollers.page))
register(AllocationResult, _display(allocating.page))
register(AssembleResult, _display(assembling.page))
register(ReviewResult, _display(reviewing.page))
