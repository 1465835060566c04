"""What readings say of a room, in words: the fit, its limits, and when nothing is advised."""

from __future__ import annotations

import math

from analysis.placement.band_levels import CENTRES_HZ
from analysis.placement.choice import Placement
from analysis.placement.fit.parameters import NAMES, ROLL_OFF_HZ
from analysis.placement.fit.room_fit import TRUSTED_DB, RoomFit
from analysis.report import format as fmt
from analysis.report.placement.choice import choice_table

_PARAMETER_WORDS = {
    "length_scale": "the length",
    "width_scale": "the width",
    "height_scale": "the height",
    "front_and_rear_loss": "the losses of front and rear walls",
    "side_loss": "the losses of side walls",
    "floor_loss": "the floor's losses",
    "ceiling_loss": "the ceiling's losses",
    "loss_slope": "how losses change with frequency",
    "gain_db": "the gain",
    "tilt_db_per_octave": "the loudspeakers' tilt",
    "roll_off": "the loudspeakers' lower end",
}


def fit_choice_lines(placement: Placement, *, current: tuple[float, float, float]) -> list[str]:
    """Return the choices by the fit as a table, and why nothing is advised by them.

    Parameters
    ----------
    placement : Placement
        After the fit.
    current : tuple of float
        Front distance, half spread and seat of today, in metres.
    """
    text = (
        "The advice above is the room file's alone. Beside it the choices after the fit to the "
        "readings, to compare: move nothing by them. In rooms with details that no file holds "
        "(furniture, doors, walls that ring) the file's advice was as good or better."
    )
    return [*fmt.wrapped(text), "", *choice_table(placement, current)]


def fit_lines(fit: RoomFit) -> list[str]:
    """Return what the readings changed, and what they couldn't decide."""
    lines = fmt.wrapped(_error_sentence(fit))
    if fit.kept:
        lines += fmt.wrapped("Fitted: " + _parameter_list(fit), hanging=2)
    undecided = [_PARAMETER_WORDS[name] for name in fit.undecided]
    if undecided:
        lines += fmt.wrapped("The data couldn't decide: " + ", ".join(undecided) + ".", hanging=2)
    if fit.inseparable:
        pairs = "; ".join(
            f"{_PARAMETER_WORDS[one]} and {_PARAMETER_WORDS[other]}"
            for one, other in fit.inseparable
        )
        text = f"Known only together, each alone is a guess: {pairs}."
        lines += fmt.wrapped(text, hanging=2)
    doubtful = CENTRES_HZ[fit.trusted == 0]
    if doubtful.size:
        bands = ", ".join(f"{at_hz:.0f}" for at_hz in doubtful)
        text = (
            f"Prediction and measurement part at {bands} Hz: no choice by the fit rests on these "
            "bands, and the file's advice in them is doubtful."
        )
        lines += fmt.wrapped(text, hanging=2)
    return lines


def no_advice_lines(fit: RoomFit) -> list[str]:
    """Return why there is no advice, and what to look at."""
    n_doubtful = int((fit.trusted == 0).sum())
    return fmt.wrapped(
        f"No place is advised: in {n_doubtful} of {CENTRES_HZ.size} bands the readings and this "
        f"room part by more than {TRUSTED_DB:g} dB, so a prediction would be worth nothing. Look "
        "whether each reading stands at the place where it was made, whether loudspeakers and "
        "microphone stood where the file says, and whether the room file has this room's sides "
        "and corners; then run this again."
    )


def _error_sentence(fit: RoomFit) -> str:
    """Return the errors before and after, and which room is kept."""
    text = (
        f"{fit.n_readings} reading{'s' if fit.n_readings > 1 else ''}: the unfitted room is off "
        f"by {fmt.db(fit.before_db)} rms, the fitted one by {fmt.db(fit.after_db)}"
    )
    if fit.left_out_db is None or fit.left_out_before_db is None:
        return text + "; with one reading nothing can be foretold, so the unfitted room is kept."
    return (
        text
        + (
            f"; a reading left out is foretold to {fmt.db(fit.left_out_db)} "
            f"(unfitted {fmt.db(fit.left_out_before_db)}), so the "
            f"{'fit' if fit.kept else 'unfitted room'} is kept."
        )
        + (" The timing between left and right was fitted too." if fit.timing else "")
    )


def _parameter_list(fit: RoomFit) -> str:
    """Return the fitted parameters with their uncertainties."""
    value, std = (
        dict(zip(NAMES, fit.offsets, strict=True)),
        dict(zip(NAMES, fit.offsets_std, strict=True)),
    )
    parts = [
        f"{_PARAMETER_WORDS[name]} {fmt.number(100 * value[name], places=1, sign=True)} ± "
        f"{100 * std[name]:.1f} %"
        for name in ("length_scale", "width_scale", "height_scale")
    ]
    parts += [
        f"{_PARAMETER_WORDS[name]} × {math.exp(value[name]):.2f} (within a factor of "
        f"{math.exp(std[name]):.2f})"
        for name in ("front_and_rear_loss", "side_loss", "floor_loss", "ceiling_loss")
    ]
    end_hz = ROLL_OFF_HZ * math.exp(value["roll_off"])
    parts.append(f"{_PARAMETER_WORDS['roll_off']} {end_hz:.0f} ± {end_hz * std['roll_off']:.0f} Hz")
    return ", ".join(parts) + "."
