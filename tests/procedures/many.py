"""Figures over many random machines: `python -m tests.procedures.many --count 200`.

Each machine is commissioned in virtual time, then moved and jogged; the plant's truth judges.
"""

from __future__ import annotations

import argparse
import multiprocessing
from collections import Counter
from functools import partial

from .judge import Verdict, judge


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1, help="the first machine's seed")
    parser.add_argument("--correlated", type=float, default=0.0, help="share of noise power")
    parser.add_argument("--coast", action="store_true", help="a driver that cannot brake")
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    work = partial(judge, correlated=args.correlated, coast=args.coast)
    seeds = range(args.seed, args.seed + args.count)
    with multiprocessing.Pool(args.jobs) as pool:
        seen = []
        for verdict in pool.imap_unordered(work, seeds):
            seen.append(verdict)
            if trouble := troubles(verdict):
                print(f"  seed {verdict.seed}: {trouble}", flush=True)
        pool.close()
        pool.join()
    driver = "coasting" if args.coast else "braking"
    print(f"{args.count} machines from seed {args.seed}, {driver} driver, "
          f"{100 * args.correlated:.0f} % of the noise power correlated")  # fmt: skip
    for line in figures(seen):
        print(line)


def troubles(v: Verdict) -> str:
    """What a machine did not keep, in one line; empty when it kept all."""
    if v.failed:
        return v.failed
    found = []
    if not v.polarity_right:
        found.append("polarity wrong")
    found += [f"end {kind}" for kind in v.ends if kind in ("wrong", "unknown though clear")]
    if v.endpoint_error > 0.005:
        found.append(f"endpoint off by {100 * v.endpoint_error:.2f} % of {v.stroke_mm} mm")
    if v.beyond:
        found.append(f"soft stop passed by {v.past_mm:.2f} mm, {v.allowed_mm:.2f} allowed")
    if v.rest_error > 1.0:
        found.append(f"rest off by {v.rest_error:.2f} times what is allowed")
    if v.times and max(v.times) > 1.10:
        found.append(f"a move took {max(v.times):.3f} times the least time")
    return "; ".join(found + [f"trip: {trip}" for trip in v.trips])


def figures(seen: list[Verdict]) -> list[str]:
    """The summary, line by line."""
    good = [v for v in seen if not v.failed]
    ends = Counter(kind for v in good for kind in v.ends)
    times = [t for v in good for t in v.times]
    stalls = sorted(abs(v.stall_error) for v in good if v.stall_error is not None)
    middle = 100 * stalls[len(stalls) // 2] if stalls else 0.0
    count = max(1, len(good))
    return [
        f"commissioned            {len(good)} of {len(seen)}",
        f"polarity right          {sum(v.polarity_right for v in good)}",
        f"kinds of end            {dict(ends)}",
        f"endpoints, worst        {100 * max(v.endpoint_error for v in good):.3f} % of stroke",
        f"soft stop passed        {sum(v.beyond for v in good)} machines beyond what is allowed"
        f" ({100 * sum(v.beyond for v in good) / count:.1f} %), worst "
        f"{max(v.past_mm for v in good):.2f} mm",
        f"rests, worst            {max(v.rest_error for v in good):.2f} of what is allowed, "
        f"{sum(v.moves for v in good)} moves",
        f"guards tripped          {sum(len(v.trips) for v in good)}",
        f"time of moves           worst {max(times):.3f}, mean {sum(times) / len(times):.3f} of the"
        f" least, {sum(t > 1.1 for t in times)} of {len(times)} beyond 1.10",
        f"stall estimate          known for {len(stalls)}, off by {middle:.1f} % in the middle, "
        f"{100 * stalls[-1] if stalls else 0.0:.1f} % at worst",
        f"rested for duty         {sum(v.rested_s > 0 for v in good)} machines",
    ]  # fmt: skip


if __name__ == "__main__":
    main()
