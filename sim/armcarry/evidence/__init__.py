"""What results rest on: a page of methods for each check, the shipped evidence run anew, assumptions of a run."""
