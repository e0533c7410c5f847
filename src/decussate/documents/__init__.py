"""Documents: what a clinician takes away from an examination, and what is printed for one."""
