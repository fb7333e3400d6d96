"""How fast the book lists, finds, opens and reports, against raw sqlite3 on the same file.

Run as ``python benchmarks/bench_records.py [--quick | --setups N]``. Sizes: 10 000 setups with
3 million samples (quick: 500 setups, 150 000 samples), written through the book's own pen,
every record sealed. The reference is Python's ``sqlite3`` fetching the same rows by plain SQL;
medians of interleaved pairs. Growth: the processor's time for a setup to be written and to be
checked, of the whole book against the half of it. Ends with a line a goal: measure, value,
goal; exits 1 where one is missed.
"""

import argparse
import sqlite3
import sys
import tempfile
import time
from pathlib import Path

from racing import race, timed
from records_filling import SAMPLES_A_SETUP, Filler, open_book

from records import BookReader, Wanted, book_path
from records.report.making import report_of_setup

SETUPS, QUICK_SETUPS = 10_000, 500
GOAL_LIST, GOAL_OPEN, GOAL_GROWTH = 20.0, 30.0, 1.25
GOAL_LIST_MS, GOAL_OPEN_MS, GOAL_REPORT_S = 200.0, 300.0, 3.0

LINES = """
SELECT s.id, j.name, p.name, o.name, s.guide, s.title, s.tolerance_mm, s.at_utc, e.at_utc,
  coalesce(e.state, 'open'), e.verdict, b.by_setup_id,
  (SELECT count(*) FROM sweep w WHERE w.setup_id = s.id),
  (SELECT count(*) FROM photo f WHERE f.setup_id = s.id), s.machine
FROM setup s JOIN part p ON p.id = s.part_id JOIN job j ON j.id = p.job_id
LEFT JOIN operation o ON o.id = s.operation_id
LEFT JOIN setup_event e ON e.setup_id = s.id AND e.state IN ('finished', 'abandoned')
LEFT JOIN superseded_by b ON b.setup_id = s.id
WHERE {where} ORDER BY s.id DESC LIMIT 50
"""

SEARCHES = (
    ("the newest 50", Wanted(), "1", ()),
    ("by part", Wanted(part="gear-case end 7"), "p.name = ?", ("gear-case end 7",)),
    ("by job", Wanted(job="job 3"), "j.name = ?", ("job 3",)),
    ("by guide", Wanted(guide="four-jaw"), "s.guide = ?", ("four-jaw",)),
    ("by verdict", Wanted(verdict="cannot tell"), "e.verdict = ?", ("cannot tell",)),
    (
        "by day",
        Wanted(since="2024-01-20", until="2024-01-22"),
        "s.at_utc >= ? AND s.at_utc <= ?",
        ("2024-01-20", "2024-01-22~"),
    ),
    (
        "by instrument",
        Wanted(instrument="lever"),
        "EXISTS (SELECT 1 FROM instrument_snapshot i WHERE i.setup_id = s.id AND i.name = ?)",
        ("lever",),
    ),
    (
        "by part, not there",
        Wanted(part="gear-case end 99"),
        "p.name = ?",
        ("gear-case end 99",),
    ),
)

OF_SETUP = (
    "SELECT * FROM setup WHERE id = ?",
    "SELECT * FROM setup_event WHERE setup_id = ?",
    "SELECT * FROM instrument_snapshot WHERE setup_id = ?",
    "SELECT * FROM size WHERE setup_id = ?",
    "SELECT * FROM sweep WHERE setup_id = ?",
    "SELECT * FROM result WHERE setup_id = ?",
    "SELECT * FROM tick WHERE setup_id = ?",
    "SELECT * FROM photo WHERE setup_id = ?",
    "SELECT * FROM superseded_by WHERE setup_id = ?",
    "SELECT e.* FROM sweep_end e JOIN sweep w ON w.id = e.sweep_id WHERE w.setup_id = ?",
    "SELECT d.* FROM samples d JOIN sweep w ON w.id = d.sweep_id WHERE w.setup_id = ?",
)


def busy(work):
    """Seconds of the processor, which other programs on this machine do not lengthen."""
    start = time.process_time()
    result = work()
    return time.process_time() - start, result


def fill(home, setups):
    """Write the halves of the book, and check it after each; seconds a setup of each."""
    written, checked = [], []
    with open_book(home) as book:
        filler = Filler(book)
        half = setups // 2
        for first in (0, half):
            written.append(busy(lambda first=first: filler.add(first, half))[0] / half)
            with BookReader.open(home) as reader:
                seconds, damages = busy(reader.check)
            assert damages == [], damages[:3]
            checked.append(seconds / (first + half))
    return written, checked


def lists(reader, raw, rounds):
    rows = []
    for name, wanted, where, values in SEARCHES:
        query = LINES.format(where=where)
        ours, theirs, found, told = race(
            lambda wanted=wanted: reader.list_setups(wanted=wanted),
            lambda query=query, values=values: raw.execute(query, values).fetchall(),
            rounds,
        )
        assert [line.id for line in found] == [row[0] for row in told], name
        rows.append((name, len(told), ours, theirs))
    return rows


def opened(reader, raw, setups, rounds):
    """One setup whole, another one each time, samples included."""
    numbers = iter([1 + (7919 * n) % setups for n in range(4 * rounds)])

    def ours():
        return reader.show_setup(next(numbers))

    def theirs():
        number = next(numbers)
        return [raw.execute(query, (number,)).fetchall() for query in OF_SETUP]

    mine, other, shown, rows = race(ours, theirs, rounds)
    assert sum(sweep["count"] for sweep in shown["sweeps"]) == SAMPLES_A_SETUP
    assert sum(row[3] for row in rows[-1]) == SAMPLES_A_SETUP
    return mine, other


def report(reader):
    """A report's two files, the libraries loaded already."""
    report_of_setup(reader, 1, made_utc="")
    return min(timed(lambda n=n: report_of_setup(reader, n, made_utc=""))[0] for n in (2, 3, 4))


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="500 setups, the same goals")
    parser.add_argument("--setups", type=int, default=SETUPS, help="another size")
    chosen = parser.parse_args()
    setups = QUICK_SETUPS if chosen.quick else chosen.setups
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        written, checked = fill(home, setups)
        size = book_path(home).stat().st_size
        raw = sqlite3.connect(f"{book_path(home).as_uri()}?mode=ro", uri=True)
        with BookReader.open(home) as reader:
            rows = lists(reader, raw, 15)
            mine, other = opened(reader, raw, setups, 31)
            seconds = report(reader)
        raw.close()
    print(f"{setups} setups, {setups * SAMPLES_A_SETUP} samples, {size / 1e6:.0f} MB")
    print("milliseconds                  rows     ours   sqlite3   ratio")
    for name, count, ours, theirs in rows:
        print(f"{name:28s}{count:6d}{1e3 * ours:9.2f}{1e3 * theirs:10.3f}{ours / theirs:8.1f}")
    print(f"{'one setup, opened':28s}{1:6d}{1e3 * mine:9.2f}{1e3 * other:10.3f}{mine / other:8.1f}")
    print(f"report of a setup, PDF and HTML: {seconds:.2f} s")
    for what, each in (("written", written), ("checked", checked)):
        print(f"{what}: {1e3 * each[0]:.2f} then {1e3 * each[1]:.2f} ms of processor a setup")
    goals = [
        ("slowest list or search, times raw sqlite3", max(o / t for *_, o, t in rows), GOAL_LIST),
        ("opening a setup, times raw sqlite3", mine / other, GOAL_OPEN),
        ("slowest list or search, ms", 1e3 * max(ours for *_, ours, _ in rows), GOAL_LIST_MS),
        ("opening a setup, ms", 1e3 * mine, GOAL_OPEN_MS),
        ("report of a setup, s", seconds, GOAL_REPORT_S),
        ("writing a setup, second half against first", written[1] / written[0], GOAL_GROWTH),
        ("checking a setup, whole against half", checked[1] / checked[0], GOAL_GROWTH),
    ]
    for measure, value, goal in goals:
        print(f"{measure}  {value:.3g}  {goal:g}")
    return 0 if all(value <= goal for _, value, goal in goals) else 1


if __name__ == "__main__":
    sys.exit(main())
