"""A second tie of far clocks, by another way: each exchange is an interval in which the offset must lie, widened by the drift that is
allowed for; all of them together leave one interval (Marzullo 1984; RFC 5905, section 11.2.1). It owes nothing to the crate.

    PLUMELINE_TIES=ties.json cargo test -p plumeline-measure --test far_clock
    python3 scripts/page/second_tie.py ties.json

Held to it: that the truth lies in the interval (else this is wrong), and that the crate's moment and two of its standard uncertainties reach
the interval for at least 95 % of the marks, and say no more than the interval does where that is narrow.
"""
import json
import sys

DRIFT = 500e-6  # what the crate allows for
STEP = 1e-3


def interval(exchanges, device_us):
    """Earliest and latest log time, s, at which the far clock can have shown this."""
    low, high = float("-inf"), float("inf")
    for sent, got, left, received in exchanges:
        # The far clock showed `got` no sooner than `sent`, and `left` no later than `received`.
        for shown, earliest, latest in [(got, sent, received - (left - got)), (left, sent + (left - got), received)]:
            elapsed = (device_us - shown) * 1e-6
            slack = abs(elapsed) * DRIFT + STEP
            low = max(low, earliest * 1e-6 + elapsed - slack)
            high = min(high, latest * 1e-6 + elapsed + slack)
    return low, high


def main():
    with open(sys.argv[1]) as f:
        data = json.load(f)
    reach = true = narrower = marks = 0
    for m in data["marks"]:
        low, high = interval(data["exchanges"][m["seed"]], m["device_us"])
        at, u = m["at_us"] * 1e-6, m["u_s"]
        marks += 1
        true += low <= m["true_s"] <= high
        reach += at - 2 * u <= high and at + 2 * u >= low
        narrower += 2 * u < (high - low) / 2 * 0.5
    print(f"{marks} marks: the truth in the interval {true}, the crate's moment reaches it {reach}, claims less than a half of it {narrower}")
    assert marks == 5000 and true == marks
    assert reach >= 0.95 * marks and narrower <= 0.05 * marks


if __name__ == "__main__":
    main()
