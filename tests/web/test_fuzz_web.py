"""Hostile forms and questions to the whole application: no server error, no inside shown.

A short run; `make soak` tries thousands (tools/soak_fuzz.py, docs/soak.md). Requests to the read
interface are made by schemathesis from its OpenAPI description, half of them against it, and every
answer is held against that description.
"""

import pytest
from hypothesis import HealthCheck, Phase, given, settings

from fuzz_targets import Target
from web.fuzz_web import WEB_TARGETS, site


@pytest.mark.parametrize("target", WEB_TARGETS, ids=lambda target: target.name)
def test_hostile_requests_are_answered(target: Target):
    accepted = []

    @settings(
        max_examples=80,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(target.inputs())
    def tried(hostile):
        accepted.append(target.read(hostile))

    tried()
    assert accepted.count(True) >= 8
    assert accepted.count(False) >= 8


def test_every_address_that_takes_a_post_is_tried():
    tried = {form.action.replace("{examination}", "{examination_id}") for form in site().forms}
    assert set(site().posts()) <= tried | {"/examinations/{examination_id}/timers/{kind}"}
    assert len(site().forms) > 200


def test_a_form_of_a_page_filled_in_as_offered_is_accepted():
    """So that the fuzzing begins from forms that work."""
    form = next(f for f in site().forms if f.action.endswith("/sweep"))
    answer = site().client.post(
        form.action.replace("{examination}", site().examination),
        data={name: values[0] for name, values in form.fields},
        follow_redirects=False,
    )
    assert answer.status_code == 303
