"""Re-export for code written before the model moved to geometry; to be deleted."""

from armcarry.geometry.model import Body, BodyClass, Joint, JointKind, Model

__all__ = ["Body", "BodyClass", "Joint", "JointKind", "Model"]
