import numpy as np
import pytest

from fairhearing.core.errors import JudgingError
from fairhearing.core.judging.agreement import (
    agreement,
    intraclass_correlations,
    kendall_w,
    krippendorff_alpha,
    spearman_brown,
)
from fairhearing.core.judging.marks import Mark, from_rows

# Shrout & Fleiss 1979, Psychological Bulletin 86:420–428, table 2: six targets, four judges.
SHROUT_FLEISS = np.array(
    [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], float
)
_ = np.nan
# Krippendorff 2011, Computing Krippendorff's Alpha-Reliability: four observers, twelve units.
KRIPPENDORFF = np.array(
    [
        [1, 2, 3, 3, 2, 1, 4, 1, 2, _, _, _],
        [1, 2, 3, 3, 2, 2, 4, 1, 2, 5, _, 3],
        [_, 3, 3, 3, 2, 3, 4, 2, 2, 5, 1, _],
        [1, 2, 3, 3, 2, 4, 4, 1, 2, 5, 1, _],
    ]
).T
# NAG Library, document g08da, example: three judges rank ten objects with ties.
NAG = np.array(
    [
        [1, 4.5, 2, 4.5, 3, 7.5, 6, 9, 7.5, 10],
        [2.5, 1, 2.5, 4.5, 4.5, 8, 9, 6.5, 10, 6.5],
        [2, 1, 4.5, 4.5, 4.5, 4.5, 8, 8, 8, 10],
    ]
).T


def test_shrout_fleiss_table():
    found = intraclass_correlations(SHROUT_FLEISS)
    assert (found.icc_1_1, found.icc_2_1, found.icc_3_1) == pytest.approx(
        (0.166, 0.290, 0.715), abs=5e-4
    )
    assert (found.icc_1_k, found.icc_2_k, found.icc_3_k) == pytest.approx(
        (0.443, 0.620, 0.909), abs=5e-4
    )
    assert (found.between_ms, found.within_ms, found.judges_ms, found.error_ms) == pytest.approx(
        (11.242, 6.264, 32.486, 1.019), abs=5e-4
    )


@pytest.mark.parametrize(("single", "mean"), [(0.1657, 0.4428), (0.7148, 0.9093)])
def test_spearman_brown_of_the_same_table(single, mean):
    assert spearman_brown(single, 4) == pytest.approx(mean, abs=1e-4)


def test_pingouin_agrees_on_random_tables():
    pingouin = pytest.importorskip("pingouin")
    pd = pytest.importorskip("pandas")
    rng = np.random.default_rng(2)
    for shape in [(8, 3), (30, 5), (5, 2)]:
        ratings = rng.normal(0, 1, shape) + rng.normal(0, 1, (shape[0], 1))
        ratings += rng.normal(0, 0.5, shape[1])
        long = pd.DataFrame(
            [(i, j, ratings[i, j]) for i in range(shape[0]) for j in range(shape[1])],
            columns=["take", "judge", "mark"],
        )
        table = pingouin.intraclass_corr(long, "take", "judge", "mark")
        found = intraclass_correlations(ratings)
        ours = [
            found.icc_1_1, found.icc_2_1, found.icc_3_1,
            found.icc_1_k, found.icc_2_k, found.icc_3_k,
        ]  # fmt: skip
        assert ours == pytest.approx(table["ICC"].to_numpy(), abs=1e-9)


@pytest.mark.parametrize(
    ("level", "alpha"),
    [("nominal", 0.743), ("ordinal", 0.815), ("interval", 0.849), ("ratio", 0.797)],
)
def test_krippendorff_example(level, alpha):
    assert krippendorff_alpha(KRIPPENDORFF, level) == pytest.approx(alpha, abs=5e-4)


@pytest.mark.parametrize("level", ["nominal", "ordinal", "interval", "ratio"])
def test_krippendorff_library_agrees_on_random_tables(level):
    krippendorff = pytest.importorskip("krippendorff")
    rng = np.random.default_rng(4)
    for n_takes, n_judges in [(10, 2), (40, 6), (700, 3)]:
        ratings = rng.integers(1, 11, (n_takes, n_judges)).astype(float)
        ratings[rng.random(ratings.shape) < 0.3] = np.nan
        assert krippendorff_alpha(ratings, level) == pytest.approx(
            krippendorff.alpha(ratings.T, level_of_measurement=level), abs=1e-9
        )


def test_kendall_w_with_ties():
    found = kendall_w(NAG)
    assert found.w == pytest.approx(0.8277, abs=5e-5)
    assert found.uncorrected == pytest.approx(0.796, abs=5e-4)
    assert found.p == pytest.approx(0.0078, abs=5e-5)


def test_scipy_agrees_on_the_statistic_of_w():
    stats = pytest.importorskip("scipy.stats")
    rng = np.random.default_rng(6)
    ratings = rng.integers(1, 6, (12, 5)).astype(float)
    found = kendall_w(ratings)
    chi_square, p = stats.friedmanchisquare(*ratings)
    # Friedman's test ranks the takes within each judge: judges are its blocks.
    assert (found.chi_square, found.p) == pytest.approx((chi_square, p), abs=1e-9)


@pytest.mark.parametrize(
    ("ratings", "says"),
    [
        ([[1.0, 1.0], [1.0, 1.0]], "same mean mark"),
        ([[1.0], [2.0]], "one judge only"),
        ([[1.0, _], [2.0, 3.0]], "every judge heard"),
    ],
)
def test_what_cannot_be_measured_is_said(ratings, says):
    with pytest.raises(JudgingError, match=says):
        intraclass_correlations(np.array(ratings))


def test_alpha_needs_two_judges_and_two_values():
    with pytest.raises(JudgingError, match="no take was heard by two judges"):
        krippendorff_alpha(np.array([[1.0, _], [_, 2.0]]))
    with pytest.raises(JudgingError, match="all marks are 3"):
        krippendorff_alpha(np.full((3, 2), 3.0))
    with pytest.raises(JudgingError, match="below 0"):
        krippendorff_alpha(np.array([[-1.0, 2.0], [1.0, 2.0]]), "ratio")


def test_season_figures_come_from_the_marks_or_say_why_not():
    rows = [
        Mark(str(i), f"J{j}", "total", value)
        for i, row in enumerate(SHROUT_FLEISS)
        for j, value in enumerate(row)
    ]
    found = agreement(from_rows(rows))
    assert found.icc is not None
    assert found.icc.icc_2_k == pytest.approx(0.620, abs=5e-4)
    assert found.concordance is not None
    assert not found.reasons
    alone = agreement(from_rows([row for row in rows if row.judge == "J0"]))
    assert alone.icc is None
    assert alone.alpha["interval"] is None
    assert "no take was heard by two judges" in alone.reasons["alpha_interval"]
