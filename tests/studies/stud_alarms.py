"""Does the rule of announcements keep what it states, asked of whole fits?

Kennels of studs are simulated with numpy alone: a collection every fortnight, two readers by turns,
a year of history and a year that is followed. Three questions:

- steady: of studs whose level never moves, how many are announced at a look within the year? At
  most the share that `power` states for them (which asks after every collection).
- fallen: two of ten studs fall by 40 % after the history. How many of them are announced within the
  number of collections that `power` promised? At least four of five. (Where all ten fall on one
  day, a season or a reader could have done it as well, and fewer are announced.)
- readers: a new reader takes over after the history and reads 20 % more. With overlap before it no
  stud is announced; after a clean hand-over all are named as not to be separated from the reader.

Many studs share one fit, as they share spreads, readers and season. Run with

    python tests/studies/stud_alarms.py steady|fallen|readers --lines FILE.jsonl [--kennels N]
    python tests/studies/stud_alarms.py summary --lines FILE.jsonl --result FILE.txt

One line a fit is appended to the lines file, and an interrupted run goes on where it was.
"""

import argparse
import json
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from tests.analytics.stud_records import counted, kennel, no_events

from studcurve.analytics.models.stud.announcement import announce, power
from studcurve.analytics.models.stud.inputs import prepare_stud_data
from studcurve.analytics.models.stud.model import fit_stud_quality

SEED = 20261126
PAUSE_DAYS, N_HISTORY, N_FOLLOWED = 14.0, 26, 26
LOOKS = (13, 26)
"""Collections of the followed year after which the rule is asked."""

N_LOOKS, LOOKS_APART = 4, 3
"""Looks at a fall up to the promised one. The promise is of looks after every collection; at these
four its own calculation comes to 77 % (76 to 79 in five kennels), at the last alone to 51 to 65."""

FALL = np.log(0.6)
READS_MORE = np.log(1.2)
N_STUDS, N_FALLEN, N_READ_STUDS = 10, 2, 6
CENTRE, BETWEEN, WITHIN, HOME_CV = 6.6, 0.4, 0.35, 0.15


def studs_of(rng, n_studs, n_new, *, moved=0.0, readers=None, read=None):
    """Collections of a kennel; the level moves after the history, and a reader has an error."""
    n = N_HISTORY + n_new
    readers = np.array(["Ash", "Birch"] * n)[:n] if readers is None else readers
    of_reader = np.zeros(n) if read is None else read
    parts = []
    for s in range(n_studs):
        level = rng.normal(CENTRE, BETWEEN)
        log_total = rng.normal(level, WITHIN, n) + rng.normal(0.0, HOME_CV, n) + of_reader
        log_total[N_HISTORY:] += moved
        days = PAUSE_DAYS * np.arange(n) + rng.uniform(0.0, 3.0)
        parts.append(counted(rng, f"Stud {s:02d}", days, log_total, evaluator=readers,
                             sexual_rest_days=PAUSE_DAYS))  # fmt: skip
    return kennel(*parts)


def fitted(rows, seed):
    return fit_stud_quality(
        prepare_stud_data(rows, no_events(), "total_sperm_m", extra_cv=HOME_CV), seed=seed
    )


def until(rows, n):
    """The first collections of each stud."""
    return rows[rows.groupby("stud").cumcount() < n].reset_index(drop=True)


def announced(posterior):
    announcements = [announce(posterior, stud) for stud in posterior.data.studs]
    return {
        "studs": len(announcements),
        "announced": [stud for stud, one in zip(posterior.data.studs, announcements, strict=True)
                      if one.announced],
        "separable": sum(one.is_separable for one in announcements),
        "attempts": posterior.diagnostics.n_attempts,
    }  # fmt: skip


def stated(posterior, rng):
    """What `power` says of a few studs of the kennel, all of one rhythm."""
    found = [power(posterior, stud, rng=rng) for stud in posterior.data.studs[:3]]
    return {
        "stated_alarm": max(one.false_alarm_prob for one in found),
        "promised": [one.n_promised for one in found],
    }


def steady(rng, k):
    rows = studs_of(rng, N_STUDS, N_FOLLOWED)
    for look in LOOKS:
        posterior = fitted(until(rows, N_HISTORY + look), seed=k)
        yield {"look": look, **announced(posterior), **stated(posterior, rng)}


def fallen(rng, k):
    # The promise is that of the history; the kennel is then followed for so many collections.
    steady_ones = studs_of(rng, N_STUDS - N_FALLEN, N_FOLLOWED)
    fell = studs_of(rng, N_FALLEN, N_FOLLOWED, moved=FALL)
    fell["stud"] = fell["stud"].str.replace("Stud", "Fallen")
    rows = kennel(steady_ones, fell)
    before = stated(fitted(until(rows, N_HISTORY), seed=k), rng)
    promised = [n for n in before["promised"] if n is not None]
    yield {"look": 0, **before}
    if promised:
        n = max(promised)
        for look in range(n - LOOKS_APART * (N_LOOKS - 1), n + 1, LOOKS_APART):
            yield {"look": look, **announced(fitted(until(rows, N_HISTORY + look), seed=k))}


def readers(rng, k):
    n = N_HISTORY + N_FOLLOWED
    for overlap in (True, False):
        names = np.array(["Ash"] * N_HISTORY + ["Birch"] * N_FOLLOWED)
        if overlap:
            names[N_HISTORY - 8 : N_HISTORY : 2] = "Birch"
        read = np.where(names == "Birch", READS_MORE, 0.0)
        rows = studs_of(rng, N_READ_STUDS, N_FOLLOWED, readers=names, read=read)
        posterior = fitted(until(rows, n), seed=k)
        yield {"overlap": overlap, **announced(posterior)}


QUESTIONS = {"steady": steady, "fallen": fallen, "readers": readers}


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


def summary_of(lines):
    """What the lines say, in words."""
    rows = read_lines(lines)
    summary = [
        f"The rule of announcements asked of whole fits. Seed {SEED}, "
        f"{datetime.now(UTC):%Y-%m-%d}, {sum(row.get('cpu_s', 0) for row in rows)} s of processor.",
    ]
    of = {name: [row for row in rows if row["question"] == name] for name in QUESTIONS}
    if of["steady"]:
        # A stud announced at several looks counts once.
        seen = {(row["kennel"], stud) for row in of["steady"] for stud in row["announced"]}
        n = sum(row["studs"] for row in of["steady"] if row["look"] == LOOKS[-1])
        rates = [row["stated_alarm"] for row in of["steady"]]
        summary.append(
            f"steady: {len(seen)} of {n} announced at a look after {LOOKS[0]} or {LOOKS[1]} "
            f"collections; stated for a year: {min(rates):.1%} to {max(rates):.1%} of studs, on "
            f"average {np.mean(rates):.1%}, that is {np.mean(rates) * n:.1f} of {n}."
        )
    if of["fallen"]:
        looks = [row for row in of["fallen"] if row["look"]]
        last = {row["kennel"]: row["look"] for row in looks}
        names = {(row["kennel"], stud) for row in looks for stud in row["announced"]}
        hits = sum(stud.startswith("Fallen") for _, stud in names)
        summary.append(
            f"fallen by 40 %: {hits} of {N_FALLEN * len(last)} announced at one of {N_LOOKS} looks "
            f"up to the promised one, after {min(last.values())} to {max(last.values())} "
            f"collections (promise: 80 % with a look after every collection, 77 % at these four); "
            f"of the steady ones beside them {len(names) - hits} of "
            f"{(N_STUDS - N_FALLEN) * len(last)}."
        )
    for overlap in (True, False):
        rows = [row for row in of["readers"] if row["overlap"] is overlap]
        if rows:
            n = sum(row["studs"] for row in rows)
            summary.append(
                f"another reader, {'with' if overlap else 'no'} overlap: "
                f"{sum(len(row['announced']) for row in rows)} of {n} announced, "
                f"{n - sum(row['separable'] for row in rows)} named as not to be told apart."
            )
    tried = [
        row["attempts"] for row in [row for name in of for row in of[name]] if "attempts" in row
    ]
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
