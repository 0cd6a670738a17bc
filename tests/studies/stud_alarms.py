"""Does the rule of announcements keep what it states, asked of whole fits?

Kennels of five studs are simulated with numpy alone, total sperm counted once a fortnight, two
readers by turns, a year of history and a year that is followed. Levels drift by another story than
the model's: an Ornstein-Uhlenbeck path, rough where the model's is smooth, with an amplitude of
each stud's own, and the first stud ages, by a tenth a year. The kennel's sureness is the one that
the fit of the history asks for. Four questions:

- drawn: the fit of one history states a sureness and a rate. Of many other kennel-years of the
  same world, looked at after every collection with the spreads of that fit, how many hold a false
  announcement?
- years: nobody falls abruptly. In how many kennel-years does a look announce a fall while the true
  one, by then, is smaller than stated? In at most the share that the kennel's rule states (which
  asks after every collection). And how many announcements are of a true fall?
- fallen: two of the five fall by 40 % after the history. How many are announced at a look within
  the year? `power` states how many would be with a look after every collection.
- readers: a new reader takes over after the history and reads 20 % more, of studs that are steady.
  With overlap before it no stud is announced; after a clean hand-over all are named as not to be
  separated from the reader.

Studs of a kennel share one fit, as they share spreads, readers and season. Run with

    python tests/studies/stud_alarms.py drawn|years|fallen|readers --lines FILE.jsonl [--kennels N]
    python tests/studies/stud_alarms.py summary --lines FILE.jsonl --result FILE.txt

One line a fit is appended to the lines file, and an interrupted run goes on where it was.
"""

import argparse
import json
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from scipy.stats import beta
from tests.analytics.stud_records import counted, kennel, no_events

from studcurve.analytics.models.stud.announcement import announce
from studcurve.analytics.models.stud.false_alarms import kennel_rule, surest_error
from studcurve.analytics.models.stud.inputs import prepare_stud_data
from studcurve.analytics.models.stud.level import own_past
from studcurve.analytics.models.stud.looks import looked_at, rhythm_of
from studcurve.analytics.models.stud.model import fit_stud_quality
from studcurve.analytics.models.stud.power import power

SEED = 20261126
PAUSE_DAYS, N_HISTORY, N_FOLLOWED = 14.0, 26, 26
LOOKS = (9, 18, 26)
"""Collections of the followed year after which the rule is asked."""

FALL = np.log(0.6)
STATED = np.log(0.9)
READS_MORE = np.log(1.2)
N_STUDS, N_FALLEN, N_DRAWN = 5, 2, 1000
CENTRE, BETWEEN, WITHIN, HOME_CV = 6.6, 0.4, 0.35, 0.15
AMPLITUDE, AMPLITUDE_SD, LENGTH_YEARS = 0.16, 0.5, 1.5
"""Of the drift: usual amplitude, log spread of the studs' own around it, time of its forgetting."""

AGEING = np.log(0.9)
"""Of the first stud, each year."""


def drift_of(rng, days, n, *, is_ageing):
    """Rough slow paths around nought, each of an amplitude of its own, shape (n, n_days)."""
    amplitude = AMPLITUDE * np.exp(AMPLITUDE_SD * rng.normal(size=n))
    path = [amplitude * rng.normal(size=n)]
    for kept in np.exp(-np.diff(days) / 365.25 / LENGTH_YEARS):
        path.append(kept * path[-1] + amplitude * np.sqrt(1 - kept**2) * rng.normal(size=n))
    return np.array(path).T + is_ageing * AGEING * days / 365.25


def studs_of(rng, n_studs, n_new, *, moved=0.0, readers=None, read=None, drifts=False):
    """Collections of a kennel, and the true log level of each stud at each of them."""
    n = N_HISTORY + n_new
    readers = np.array(["Ash", "Birch"] * n)[:n] if readers is None else readers
    of_reader = np.zeros(n) if read is None else read
    parts, levels = [], {}
    for s in range(n_studs):
        days = PAUSE_DAYS * np.arange(n) + rng.uniform(0.0, 3.0)
        level = np.full(n, rng.normal(CENTRE, BETWEEN))
        if drifts:
            level += drift_of(rng, days, 1, is_ageing=s == 0)[0]
        level[N_HISTORY:] += moved * (s >= n_studs - N_FALLEN if drifts else True)
        log_total = level + WITHIN * rng.normal(size=n) + rng.normal(0.0, HOME_CV, n) + of_reader
        levels[f"Stud {s:02d}"] = level
        parts.append(counted(rng, f"Stud {s:02d}", days, log_total, evaluator=readers,
                             sexual_rest_days=PAUSE_DAYS))  # fmt: skip
    return kennel(*parts), levels


def fitted(rows, seed):
    return fit_stud_quality(
        prepare_stud_data(rows, no_events(), "total_sperm_m", extra_cv=HOME_CV), seed=seed
    )


def until(rows, n):
    """The first collections of each stud."""
    return rows[rows.groupby("stud").cumcount() < n].reset_index(drop=True)


def announced(posterior, sure, levels=None):
    """Who is announced, with his true log change by then."""
    found = {stud: announce(posterior, stud, sure) for stud in posterior.data.studs}
    said = [stud for stud, one in found.items() if one.announced]
    return {
        "studs": len(found),
        "announced": said,
        "change": [true_change(posterior, stud, levels[stud]) for stud in said] if levels else [],
        "separable": sum(one.is_separable for one in found.values()),
        "attempts": posterior.diagnostics.n_attempts,
    }


def true_change(posterior, stud, level):
    """From the mean of his own past to now."""
    on = posterior.data.on[posterior.data.rows_of(stud)]
    return round(float(level[len(on) - 1] - level[own_past(on)].mean()), 4)


def stated(posterior, rng):
    """What the fit of the history states of the kennel-year, and of abrupt falls by 40 %."""
    rule = kennel_rule([posterior], rng)
    found = [power(posterior, stud, rule.sure_prob, rng=rng) for stud in posterior.data.studs]
    return {
        "sure": rule.sure_prob,
        "false_prob": rule.false_prob,
        "own_false_prob": [one.false_alarm_prob for one in found],
        "power": [one.announced[1].prob for one in found],
    }


def followed(rng, k, moved):
    rows, levels = studs_of(rng, N_STUDS, N_FOLLOWED, moved=moved, drifts=True)
    before = stated(fitted(until(rows, N_HISTORY), seed=k), rng)
    yield {"look": 0, **before}
    for look in LOOKS:
        posterior = fitted(until(rows, N_HISTORY + look), seed=k)
        yield {"look": look, **announced(posterior, before["sure"], levels)}


def drawn(rng, k):
    rows, _ = studs_of(rng, N_STUDS, 0, drifts=True)
    posterior = fitted(rows, seed=k)
    before = stated(posterior, rng)
    surest = []
    for s, stud in enumerate(posterior.data.studs):
        rhythm = rhythm_of(posterior, stud)
        days = rhythm.days_after(N_FOLLOWED)
        level = rng.normal(0.0, BETWEEN, (N_DRAWN, 1)) + drift_of(
            rng, days, N_DRAWN, is_ageing=s == 0
        )
        single = np.sqrt(WITHIN**2 + HOME_CV**2) * rng.normal(size=level.shape)
        surest.append(surest_error(looked_at(rhythm, N_FOLLOWED, level + single, level).after()))
    yield {**before, "false": int((np.max(surest, axis=0) >= before["sure"]).sum())}


def years(rng, k):
    yield from followed(rng, k, 0.0)


def fallen(rng, k):
    yield from followed(rng, k, FALL)


def readers(rng, k):
    n = N_HISTORY + N_FOLLOWED
    for overlap in (True, False):
        names = np.array(["Ash"] * N_HISTORY + ["Birch"] * N_FOLLOWED)
        if overlap:
            names[N_HISTORY - 8 : N_HISTORY : 2] = "Birch"
        read = np.where(names == "Birch", READS_MORE, 0.0)
        rows, _ = studs_of(rng, N_STUDS, N_FOLLOWED, readers=names, read=read)
        posterior = fitted(until(rows, n), seed=k)
        sure = kennel_rule([posterior], rng).sure_prob
        yield {"overlap": overlap, **announced(posterior, sure)}


QUESTIONS = {"drawn": drawn, "years": years, "fallen": fallen, "readers": readers}


def run(question, n_kennels, lines):
    done = {(line["question"], line["kennel"]) for line in read_lines(lines)}
    for k in range(n_kennels):
        if (question, k) in done:
            continue
        began = time.process_time()
        rng = np.random.default_rng([SEED, list(QUESTIONS).index(question), k])
        found = [{"question": question, "kennel": k, **one} for one in QUESTIONS[question](rng, k)]
        found[-1]["cpu_s"] = round(time.process_time() - began)
        with lines.open("a", encoding="utf-8") as out:
            out.writelines(json.dumps(one) + "\n" for one in found)
        print(found, flush=True)


def read_lines(lines):
    if not lines.exists():
        return []
    return [json.loads(line) for line in lines.read_text(encoding="utf-8").splitlines()]


def interval(n, of):
    """Exact 90 % interval of a share (Clopper & Pearson 1934, Biometrika 26:404-413)."""
    low = beta.ppf(0.05, n, of - n + 1) if n else 0.0
    high = beta.ppf(0.95, n + 1, of - n) if n < of else 1.0
    return f"{n} of {of} ({n / of:.1%}, 90 % interval {low:.1%} to {high:.1%})"


def of_drawn(rows):
    """What other kennel-years of the world say of the stated rates."""
    found = np.array([row["false"] / N_DRAWN for row in rows])
    said = np.array([row["false_prob"] for row in rows])
    return (
        f"drawn: with the spreads of {len(rows)} fits, {N_DRAWN} kennel-years each, a look after "
        f"every collection: {found.mean():.1%} of kennel-years hold a false announcement (by fit "
        f"{found.min():.1%} to {found.max():.1%}, above 5 % in {(found > 0.05).sum()}); stated: "
        f"{said.mean():.1%} ({said.min():.1%} to {said.max():.1%})."
    )


def of_years(rows):
    """What the kennel-years say of false announcements."""
    before = [row for row in rows if row["look"] == 0]
    looks = [row for row in rows if row["look"]]
    said = [(row["kennel"], stud, change) for row in looks
            for stud, change in zip(row["announced"], row["change"], strict=True)]  # fmt: skip
    false = {(kennel, stud) for kennel, stud, change in said if change > STATED}
    sure = sorted({row["sure"] for row in before})
    studs = {(kennel, stud) for kennel, stud, _ in said}
    return (
        f"years: kennel-years of {N_STUDS} drifting studs with a false announcement at a look "
        f"after {', '.join(map(str, LOOKS))} collections: "
        f"{interval(len({kennel for kennel, _ in false}), len(before))}; stated: "
        f"{min(row['false_prob'] for row in before):.1%} to "
        f"{max(row['false_prob'] for row in before):.1%}, on average "
        f"{np.mean([row['false_prob'] for row in before]):.1%}, at a sureness of "
        f"{sure[0]:.1%} to {sure[-1]:.1%}. Stud-years announced: {len(studs)} of "
        f"{N_STUDS * len(before)}, {len(false)} of them falsely at some look, "
        f"{sum(stud == 'Stud 00' for _, stud in studs)} of the ageing stud."
    )


def of_fallen(rows):
    """How many true falls are announced."""
    before = [row for row in rows if row["look"] == 0]
    fell = [f"Stud {s:02d}" for s in range(N_STUDS - N_FALLEN, N_STUDS)]
    said = {(row["kennel"], stud) for row in rows if row["look"] for stud in row["announced"]}
    n = sum(stud in fell for _, stud in said)
    power_of = [row["power"][s] for row in before for s in range(N_STUDS - N_FALLEN, N_STUDS)]
    return (
        f"fallen by 40 %: {interval(n, N_FALLEN * len(before))} announced at one of "
        f"{len(LOOKS)} looks within the year; stated, with a look after every collection: "
        f"{min(power_of):.0%} to {max(power_of):.0%}, on average {np.mean(power_of):.0%}."
    )


def of_readers(rows, overlap):
    """What becomes of another reader."""
    n = sum(row["studs"] for row in rows)
    return (
        f"another reader, {'with' if overlap else 'no'} overlap: "
        f"{sum(len(row['announced']) for row in rows)} of {n} announced, "
        f"{n - sum(row['separable'] for row in rows)} named as not to be told apart."
    )


def summary_of(lines):
    """What the lines say, in words."""
    rows = read_lines(lines)
    summary = [
        f"The rule of announcements asked of whole fits. Seed {SEED}, "
        f"{datetime.now(UTC):%Y-%m-%d}, {sum(row.get('cpu_s', 0) for row in rows)} s of processor.",
    ]
    of = {name: [row for row in rows if row["question"] == name] for name in QUESTIONS}
    tellers = {"drawn": of_drawn, "years": of_years, "fallen": of_fallen}
    summary += [told(of[name]) for name, told in tellers.items() if of[name]]
    for overlap in (True, False):
        asked = [row for row in of["readers"] if row["overlap"] is overlap]
        if asked:
            summary.append(of_readers(asked, overlap))
    tried = [row["attempts"] for row in rows if "attempts" in row]
    summary.append(f"Fits settled at the first attempt: {tried.count(1)} of {len(tried)}.")
    return summary


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("question", choices=[*QUESTIONS, "summary"])
    parser.add_argument("--kennels", type=int, default=20, help=f"of {N_STUDS} studs")
    parser.add_argument("--lines", type=Path, required=True)
    parser.add_argument("--result", type=Path)
    asked = parser.parse_args()
    if asked.question != "summary":
        run(asked.question, asked.kennels, asked.lines)
    else:
        text = "\n".join(summary_of(asked.lines)) + "\n"
        print(text, end="")
        if asked.result:
            asked.result.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
