import numpy as np
import pytest

from fairhearing.core.errors import TableError
from fairhearing.core.judging.fair import fair_scores
from fairhearing.core.judging.marks import Mark, from_rows
from fairhearing.core.judging.rubric import FAMILIES, read_rubric, shipped, weighted
from fairhearing.core.judging.scale_points import CountTable, scale_counts

SMALL = """
name = "Small"
[[section]]
id = "etude"
weight = 3
[[section.criterion]]
id = "tone"
weight = 2
highest = 5
step = 0.5
[section.criterion.levels]
1 = "weak"
3 = "fair"
5 = "good"
[[section.criterion]]
id = "rhythm"
highest = 5
[section.criterion.levels]
1 = "weak"
"""


def rubric(tmp_path, text=SMALL):
    path = tmp_path / "rubric.toml"
    path.write_text(text)
    return read_rubric(path)


@pytest.mark.parametrize("name", sorted(shipped()))
@pytest.mark.parametrize("family", FAMILIES)
def test_shipped_rubrics_are_complete_for_every_family(name, family):
    found = read_rubric(name)
    sections = found.for_family(family)
    assert found.about
    assert sections
    assert any(section.optional for section in sections)
    assert sum(found.weights(family).values()) == pytest.approx(1)
    for section in sections:
        for criterion in section.criteria:
            assert criterion.levels[0][0] == criterion.lowest
            if section.counts is None:
                assert len(criterion.levels) == 5
            assert all(words.strip() for _, words in criterion.levels)


def test_percussion_is_judged_on_other_sections():
    full = read_rubric("full")
    winds = {section.id for section in full.for_family("brass")}
    drums = {section.id for section in full.for_family("percussion")}
    assert winds & drums == {"honors"}
    assert {"snare", "mallets", "timpani"} <= drums


def test_one_of_the_shipped_rubrics_uses_halves_and_one_whole_points():
    steps = {
        criterion.step
        for name in shipped()
        for section in read_rubric(name).sections
        if section.counts is None
        for criterion in section.criteria
    }
    assert steps == {0.5, 1.0}


def test_weights_of_sections_and_criteria(tmp_path):
    assert rubric(tmp_path).weights("brass") == pytest.approx(
        {("etude", "tone"): 2 / 3, ("etude", "rhythm"): 1 / 3}
    )


def test_words_of_a_level_hold_until_the_next(tmp_path):
    tone = rubric(tmp_path).sections[0].criteria[0]
    assert [tone.describe(mark) for mark in (1, 2.5, 3, 4.5, 5)] == [
        "weak", "weak", "fair", "fair", "good",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("complete", "wrong", "extra", "points"),
    [(0, 0, 0, 0), (2, 0, 0, 2.5), (3, 0, 0, 2.5), (4, 3, 0, 3.7), (4, 0, 2, 4.5), (9, 0, 9, 5),
     (0, 5, 0, 0)],
)  # fmt: skip
def test_points_from_counts(complete, wrong, extra, points):
    table = CountTable(((0, 0.0), (2, 2.5), (4, 4.0)), -0.1, 0.25, 5.0)
    assert table.points(complete, wrong, extra) == pytest.approx(points)


def test_counts_from_the_scales_that_were_heard():
    def scale(tonic, complete=True, inside=True, octaves=1, wrong=0):
        return {
            "tonic": tonic, "complete": complete, "in_window": inside,
            "octaves": octaves, "wrong_notes": wrong,
        }  # fmt: skip

    heard = [
        scale("C", wrong=2),
        scale("C", octaves=2),  # a second, better attempt
        scale("G", wrong=1),
        scale("D", complete=False),
        scale("A", inside=False),
    ]
    assert scale_counts(heard) == (2, 1, 1)
    assert scale_counts([]) == (0, 0, 0)
    counts = read_rubric("full").sections[1].counts
    assert counts is not None
    assert counts.points(*scale_counts(heard)) == pytest.approx(2 - 0.1 + 0.25)


def test_counts_are_not_negative():
    with pytest.raises(TableError, match="0 or more"):
        CountTable(((0, 0.0),), 0, 0, 5).points(-1)


def test_marks_take_the_rubrics_weight(tmp_path):
    rows = [(Mark("1", "A", "tone", 4.5), "brass"), (Mark("1", "A", "rhythm", 3, "etude"), "brass")]
    found = list(weighted(rubric(tmp_path), rows))
    assert [row.weight for row in found] == pytest.approx([2 / 3, 1 / 3])
    assert [row.section for row in found] == ["etude", "etude"]


@pytest.mark.parametrize(
    ("mark", "says"),
    [
        (Mark("1", "A", "tone", 6, line=8), "line 8: the mark 6 .* outside 1 to 5"),
        (Mark("1", "A", "tone", 2.25, line=8), "steps of 0.5"),
        (Mark("1", "A", "rhythm", 2.5, line=8), "steps of 1"),
        (Mark("1", "A", "colour", 2, line=8), '"colour" is not in the rubric .*etude tone'),
    ],
)
def test_marks_off_the_rubric_name_the_line(tmp_path, mark, says):
    with pytest.raises(TableError, match=says):
        list(weighted(rubric(tmp_path), [(mark, "brass")]))


def test_an_optional_section_left_out_costs_nothing():
    full = read_rubric("full")
    rows = []
    for student in range(6):
        for judge, severe in (("A", 0), ("B", 1)):
            for section, criterion in full.weights("woodwind"):
                if section != "honors" or student < 3:
                    mark = 7.0 - severe - (2 if section == "honors" else 0)
                    rows.append((Mark(str(student), judge, criterion, mark, section), "woodwind"))
    scores = fair_scores(from_rows(weighted(full, rows)))
    assert scores.fair == pytest.approx(np.full(6, scores.fair[0]))


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('id = "etude"', 'id = ""', 'needs "id"'),
        ("weight = 3", "weight = 0", '"weight" is above 0'),
        ("weight = 3", "wieght = 3", '"wieght" is not an entry'),
        ("step = 0.5", "step = 0.3", "step is 1"),
        ('1 = "weak"\n3', '2 = "weak"\n3', "lowest level 1 needs words"),
        ('5 = "good"', '9 = "good"', "above the highest mark"),
        ('id = "rhythm"', 'id = "tone"', "the same id"),
        ("weight = 3", 'weight = 3\nfamilies = ["strings"]', '"strings" is no family'),
        ("weight = 3", "weight = 3\noptional = true", "is optional; one must be played by all"),
        ("highest = 5\nstep", "highest = 1\nstep", "above the lowest"),
        (SMALL, "name = 'x'", "no section"),
        (SMALL, "[[section", "not valid TOML"),
        (SMALL, "[[section]]\nid = 'a'\nweight = 1\n", "either criteria or a table of counts"),
        (
            SMALL,
            "[[section]]\nid='a'\nweight=1\n[section.counts]\ncomplete=[0,3,2]\npoints=[0,1,2]\n",
            "rises from 0",
        ),
        (
            SMALL,
            "[[section]]\nid='a'\nweight=1\n[section.counts]\ncomplete=[0,3]\npoints=[2,1]\n",
            "cannot earn fewer points",
        ),
    ],
)
def test_an_impossible_rubric_is_refused(tmp_path, old, new, says):
    with pytest.raises(TableError, match=says) as refused:
        rubric(tmp_path, SMALL.replace(old, new))
    assert str(refused.value).startswith("rubric.toml: ")


def test_a_missing_rubric_names_the_shipped_ones(tmp_path):
    with pytest.raises(TableError, match="shipped rubrics are full, short"):
        read_rubric(tmp_path / "none.toml")
