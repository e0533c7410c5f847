"""What the examiner does and finds: the catalogue of bedside tests and the record of findings."""
