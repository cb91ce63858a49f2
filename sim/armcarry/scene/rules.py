"""What the rules ask of a pair of bodies."""

from __future__ import annotations

from armcarry.files.documents.rules import RulesDocument


def required_clearance_m(rules: RulesDocument, class_a: str, class_b: str) -> float | None:
    """Return the required clearance between two classes in metres, None when no rule covers them.

    The first rule that names the two classes, in either order, counts.
    """
    for rule in rules.required:
        if rule.between in ((class_a, class_b), (class_b, class_a)):
            return rule.distance
    return None
