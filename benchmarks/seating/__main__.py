"""``python -m benchmarks.seating [--quick]``: every floor of the seating room, beside greedy.

Seeds start at 70 000; nothing was tuned on them. Times are given as wall-clock and processor
seconds: on a busy computer only the second can be compared.
"""

from __future__ import annotations

import argparse
import datetime

from rich.console import Console
from rich.table import Table

from benchmarks.seating import measure
from benchmarks.seating.greedy import by_hand
from benchmarks.seating.invent import season
from fairhearing.core.seating import Problem, SeatPlan, seat

FIRST_SEED = 70_000
SIZES = {  # students: (schools, students each, seasons, floor in seconds)
    120: (1, 120, 5, 5.0),
    1_000: (1, 1_000, 5, 5.0),
    1_200: (3, 400, 3, 5.0),
    30_000: (75, 400, 1, 180.0),
}
console = Console(width=124, highlight=False)


def table(title: str, *columns: str) -> Table:
    made = Table(title=title, title_justify="left", box=None, pad_edge=False)
    for number, name in enumerate(columns):
        made.add_column(name, justify="right" if number else "left")
    return made


def met(reached: bool) -> str:
    return "reached" if reached else "MISSED"


def show_plans(students: int, keep: dict[int, list[SeatPlan]]) -> None:
    schools, each, seasons, floor = SIZES[students]
    made = table(
        f"{students:,} students, {schools} school(s), floor {floor:g} s",
        "season, method", "wall s", "cpu s", "charge", "short", "off ideal", "unseated", "envious",
        "proven", "floor",
    )  # fmt: skip
    for number in range(seasons):
        problem = season(FIRST_SEED + number, schools=schools, students=each)
        hand, wall, cpu = measure.timed(lambda p=problem: by_hand(p))  # type: ignore[misc]
        made.add_row(f"{number + 1} by hand", *cells(problem, hand, wall, cpu), "", "")
        quick, wall, cpu = measure.timed(lambda p=problem: seat(p, exact=False))  # type: ignore[misc]
        made.add_row(
            f"{number + 1} not proven", *cells(problem, quick.seated, wall, cpu), yes(quick), ""
        )
        plan, wall, cpu = measure.timed(lambda p=problem: seat(p))  # type: ignore[misc]
        reached = plan.proven and cpu <= floor
        made.add_row(
            f"{number + 1} proven", *cells(problem, plan.seated, wall, cpu), yes(plan), met(reached)
        )
        keep.setdefault(students, []).append(plan)
    console.print(made)
    console.print()


def yes(plan: SeatPlan) -> str:
    return "yes" if plan.proven else f"gap {plan.cost - plan.bound:.1f}"


def cells(problem: Problem, seated: dict[str, str | None], wall: float, cpu: float) -> list[str]:
    found = measure.measured(problem, seated)
    return [
        f"{wall:.2f}",
        f"{cpu:.2f}",
        f"{found.charge:,.0f}",
        f"{found.short:,}",
        f"{found.off:,}",
        f"{found.unseated:,}",
        f"{found.envious:,}",
    ]


def show_same(keep: dict[int, list[SeatPlan]]) -> None:
    made = table("The same output", "students", "run again", "shuffled input", "floor")
    for students, plans in keep.items():
        plan = plans[0]
        again = seat(plan.problem).seats == plan.seats
        mixed = seat(measure.shuffled(plan.problem, 1)).seats == plan.seats
        made.add_row(f"{students:,}", str(again), str(mixed), met(again and mixed))
    console.print(made)
    console.print()


def show_changes(keep: dict[int, list[SeatPlan]]) -> None:
    made = table(
        "A withdrawal before release",
        "students",
        "tried",
        "mean moves",
        "most",
        "left envy",
        "floor",
    )
    for students, plans in keep.items():
        tried = 100 if students <= 1_200 else 10
        mean, most, envy = measure.moves_after_withdrawal(plans[0], tried, 2)
        made.add_row(
            f"{students:,}",
            str(tried),
            f"{mean:.2f}",
            str(most),
            str(envy),
            met(mean <= 2 and not envy),
        )
    console.print(made)
    console.print()


def show_truth(keep: dict[int, list[SeatPlan]]) -> None:
    made = table(
        "What an explanation promises, applied and run again",
        "students", "changes", "true, same chairs", "floor", "tried anew", "true, new chairs",
    )  # fmt: skip
    for students, plans in keep.items():
        if students > 1_200:
            continue
        tried, kept, anew_tried, anew = measure.truth(plans[0], 400, 3)
        made.add_row(
            f"{students:,}", str(tried), str(kept), met(tried == kept), str(anew_tried), str(anew)
        )
    console.print(made)
    console.print()


def show_sureness(keep: dict[int, list[SeatPlan]]) -> None:
    made = table(
        "200 redraws (standard error 2.5, students' SD 9)",
        "students", "cpu s", "sure", "probable", "borderline",
    )  # fmt: skip
    for students, plans in keep.items():
        if students > 1_200:
            continue
        shares, cpu = measure.sureness(plans[0])
        words = [f"{shares.get(word, 0):.0%}" for word in ("sure", "probable", "borderline")]
        made.add_row(f"{students:,}", f"{cpu:.2f}", *words)
    console.print(made)
    console.print()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="without the 30,000")
    quick = parser.parse_args().quick
    console.print(
        f"Seating, {datetime.datetime.now(tz=datetime.UTC):%Y-%m-%d}; seeds from {FIRST_SEED}\n"
    )
    keep: dict[int, list[SeatPlan]] = {}
    for students in SIZES:
        if not (quick and students > 10_000):
            show_plans(students, keep)
    show_same(keep)
    show_changes(keep)
    show_truth(keep)
    show_sureness(keep)


if __name__ == "__main__":
    main()
