"""Measured values as findings of the catalogue, one file a subject.

Each function takes the value a measurement gives and returns the findings to record: the response
by the catalogue's own bands, or by the rows of ``data/as_findings.yaml``, with the measured value
kept in the unit of the test. What was not measured yields no finding.
"""
