"""A comparison of two readings as JSON knows it."""

from __future__ import annotations

from pathlib import Path

from analysis.bass.features import Feature
from analysis.comparison.compare import Comparison, ValueChange
from analysis.comparison.feature_changes import FeatureChange
from measure.files.output import JsonObject


def comparison_document(comparison: Comparison, *, before: Path, after: Path) -> JsonObject:
    """Return a comparison of two readings as JSON knows it."""
    return {
        "schema": 1,
        "command": "compare",
        "before": before.name,
        "after": after.name,
        "moved": comparison.move.moved,
        "moved_is_told": comparison.move_is_given,
        "moved_contradicted_by": comparison.contradiction and comparison.contradiction[1],
        "gain": {
            "change_db": comparison.gain.gain_db,
            "std_db": comparison.gain.std_db,
            "changed": comparison.gain.changed,
        },
        "arrival": _value(comparison.arrival, "mm", 1e3),
        "level": _value(comparison.direct, "db", 1.0),
        "seat_level": _value(comparison.seat, "db", 1.0),
        "features": [_change(change) for change in comparison.features],
    }


def _value(change: ValueChange | None, unit: str, scale: float) -> JsonObject | None:
    """Return a number before and after."""
    if change is None:
        return None
    return {
        f"before_{unit}": change.before * scale,
        f"after_{unit}": change.after * scale,
        f"change_{unit}": change.change * scale,
        f"std_{unit}": change.std * scale,
        f"counted_std_{unit}": change.counted_std * scale,
        "beyond_uncertainty": change.beyond_uncertainty,
    }


def _change(change: FeatureChange) -> JsonObject:
    """Return one feature before and after."""
    return {
        "curve": change.curve,
        "kind": change.kind,
        "changes": list(change.changes),
        "before": _feature(change.before),
        "after": _feature(change.after),
        "frequency_change_hz": change.frequency_change_hz,
        "frequency_std_hz": change.frequency_std_hz,
        "level_change_db": change.level_change_db,
        "level_std_db": change.level_std_db,
        "evidence": change.evidence,
    }


def _feature(feature: Feature | None) -> JsonObject | None:
    """Return the gist of a feature."""
    if feature is None:
        return None
    return {
        "frequency_hz": feature.frequency_hz,
        "level_db": feature.level_db,
        "prominence_db": feature.prominence_db,
    }
