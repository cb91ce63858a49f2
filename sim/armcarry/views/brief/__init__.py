"""The briefing: report, slides and step cards, all from the same facts of one run."""
