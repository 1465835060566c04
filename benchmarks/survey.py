"""How honest, how watchful and how fast the survey is, on invented rooms.

    python -m benchmarks.survey [N]

prints, for N random rooms (by default 2000, a quarter for each kit), how often the true value
of each derived quantity lies within two stated sigmas; how often a clean survey is blamed; how
often a blunder of six of its own sigmas is found and rightly named; and the time of a survey of
some 60 observations and its growth, against scipy's dense least_squares with a numerical Jacobian.
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy import optimize, sparse

from analysis.survey.adjustment.blunders import ALIKE, search_blunders
from analysis.survey.adjustment.least_squares import (
    adjust,
    residual_correlation,
    solve_unknowns,
)
from analysis.survey.adjustment.network import (
    Network,
    NetworkObservation,
    build_network,
    fitted_values,
    linearise,
)
from analysis.survey.adjustment.survey_network import build_survey_network
from analysis.survey.propagation import Estimate, propagate
from analysis.survey.solution import Solution, solve_survey
from analysis.survey.survey import CentreLine, Survey
from analysis.survey.triangle import triangle_quantities
from analysis.survey.walls import SurveyWalls, survey_walls
from benchmarks.survey_rooms import KITS, noisy, random_places, survey_of

SEED = 2026
LEAST_REDUNDANCY = 0.2
SIZES = (60, 125, 250, 500, 1000)
GENERAL_SIZES = (60, 250)


def truth_and_survey(code: int, kit: str, seed: int) -> tuple[Solution, Survey]:
    """Return a room solved without noise, and its survey with noise.

    Every other room has the line of points equally far from the rack's ends as its centre
    line, so that the head stands beside it.
    """
    rng = np.random.default_rng([SEED, code, seed])
    clean = survey_of(random_places(rng), kit)
    if seed % 2:
        clean = replace(clean, line=CentreLine(start=clean.line.start, ahead=None))
    return solve_survey(clean), noisy(clean, rng)


def wall_estimates(walls: SurveyWalls) -> dict[str, Estimate]:
    """Return all quantities of walls by name."""
    found = {}
    for name, many in (*walls.cabinets.items(), ("head", walls.head)):
        for one in many:
            found[f"{name} to {one.wall} wall"] = one.reference_m
            if one.gap_m is not None:
                found[f"{name} gap to {one.wall} wall"] = one.gap_m
    for shape in walls.shapes:
        found[f"skew of {shape.wall} wall"] = shape.skew_rad
        if shape.bend_m is not None:
            found[f"bend of {shape.wall} wall at {shape.bend_mark}"] = shape.bend_m
    for pair, off in walls.corners_rad.items():
        found["corner {} {}".format(*pair)] = off
    return found


def estimates(solution: Solution) -> dict[str, Estimate]:
    """Return all derived quantities of a solved survey by name."""
    node = solution.survey_network.node
    found = propagate(solution.adjusted, lambda places: triangle_quantities(places, node))
    return found | wall_estimates(survey_walls(solution))


def coverage(n_rooms: int) -> None:
    """Print how often the truth lies within two sigmas, and how often clean surveys are blamed."""
    inside: dict[str, list[bool]] = {}
    blamed = dict.fromkeys(KITS, 0)
    astray = 0
    each = n_rooms // len(KITS)
    for code, kit in enumerate(KITS):
        for seed in range(each):
            truth, survey = truth_and_survey(code, kit, seed)
            solution = solve_survey(survey)
            blamed[kit] += bool(solution.blunders)
            away = solution.adjusted.positions_m - truth.adjusted.positions_m
            node = solution.survey_network.node
            points = [k for name, k in node.items() if " wall " not in name]
            astray += bool(np.linalg.norm(away, axis=1)[points].max() > 0.05)
            true = estimates(truth)
            for name, one in estimates(solution).items():
                value, std = one.value_and_std
                if std > 0 and name in true:
                    inside.setdefault(name, []).append(
                        abs(value - true[name].value_and_std[0]) < 2 * std
                    )
    print(f"{each * len(KITS)} rooms, {astray} of them with a point more than 50 mm astray\n")
    print(f"{'quantity':<28}{'within two sigmas':>18}")
    for name, hits in inside.items():
        share = float(np.mean(hits)) * 100
        few = len(hits) < n_rooms / 8
        mark = "" if 93.5 <= share <= 97.5 else f"   outside, of {len(hits)}"
        if not few:
            print(f"{name:<28}{share:>16.1f} %{mark}")
    print(
        "\nclean surveys blamed: "
        + ", ".join(f"{kit} {100 * count / each:.1f} %" for kit, count in blamed.items())
    )


def watchfulness(n_rooms: int) -> None:
    """Print how often a blunder of six sigmas over the root of its redundancy is found."""
    for code, kit in enumerate(KITS):
        found = named = named_among = alone = n_blunders = 0
        for seed in range(n_rooms // len(KITS)):
            rng = np.random.default_rng([SEED + 1, code, seed])
            survey = survey_of(random_places(rng), kit)
            survey_network = build_survey_network(survey)
            clean = solve_survey(survey).adjusted
            checked = np.flatnonzero(clean.redundancy >= LEAST_REDUNDANCY)
            if not checked.size:
                continue
            row = int(rng.choice(checked))
            size = 6 * clean.network.std[row] / np.sqrt(clean.redundancy[row])
            off = float(rng.choice([-1, 1]) * size)
            solution = solve_survey(noisy(survey, rng, wrong=(row, off)))
            blunders = solution.blunders
            n_blunders += 1
            found += bool(blunders)
            correlation = np.abs(residual_correlation(clean, row))
            correlation[row] = 0
            hit = any(one.row == row for one in blunders)
            among = any(row in (one.row, *one.alternatives) for one in blunders)
            named_among += among
            if correlation.max() <= ALIKE:
                alone += 1
                named += hit
            assert (
                survey_network.observations[row].label
                == solution.survey_network.observations[row].label
            )
        single = f"{100 * named / alone:.1f} % of {alone}" if alone else "none stands alone"
        print(
            f"{kit:<8} {n_blunders} blunders: found {100 * found / n_blunders:.1f} %, named among "
            f"those that may be wrong {100 * named_among / n_blunders:.1f} %; where no other "
            f"residual is alike, named itself {single}"
        )


def strip(n_observations: int, seed: int) -> tuple[Network, np.ndarray]:
    """Return a long strip of points, each measured from the three before it."""
    rng = np.random.default_rng(seed)
    n_points = n_observations // 3 + 2
    places = np.array([[0.8 * k + rng.uniform(-0.1, 0.1), 1.2 * (k % 2)] for k in range(n_points)])
    entries = [(3 * k + axis, 2 * (k - 2) + axis) for k in range(2, n_points) for axis in (0, 1)]
    rows, columns = zip(*entries, strict=True)
    shape = (3 * n_points, 2 * (n_points - 2))
    constant = np.zeros((n_points, 3))
    constant[:2, :2] = places[:2]
    pairs = [(a, b) for b in range(2, n_points) for a in range(max(b - 3, 0), b)][:n_observations]
    observations = [
        NetworkObservation(
            kind="distance",
            nodes=pair,
            value=float(np.linalg.norm(places[pair[0]] - places[pair[1]]) + rng.normal(0, 1e-3)),
            std=1e-3,
        )
        for pair in pairs
    ]
    node_map = sparse.csr_array((np.ones(len(rows)), (rows, columns)), shape=shape)
    start = (places[2:] + rng.normal(0, 0.02, (n_points - 2, 2))).ravel()
    return build_network(node_map, constant.ravel(), observations), start


def dense_scipy(network: Network, start: np.ndarray) -> np.ndarray:
    """Return the unknowns by a plain call of scipy."""

    def misfit(unknowns: np.ndarray) -> np.ndarray:
        return (fitted_values(network, network.positions(unknowns)) - network.value) / network.std

    return np.asarray(optimize.least_squares(misfit, start, xtol=1e-12).x)


def median_s(run: Callable[[], object], n_times: int) -> float:
    """Return the median time of a call."""
    times = []
    for _ in range(n_times):
        began = time.perf_counter()
        run()
        times.append(time.perf_counter() - began)
    return statistics.median(times)


def speed() -> None:
    """Print the time of a whole survey, and the growth of the adjustment with its search."""
    survey = noisy(
        survey_of(random_places(np.random.default_rng(1)), "both"), np.random.default_rng(1)
    )
    n_observations = len(build_survey_network(survey).observations)
    solve_survey(survey)
    whole_s = median_s(lambda: solve_survey(survey), 21)
    least_s = min(median_s(lambda: solve_survey(survey), 1) for _ in range(21))
    print(
        f"a survey of {n_observations} readings, start, adjustment and blunder search: median "
        f"{1e3 * whole_s:.0f} ms, least {1e3 * least_s:.0f} ms"
    )
    print(f"\n{'readings':>9}{'unknowns':>10}{'ours':>10}{'dense scipy':>13}{'ratio':>8}")
    first: tuple[int, float] | None = None
    for n in SIZES:
        network, start = strip(n, 1)
        ours_s = median_s(lambda: search_blunders(network, start), 5)  # noqa: B023
        dense_s = median_s(lambda: dense_scipy(network, start), 1)  # noqa: B023
        apart = np.abs(dense_scipy(network, start) - adjust(network, start).unknowns).max()
        assert apart < 1e-3, apart  # scipy stops at its default tolerances
        print(
            f"{n:>9}{network.n_unknowns:>10}{1e3 * ours_s:>8.1f}ms{1e3 * dense_s:>11.1f}ms"
            f"{dense_s / ours_s:>8.0f}"
        )
        first = first or (n, ours_s)
        last = (n, ours_s)
    power = np.log(last[1] / first[1]) / np.log(last[0] / first[0])
    print(f"growth with the number of readings to the power {power:.2f}")


def scipy_solver(network: Network, start: np.ndarray, method: str) -> Callable[[], np.ndarray]:
    """Return a run of one of scipy's solvers to its smallest tolerances, with our derivatives."""

    def misfit(unknowns: np.ndarray) -> np.ndarray:
        return (fitted_values(network, network.positions(unknowns)) - network.value) / network.std

    def slopes(unknowns: np.ndarray) -> np.ndarray:
        _, jacobian = linearise(network, network.positions(unknowns))
        dense = jacobian if isinstance(jacobian, np.ndarray) else jacobian.toarray()
        return dense / network.std[:, None]

    return lambda: np.asarray(
        optimize.least_squares(
            misfit, start, slopes, method=method, xtol=3e-16, ftol=3e-16, gtol=3e-16
        ).x
    )


def general_solvers() -> None:
    """Print what scipy's solvers find and take beside ours, on strips of points."""
    print(f"\n{'solver':<8}{'readings':>9}{'apart, um':>12}{'times as long':>15}")
    for method in ("lm", "trf", "dogbox"):
        for n in GENERAL_SIZES:
            network, start = strip(n, 1)
            run = scipy_solver(network, start, method)
            ours, _, _ = solve_unknowns(network, start)
            apart_m = float(np.abs(run() - ours).max())
            ratio = median_s(run, 3) / median_s(lambda: solve_unknowns(network, start), 5)  # noqa: B023
            print(f"{method:<8}{n:>9}{1e6 * apart_m:>12.4f}{ratio:>15.1f}")


def main() -> None:
    """Print all of it."""
    n_rooms = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    speed()
    general_solvers()
    print()
    coverage(n_rooms)
    print()
    watchfulness(n_rooms)


if __name__ == "__main__":
    main()
