"""One process a job: results, plain errors, and a death that harms nobody else."""

from __future__ import annotations

from fairhearing import engine

HERE = "tests_engine_steps"


def test_every_job_has_one_outcome_and_a_death_harms_no_neighbour(monkeypatch, tmp_path):
    (tmp_path / f"{HERE}.py").write_text(
        "from fairhearing.core.errors import FairHearingError\nimport os\n"
        "def double(job):\n"
        "    if job['n'] == 3: raise FairHearingError('three is not wanted; leave it out')\n"
        "    if job['n'] == 5: os._exit(9)\n"
        "    return {'n': job['n'] * 2}\n"
    )
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    monkeypatch.syspath_prepend(str(tmp_path))
    outcomes = {
        o.job["n"]: o for o in engine.run(f"{HERE}:double", ({"n": n} for n in range(8)), workers=2)
    }
    assert sorted(outcomes) == list(range(8))
    assert [outcomes[n].result for n in (0, 1, 7)] == [{"n": 0}, {"n": 2}, {"n": 14}]
    assert outcomes[3].error == "three is not wanted; leave it out"
    assert outcomes[5].result is None
    assert "exit code 9" in outcomes[5].error


def test_stopping_early_leaves_no_process_behind(monkeypatch, tmp_path):
    (tmp_path / f"{HERE}_slow.py").write_text(
        "import time\ndef sleep(job):\n    time.sleep(job['s'])\n    return {}\n"
    )
    monkeypatch.syspath_prepend(str(tmp_path))
    processes = []
    real = engine._start
    monkeypatch.setattr(engine, "_start", lambda *a: processes.append(real(*a)) or processes[-1])
    outcomes = engine.run(f"{HERE}_slow:sleep", [{"s": 0}, {"s": 60}], workers=2)
    next(outcomes)
    outcomes.close()
    assert not any(one.process.is_alive() for one in processes)
