"""Judgement and advice: one rule program per tank and day, compiled here, evaluated here and on the tablet."""

from servicedesk.core.advice.compile import compile_sheet
from servicedesk.core.advice.judge import Judgement, Line, Verdict, judge, say, word_of
from servicedesk.core.advice.sheet import BandSpec, Product, TankSheet

__all__ = [
    "BandSpec",
    "Judgement",
    "Line",
    "Product",
    "TankSheet",
    "Verdict",
    "compile_sheet",
    "judge",
    "say",
    "word_of",
]
