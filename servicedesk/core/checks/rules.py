"""Which published quantities are known, and what computes each: all rules, by topic."""

from servicedesk.core.checks import Rule, metrology, series, stock, waters, wet

RULES: list[Rule] = [*wet.RULES, *waters.RULES, *metrology.RULES, *stock.RULES, *series.RULES]
