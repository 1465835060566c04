"""From one standard deviation to a decision.

References
----------
JCGM 100:2008, "Guide to the expression of uncertainty in measurement", 6.2 and 6.3 (from
memory).
"""

from __future__ import annotations

from typing import Final

COVERAGE_FACTOR: Final = 2.0
"""A difference counts as one from so many of its standard deviations: 95 of 100 chance
differences are smaller."""
