"""Marks, panels and fair scores.

Before listening: :mod:`.rubric` (what is marked), :mod:`.rules` (how marks become places),
:mod:`.panels` (who hears whom; :mod:`.feasibility`, :mod:`.levelling`, :mod:`.panel_links`),
:mod:`.dropout` (when a judge steps back).

After listening: :func:`.evaluate.evaluate` takes :class:`.marks.Marks` and returns all there is to
say. Inside it :mod:`.fair` (scores; :mod:`.additive`, :mod:`.precision`, :mod:`.linking`),
:mod:`.ranking`, :mod:`.agreement`, :mod:`.reliability`, :mod:`.diagnostics` (the judges),
:mod:`.too_close` and :mod:`.listen_again` (the lines), :mod:`.fairness`; then :mod:`.breakdown`
(feedback) and :mod:`.rescore` (what changes when marks change).
"""
