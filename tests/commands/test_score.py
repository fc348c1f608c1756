import itertools
import json
from pathlib import Path

import pytest

from fairhearing.cli import main
from fairhearing.tables import read_table

# Montgomery 2001, Design and Analysis of Experiments, ch. 4, catalyst example.
CATALYST = """student,judge,criterion,mark
1,A,total,73
1,B,total,74
1,D,total,71
2,B,total,75
2,C,total,67
2,D,total,72
3,A,total,73
3,B,total,75
3,C,total,68
4,A,total,75
4,C,total,72
4,D,total,75
"""


def write(folder: Path, text: str | bytes) -> Path:
    path = folder / "marks.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_incomplete_block_example_through_the_command(tmp_path):
    path = write(tmp_path, CATALYST)
    result = tmp_path / "scores.json"
    assert main(["score", str(path), "--json", str(result)]) == 0
    told = json.loads(result.read_text())
    scores = {entry["student"]: entry for entry in told["students"]}
    fair = [round(scores[s]["fair_score"], 3) for s in "1234"]
    raw = [round(scores[s]["raw_mean"], 3) for s in "1234"]
    assert fair == [71.375, 71.625, 72.0, 75.0]
    assert raw == [72.667, 71.333, 72.0, 74.0]
    assert all(entry["judges"] == 3 for entry in told["students"])
    assert {entry["judge"] for entry in told["judges"]} == set("ABCD")
    assert set(told["judges"][0]) >= {"judge", "severity", "precision"}


def test_intraclass_table_through_the_command(tmp_path):
    # Shrout & Fleiss 1979, Psychological Bulletin 86:420–428, table 2.
    table = ["9 2 5 8", "6 1 3 2", "8 4 6 8", "7 1 2 6", "10 5 6 9", "6 2 4 7"]
    lines = ["student,judge,criterion,mark"]
    for student, row in enumerate(table, start=1):
        lines += [
            f"{student},{j},total,{mark}" for j, mark in zip("ABCD", row.split(), strict=True)
        ]
    path = write(tmp_path, "\n".join(lines))
    result = tmp_path / "scores.json"
    assert main(["score", str(path), "--json", str(result)]) == 0
    icc = json.loads(result.read_text())["agreement"]["icc"]
    names = ["ICC(1,1)", "ICC(2,1)", "ICC(3,1)", "ICC(1,k)", "ICC(2,k)", "ICC(3,k)"]
    assert [icc[name] for name in names] == pytest.approx(
        [0.166, 0.290, 0.715, 0.443, 0.620, 0.909], abs=5e-4
    )


def test_alpha_example_through_the_command(tmp_path):
    # Krippendorff 2011, Computing Krippendorff's Alpha-Reliability: four observers, twelve units.
    table = ["123321412...", "1233224125.3", ".3332342251.", "12332441251."]
    lines = ["student,judge,criterion,mark"]
    for judge, row in zip("ABCD", table, strict=True):
        lines += [f"{unit},{judge},t,{v}" for unit, v in enumerate(row, 1) if v != "."]
    result = tmp_path / "s.json"
    assert main(["score", str(write(tmp_path, "\n".join(lines))), "--json", str(result)]) == 0
    alpha = json.loads(result.read_text())["agreement"]["krippendorff_alpha"]
    assert alpha == pytest.approx(
        {"nominal": 0.743, "ordinal": 0.815, "interval": 0.849, "ratio": 0.797}, abs=5e-4
    )


def test_concordance_example_through_the_command(tmp_path):
    # NAG Library, document g08da, example: three judges rank ten objects with ties.
    table = [
        "1 4.5 2 4.5 3 7.5 6 9 7.5 10",
        "2.5 1 2.5 4.5 4.5 8 9 6.5 10 6.5",
        "2 1 4.5 4.5 4.5 4.5 8 8 8 10",
    ]
    lines = ["student,judge,criterion,mark"]
    for judge, row in zip("ABC", table, strict=True):
        lines += [f"{unit},{judge},t,{v}" for unit, v in enumerate(row.split(), 1)]
    result = tmp_path / "s.json"
    assert main(["score", str(write(tmp_path, "\n".join(lines))), "--json", str(result)]) == 0
    found = json.loads(result.read_text())["agreement"]["kendall_w"]
    assert found["w"] == pytest.approx(0.8277, abs=5e-5)
    assert found["p"] == pytest.approx(0.0078, abs=5e-5)


def test_scores_table_is_what_seating_reads(tmp_path):
    rows = ["student;judge;section;criterion;instrument;weight;mark"]
    for instrument, judges in (("Flute", "AB"), ("Tuba", "BC")):
        for student in range(1, 5):
            for judge in judges:
                rows.append(f"{student};{judge};etude;tone;{instrument};2;{student},5")
                rows.append(f"{student};{judge};scales;scales;{instrument};1;{9 - student}")
    path = write(tmp_path, "\ufeff" + "\r\n".join(rows))
    out = tmp_path / "scores.csv"
    assert main(["score", str(path), "-o", str(out)]) == 0
    table = read_table(
        out,
        required=["student", "fair_score", "raw_mean", "se", "judges", "instrument"],
        optional=["etude", "scales", "tone"],
    )
    assert len(table) == 8
    assert {"etude", "scales", "tone"} <= set(table.columns)
    first = table.rows[0]
    assert (first["student"], first["instrument"], first["judges"]) == ("4", "flute", "2")
    assert first.number("fair_score") == pytest.approx((2 * 4.5 + 5) / 3)


def test_shown_on_the_terminal(tmp_path, capsys):
    assert main(["score", str(write(tmp_path, CATALYST))]) == 0
    shown = capsys.readouterr().out
    assert "71.375" in shown
    assert "+3.875" in shown
    assert "Krippendorff's alpha" in shown


def test_a_missing_mark_is_left_out(tmp_path):
    path = write(tmp_path, CATALYST + "1,C,total,\n")
    result = tmp_path / "scores.json"
    assert main(["score", str(path), "--json", str(result)]) == 0
    assert json.loads(result.read_text())["students"][-1]["judges"] == 3


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("student,judge,mark\n1,A,3\n", 'marks.csv, line 1: there is no column "criterion"'),
        ("student,judge,criterion,mark\n1,A,t,good\n", 'marks.csv, line 2: "good" under "mark"'),
        (CATALYST + "5,a,total,70\n", 'line 14: the judge "a" is written "A" in line 2'),
        (CATALYST + "1,A,total,70\n", "line 14: judge A marks student 1 a second time"),
        ("student,judge,criterion,mark\n", "there is no mark"),
        ("", "the table is empty"),
        (
            "student,judge,criterion,mark\n1,A,t,3\n2,A,t,4\n3,B,t,5\n",
            "the panels are not linked (A; B never heard a student in common)",
        ),
    ],
)
def test_wrong_marks_are_one_sentence_and_nothing_is_written(tmp_path, capsys, text, says):
    path = write(tmp_path, text)
    out = tmp_path / "scores.csv"
    assert main(["score", str(path), "-o", str(out), "--json", str(tmp_path / "s.json")]) == 2
    told = capsys.readouterr().err
    assert says in told
    assert told.count("\n") == 1
    assert sorted(p.name for p in tmp_path.iterdir()) == ["marks.csv"]


def test_a_folder_that_is_not_there_stops_everything(tmp_path, capsys):
    path = write(tmp_path, CATALYST)
    good, bad = tmp_path / "s.csv", tmp_path / "no" / "s.json"
    assert main(["score", str(path), "-o", str(good), "--json", str(bad)]) == 2
    assert "cannot be written" in capsys.readouterr().err
    assert not good.exists()
    assert main(["score", str(path), "-o", str(tmp_path)]) == 2
    assert "is a folder" in capsys.readouterr().err


def band_marks(n=40, judges="ABCDE", section="etude"):
    rows = ["student,judge,section,criterion,mark,instrument,order"]
    place = dict.fromkeys(judges, 0)
    panels = list(itertools.combinations(judges, 3))
    for s in range(n):
        for k, judge in enumerate(panels[s % len(panels)]):
            place[judge] += 1
            for c, criterion in enumerate(("tone", "rhythm", "notes")):
                mark = 4 + (s * 7 % 11) / 3 + (ord(judge) % 3) / 2 + ((s + c * 3 + k) % 4) / 4
                rows.append(f"{s},{judge},{section},{criterion},{mark:.2f},clarinet,{place[judge]}")
    return "\n".join(rows)


def test_lines_and_second_listening_through_the_command(tmp_path, capsys):
    path = write(tmp_path, band_marks())
    result = tmp_path / "s.json"
    words = ["score", str(path), "--line", "1", "--line", "clarinet=12", "--json", str(result)]
    assert main(words) == 0
    told = json.loads(result.read_text())
    assert [line["after"] for line in told["lines"]] == [1, 12]
    assert told["lines"][0]["pair"]["call"] in {"too close to call", "probably", "clear"}
    assert told["listen_again"]["wrong_after"] <= told["listen_again"]["wrong_now"]
    assert main(words[:-2]) == 0
    assert "At the lines:" in capsys.readouterr().out


def test_rules_rank_and_are_checked_against_the_announcement(tmp_path, capsys):
    path = write(tmp_path, band_marks())
    rules = tmp_path / "rules.toml"
    rules.write_text('method = "raw mean"\ntie_break = ["tone"]\ndecimals = 1\n')
    out, result = tmp_path / "s.csv", tmp_path / "s.json"
    words = ["score", str(path), "--rules", str(rules), "-o", str(out), "--json", str(result)]
    assert main(words) == 0
    told = json.loads(result.read_text())
    fingerprint = told["rules"]["fingerprint"]
    assert fingerprint in capsys.readouterr().out
    table = read_table(out, required=["student", "place"])
    assert table.rows[0]["place"] == "1"
    assert main([*words, "--announced", fingerprint]) == 0
    rules.write_text('method = "raw mean"\ntie_break = ["rhythm"]\ndecimals = 1\n')
    capsys.readouterr()
    assert main([*words, "--announced", fingerprint]) == 2
    assert "was announced" in capsys.readouterr().err


def test_facts_are_asked_about(tmp_path):
    path = write(tmp_path, band_marks())
    facts = tmp_path / "facts.csv"
    lines = ["student,school,background_dbfs"]
    lines += [f"{s},{('Elm', 'Oak')[s % 2]},{-60 + s % 9}" for s in range(40)]
    facts.write_text("\n".join(lines))
    result = tmp_path / "s.json"
    assert main(["score", str(path), "--facts", str(facts), "--json", str(result)]) == 0
    about = {question["about"] for question in json.loads(result.read_text())["fairness"]}
    assert {"order of listening", "school", "background_dbfs", "judge and school"} <= about


def test_a_rubric_gives_weights_and_refuses_marks_off_its_scale(tmp_path, capsys):
    rows = ["student,judge,section,criterion,mark,instrument"]
    for s in range(4):
        for judge in "AB":
            rows += [f"{s},{judge},piece,{c},{3 + s / 2},flute" for c in ("sound", "time", "notes")]
            rows += [f"{s},{judge},piece,expression,{2 + s / 2},flute"]
            rows += [f"{s},{judge},scales,scales,{s}.5,flute"]
    path = write(tmp_path, "\n".join(rows))
    result = tmp_path / "s.json"
    assert main(["score", str(path), "--rubric", "short", "--json", str(result)]) == 0
    top = json.loads(result.read_text())["students"][0]
    assert top["fair_score"] == pytest.approx(0.7 * (3 * 4.5 + 3.5) / 4 + 0.3 * 3.5, abs=1e-6)
    write(tmp_path, "\n".join([*rows, "4,A,piece,sound,9,flute"]))
    assert main(["score", str(path), "--rubric", "short"]) == 2
    assert f"line {len(rows) + 1}: the mark 9" in capsys.readouterr().err


def test_a_page_with_charts(tmp_path):
    path = write(tmp_path, band_marks())
    page = tmp_path / "scores.html"
    assert main(["score", str(path), "--line", "12", "--html", str(page)]) == 0
    text = page.read_text()
    assert text.count("<svg") >= 3
    assert "http://" not in text.replace("http://www.w3.org", "")
    assert "https://" not in text


def test_a_judge_left_out(tmp_path, capsys):
    path = write(tmp_path, band_marks())
    result = tmp_path / "s.json"
    assert main(["score", str(path), "--without", "E", "--json", str(result)]) == 0
    told = json.loads(result.read_text())
    assert {one["judge"] for one in told["judges"]} == set("ABCD")
    assert told["without"] == ["E"]
    assert f"Without E: {len(told['changes'])} places change." in capsys.readouterr().out
    assert main(["score", str(path), "--without", "Z"]) == 2
    assert 'no marks by a judge "Z"' in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--line", "many"], "--line many is not a line"),
        (["--line", "tuba=3"], "there are no marks for tuba"),
        (["--rules", "none.toml"], "none.toml: cannot be read"),
        (["--rubric", "none"], "shipped rubrics are full, short"),
        (["--facts", "none.csv"], "none.csv: there is no such file"),
    ],
)
def test_wrong_words_are_one_sentence(tmp_path, capsys, words, says):
    assert main(["score", str(write(tmp_path, band_marks())), *words]) == 2
    told = capsys.readouterr().err
    assert says in told
    assert told.count("\n") == 1


def test_spellings_of_an_instrument_are_one_instrument(tmp_path):
    lines = band_marks().splitlines()
    lines = [lines[0]] + [
        line.replace(",clarinet,", ",Bb Clarinet,") if at % 2 else line
        for at, line in enumerate(lines[1:])
    ]
    result = tmp_path / "s.json"
    assert main(["score", str(write(tmp_path, "\n".join(lines))), "--json", str(result)]) == 0
    assert {s["instrument"] for s in json.loads(result.read_text())["students"]} == {"clarinet"}


def test_the_plan_gives_the_listening_order(tmp_path, capsys):
    text = band_marks()
    rows = [line.split(",") for line in text.splitlines()]
    order = {(row[1], row[0]): row[6] for row in rows[1:]}
    path = write(tmp_path, "\n".join(",".join(row[:6]) for row in rows))
    plan = tmp_path / "panel.csv"
    lines = [f"{judge},{place},{student},clarinet," for (judge, student), place in order.items()]
    plan.write_text("\n".join(["judge,order,student,instrument,calibration", *lines]))
    result, same = tmp_path / "s.json", tmp_path / "t.json"
    assert main(["score", str(path), "--plan", str(plan), "--json", str(result)]) == 0
    drift = [one["drift"] for one in json.loads(result.read_text())["judges"]]
    assert all(one is not None for one in drift)
    fairness = json.loads(result.read_text())["fairness"]
    assert [question["about"] for question in fairness] == ["order of listening"]
    assert main(["score", str(write(tmp_path, text)), "--json", str(same)]) == 0
    assert drift == [one["drift"] for one in json.loads(same.read_text())["judges"]]
    plan.write_text("judge,order,student\nNobody,1,999\n")
    assert main(["score", str(path), "--plan", str(plan)]) == 2
    assert "knows none of these listenings" in capsys.readouterr().err
