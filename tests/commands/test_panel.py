import pytest

from fairhearing.cli import main
from fairhearing.tables import read_table

ROSTER = ["student,name,grade,school,instrument,second_instrument"] + [
    f"{100 + s},Invented {s},9,{('Elm', 'Oak', 'Fir')[s % 3]},"
    f"{('flute', 'clarinet', 'trumpet', 'snare drum')[s % 4]},{'tuba' if s == 2 else ''}"
    for s in range(24)
]
JUDGES = [
    "judge;instruments;schools;not;most",
    "Ash;;Elm;;",
    "Birch;woodwind, brass;;103;",
    "Cedar;;;104, 105;",
    "Dogwood;;;;20",
    "Elder;;;;",
    "Hazel;;;;",
]


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "roster.csv").write_text("\n".join(ROSTER))
    (tmp_path / "judges.csv").write_text("\n".join(JUDGES))
    return tmp_path


def plan(folder, *more, name="panel.csv"):
    words = ["panel", str(folder / "roster.csv"), str(folder / "judges.csv")]
    assert main([*words, "-o", str(folder / name), *more]) == 0
    return rows(folder / name)


def rows(path):
    columns = ["judge", "order", "student", "instrument", "calibration"]
    table = read_table(path, required=columns)
    return [
        (row["judge"], int(row["order"]), row["student"], row["instrument"], row["calibration"])
        for row in table
    ]


def test_plan_keeps_conflicts_competence_and_limits(folder, capsys):
    found = plan(folder)
    by_judge = {}
    for judge, order, student, _, _ in found:
        by_judge.setdefault(judge, []).append((order, student))
    for own in by_judge.values():
        assert [order for order, _ in own] == list(range(1, len(own) + 1))
    elm = {str(100 + s) for s in range(24) if s % 3 == 0}
    assert not elm & {student for _, student in by_judge["Ash"]}
    assert "103" not in {student for _, student in by_judge["Birch"]}
    drums = {student for judge, _, student, instrument, _ in found if instrument == "snare-drum"}
    assert drums
    assert not drums & {student for _, student in by_judge["Birch"]}
    assert not {"104", "105"} & {student for _, student in by_judge["Cedar"]}
    assert len(by_judge["Dogwood"]) <= 20
    listened = {}
    for judge, _, student, instrument, _ in found:
        listened.setdefault((student, instrument), set()).add(judge)
    assert len(listened) == 25  # one student has two auditions
    assert all(len(judges) >= 3 for judges in listened.values())
    assert "All panels are linked" in capsys.readouterr().out


def test_plan_holds_no_names(folder):
    plan(folder)
    assert "Invented" not in (folder / "panel.csv").read_text(encoding="utf-8-sig")


def test_the_same_plan_comes_again_and_another_text_gives_another(folder):
    assert plan(folder) == plan(folder, name="again.csv")
    assert plan(folder, "--shuffle", "second try", name="other.csv") != plan(folder)


def test_a_judge_steps_back_midway(folder):
    before = plan(folder)
    elder = [row for row in before if row[0] == "Elder"]
    finished = elder[:4]
    marks = ["student,judge,criterion,mark"]
    marks += [f"{student},Elder,tone,7" for _, _, student, _, _ in finished if student != "102"]
    (folder / "marks.csv").write_text("\n".join(marks))
    after = plan(
        folder, "--plan", str(folder / "panel.csv"), "--steps-back", "Elder",
        "--marks", str(folder / "marks.csv"), name="after.csv",
    )  # fmt: skip
    kept = {row[2] for row in after if row[0] == "Elder"}
    assert kept == {student for _, _, student, _, _ in finished if student != "102"}
    assert {row[:1] + row[2:4] for row in before if row[0] != "Elder"} <= {
        row[:1] + row[2:4] for row in after
    }


def test_one_more_listening_for_a_list(folder):
    before = plan(folder)
    shared = {row[2] for row in before if row[4]}
    wanted = [number for number in ("110", "111", "112", "113") if number not in shared][:2]
    (folder / "list.csv").write_text("student\n" + "\n".join(wanted))
    after = plan(
        folder, "--plan", str(folder / "panel.csv"), "--again", str(folder / "list.csv"),
        name="after.csv",
    )  # fmt: skip
    added = {(row[0], row[2]) for row in after} - {(row[0], row[2]) for row in before}
    assert sorted(student for _, student in added) == sorted(wanted)


def test_a_seasons_staff_do_not_hear_their_own_students(folder):
    season = ['name = "Invented"', "invented = true", 'time_zone = "America/Chicago"']
    for name in ("Elm", "Oak", "Fir"):
        season += ["[[school]]", f'id = "{name.lower()}"', f'name = "{name}"']
        season += ['staff = ["Elder"]' if name == "Oak" else "staff = []"]
    season += ["[[section]]", 'kind = "etude"', "[[ensemble]]", 'name = "Band"', "[ensemble.seats]"]
    season += ["flute = 6", "clarinet = 6", "trumpet = 6"]
    (folder / "season.toml").write_text("\n".join(season))
    judges = [line.replace(";Elm;", ";;") for line in JUDGES]
    (folder / "judges.csv").write_text("\n".join(judges))
    out = folder / "panel.csv"
    assert main(["panel", str(folder), str(folder / "judges.csv"), "-o", str(out)]) == 0
    oak = {str(100 + s) for s in range(24) if s % 3 == 1}
    assert not oak & {row[2] for row in rows(out) if row[0] == "Elder"}


@pytest.mark.parametrize(
    ("judges", "says"),
    [
        (["judge", "Ash"], "each take should be heard by 3 judges, but there are only 1"),
        (["judge", "Ash", "Ash"], "judges.csv, line 3: judge Ash stands twice"),
        (["judge;instruments", "Ash;flut"], 'did you mean "flute"'),
        (["judge;not", "Ash;999"], "line 2: student 999 is not on the roster"),
        (["judge;schools", "Ash;Pine"], 'no student on the roster is of "Pine"'),
        (["judge;most", "Ash;0"], '"most" must lie at 1 or above'),
        (["judge"], "there is no judge"),
        (
            ["judge;instruments", "A;flute", "B;flute", "C;", "D;"],
            "not enough judges may hear 101, 105",
        ),
    ],
)
def test_wrong_judges_are_one_sentence_and_nothing_is_written(folder, capsys, judges, says):
    (folder / "judges.csv").write_text("\n".join(judges))
    out = folder / "panel.csv"
    words = ["panel", str(folder / "roster.csv"), str(folder / "judges.csv"), "-o", str(out)]
    assert main(words) == 2
    told = capsys.readouterr().err
    assert says in told
    assert told.count("\n") == 1
    assert not out.exists()


def test_changes_need_a_plan(folder, capsys):
    words = ["panel", str(folder / "roster.csv"), str(folder / "judges.csv")]
    assert main([*words, "--steps-back", "Ash"]) == 2
    assert "--plan PANEL.csv" in capsys.readouterr().err
