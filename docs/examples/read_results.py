"""Read one run's results back and work on them: greatest pull, grip while slipping, what moved when.

    python docs/examples/read_results.py outputs/flat-match

Tables are pandas data frames whose columns and types docs/tables.md lists; missing numbers are NaN, missing words "".
Times are match time, SI units throughout, `u_` a standard uncertainty (k = 1).
"""

import sys

import matchvision


def main(folder: str) -> None:
    """Print a few numbers of the results in a folder."""
    results = matchvision.open_result(folder)

    # The whole answer in brief: what result.json holds, as a typed object.
    verdict = results.brief.verdict
    print(verdict.sentence)
    if verdict.margin_m is not None and verdict.u_margin_m is not None:
        print(f"margin {1000 * verdict.margin_m:.1f} mm, 95 % interval ± {1960 * verdict.u_margin_m:.1f} mm")

    # One row a picture and source: the pull while the clock ran.
    during = results.pull[results.pull["t_s"].between(0, results.brief.clock.duration_s)]
    for source, rows in during.dropna(subset=["tension_N"]).groupby("source"):
        greatest = rows.nlargest(1, "tension_N").iloc[0]
        print(
            f"greatest pull by {source}: {greatest.tension_N:.2f} N ± {1.96 * greatest.u_tension_N:.2f} N "
            f"at {greatest.t_s:.2f} s"
        )

    # One row a picture and machine: how far each one went, and its mean speed.
    for machine, rows in results.motion.dropna(subset=["x_m"]).groupby("machine"):
        run = rows[rows["t_s"].between(0, results.brief.clock.duration_s)]
        if len(run) > 1:
            way_m, time_s = run["x_m"].iloc[-1] - run["x_m"].iloc[0], run["t_s"].iloc[-1] - run["t_s"].iloc[0]
            print(f"{machine} went {1000 * way_m:+.0f} mm along x, on average {1000 * way_m / time_s:+.0f} mm/s")

    # What happened, dated, with its evidence.
    for event in results.events.to_dict("records"):
        print(f"{event['start_s']:6.2f} s  {event['machine'] or 'rope'}: {event['kind']} ({event['evidence']})")


if __name__ == "__main__":
    main(sys.argv[1])
