"""What was concluded, as FHIR resources: place, report and alerts, each for a clinician to judge.

The program is named as the source of every conclusion, their status is never final, and the words
that a licensed clinician decides stand beside each.
"""

from __future__ import annotations

from collections.abc import Sequence
from importlib.metadata import version
from typing import TYPE_CHECKING

from decussate.bibliography import cite
from decussate.documents.fhir.codes import Element, concept, item, own_coding, words
from decussate.documents.fhir.exact_text import shown_text
from decussate.documents.fhir.observations import laterality
from decussate.urgency import Alert, Level

if TYPE_CHECKING:
    from decussate.localisation import Candidate, Localisation, Reason

__all__ = [
    "LEAST_PERCENT",
    "clinical_impression",
    "detected_issue",
    "device",
    "diagnostic_report",
    "risk_assessment",
]

LEAST_PERCENT = 0.5
"""Least probability of a place that is written out, in per cent (judgement)."""
PLACES_IN_IMPRESSION = 3


def device() -> Element:
    """Return the program as a Device: the author of what it concluded."""
    return {
        "resourceType": "Device",
        "deviceName": [{"name": "Decussate", "type": "manufacturer-name"}],
        "type": {"text": "Software that informs the judgement of a licensed clinician"},
        "version": [{"value": version("decussate")}],
    }


def risk_assessment(
    localisation: Localisation,
    findings: Sequence[Element],
    subject: Element,
    author: Element,
    moment: str,
) -> Element:
    """Return the localisation as a RiskAssessment, one prediction a place.

    Parameters
    ----------
    localisation : Localisation
    findings : sequence of dict
        References to the findings it rests on.
    subject, author : dict
        References to the patient and to the program.
    moment : str
        When, as FHIR writes it.

    Returns
    -------
    dict
        ``probabilityDecimal`` is in per cent, from 0 to 100.

    References
    ----------
    HL7 FHIR R4, RiskAssessment.prediction.probability[x]: "Decimal values are expressed as
    percentages as well (max = 100)".
    """
    shown = [c for c in localisation.candidates if 100 * c.probability >= LEAST_PERCENT]
    rest = localisation.candidates[len(shown) :]
    notes = [words()["caution"]]
    if rest:
        left = 100 * sum(candidate.probability for candidate in rest)
        said = words()["left_out"].format(count=len(rest), least=LEAST_PERCENT, rest=left)
        notes.append(said)
    return {
        "resourceType": "RiskAssessment",
        "status": "preliminary",
        "code": concept(item("localisation")),
        "subject": subject,
        "occurrenceDateTime": moment,
        "performer": author,
        "basis": list(findings),
        "prediction": [_prediction(candidate) for candidate in shown],
        "note": [{"text": note} for note in notes],
    }


def _prediction(candidate: Candidate) -> Element:
    said = (("For it", candidate.supports), ("Against it", candidate.against))
    rationale = " ".join(f"{word}: {_listed(reasons)}." for word, reasons in said if reasons)
    predicted: Element = {
        "outcome": _place(candidate),
        "probabilityDecimal": round(100 * candidate.probability, 2),
    }
    return predicted | ({"rationale": rationale} if rationale else {})


def _listed(reasons: Sequence[Reason]) -> str:
    return "; ".join(f"{reason.text} ({reason.log10:+.1f})" for reason in reasons)


def _place(candidate: Candidate) -> Element:
    name = candidate.name.removeprefix(f"{candidate.side.value} ") if candidate.side else None
    coding = own_coding("place", candidate.place, name or candidate.name)
    side = {"extension": [laterality(candidate.side.value)]} if candidate.side else {}
    return side | concept(coding, text=candidate.name)


def clinical_impression(
    localisation: Localisation, findings: Sequence[Element], subject: Element, assessment: Element
) -> Element:
    """Return the localisation in words as a ClinicalImpression, in progress, without an assessor.

    Parameters
    ----------
    localisation : Localisation
    findings : sequence of dict
        References to the findings it rests on.
    subject : dict
        Reference to the patient.
    assessment : dict
        Reference to the probabilities.

    Returns
    -------
    dict
        A clinician who agrees makes it complete and signs it.
    """
    leading = localisation.candidates[:PLACES_IN_IMPRESSION]
    return {
        "resourceType": "ClinicalImpression",
        "status": "in-progress",
        "code": concept(item("localisation")),
        "subject": subject,
        "investigation": [{"code": concept(item("examination")), "item": list(findings)}],
        "summary": localisation.text,
        "finding": [{"itemCodeableConcept": _place(candidate)} for candidate in leading],
        "supportingInfo": [assessment],
        "note": [{"text": words()["caution"]}],
    }


def diagnostic_report(
    localisation: Localisation | None, findings: Sequence[Element], subject: Element, moment: str
) -> Element:
    """Return the findings that stand, with the conclusion in words, as a DiagnosticReport.

    Parameters
    ----------
    localisation : Localisation or None
    findings : sequence of dict
        References to the findings.
    subject : dict
        Reference to the patient.
    moment : str
        When it was put together, as FHIR writes it.

    Returns
    -------
    dict
    """
    report: Element = {
        "resourceType": "DiagnosticReport",
        "status": "preliminary",
        "code": concept(item("examination")),
        "subject": subject,
        "issued": moment,
        "result": list(findings),
    }
    if localisation:
        report["conclusion"] = f"{localisation.text} {words()['caution']}"
    return report


def detected_issue(alert: Alert, subject: Element, author: Element, moment: str) -> Element:
    """Return an alert as a DetectedIssue.

    Parameters
    ----------
    alert : Alert
    subject, author : dict
        References to the patient and to the program.
    moment : str
        When, as FHIR writes it.

    Returns
    -------
    dict
    """
    source = cite(alert.source) + (f" ({alert.mark})" if alert.mark else "")
    side = f" ({' and '.join(alert.sides)})" if alert.sides else ""
    missing = f" Not yet examined: {', '.join(alert.not_examined)}." if alert.not_examined else ""
    detail = (
        f"{alert.level.value.upper()}, {alert.time_frame}: {alert.title}{side}. {alert.advice}"
        f"{missing} Source: {source} {words()['caution']}"
    )
    found: Element = {
        "resourceType": "DetectedIssue",
        "status": "preliminary",
        "code": concept(own_coding("alert", alert.rule, alert.title), _level(alert.level)),
        "severity": words()["severity"][alert.level.value],
        "patient": subject,
        "identifiedDateTime": moment,
        "author": author,
        "detail": detail,
    }
    if alert.because:
        reasons = (shown_text(reason) for reason in alert.because)
        found["evidence"] = [{"code": [{"text": reason}]} for reason in reasons]
    return found


def _level(level: Level) -> Element:
    return item(f"level.{level.value.replace(' ', '_')}")
