"""An audiogram touched on its chart, or typed in its table, gives the findings of the measure."""

import math

import pytest

from decussate.measures.as_findings.hearing import audiogram_findings
from decussate.measures.audiogram import AUDIOMETRIC_HZ, Audiogram, Conduction, Threshold
from decussate.measures.audiogram_words import levels_in_words
from decussate.sides import Side
from decussate.web.audiogram_chart import chart_view, written_level

AIR, BONE = Conduction.AIR, Conduction.BONE
RIGHT, LEFT = Side.RIGHT, Side.LEFT
# A sensorineural loss of the left ear, masked where the right could hear it.
LEVELS = {
    **{(RIGHT, AIR, hz): "10" for hz in (500, 1000, 2000, 4000)},
    **{
        (LEFT, AIR, hz): f"{level} m"
        for hz, level in ((500, 40), (1000, 50), (2000, 60), (4000, 70))
    },
    **{
        (LEFT, BONE, hz): f"{level} m"
        for hz, level in ((500, 40), (1000, 50), (2000, 60), (4000, 65))
    },
}
FORM = {f"level {side} {way} {hz}": typed for (side, way, hz), typed in LEVELS.items()}


def recorded(app, examination):
    return {
        (f.test, f.side): (f.response, f.measurement and f.measurement.value)
        for f in app.state.store.examination(examination).present()
    }


def expected():
    audiogram = Audiogram(tuple(written_level(*key, typed) for key, typed in LEVELS.items()))
    return {
        (f.test, f.side): (f.response, f.measurement and f.measurement.value)
        for f in audiogram_findings(audiogram)
    }


def test_typed_levels_give_the_findings_of_the_measure_and_are_kept(
    client, enter, app, examination
):
    assert enter("audiogram", **FORM).status_code == 200
    found = recorded(app, examination)
    assert found == expected()
    # The mean of 0.5, 1, 2 and 4 kHz (World report on hearing, WHO 2021): (40+50+60+70)/4.
    assert found["audiogram_average", LEFT] == ("reduced", 55.0)
    assert found["audiogram_kind", LEFT] == ("sensorineural", None)
    assert len(app.state.store.history(examination)) == 1
    page = client.get(f"/examinations/{examination}").text
    assert 'name="level left air 4000" value="70 m"' in page
    assert 'name="level right bone 4000" value=""' in page
    assert "Ears are the patient’s" in page


def test_every_threshold_is_read_back_from_its_words():
    thresholds = tuple(
        Threshold(side, hz, way, -10.0 + 5 * n, masked=n % 2 == 0, no_response=n % 3 == 0)
        for side in Side
        for way in Conduction
        for n, hz in enumerate(AUDIOMETRIC_HZ)
    )
    finding = audiogram_findings(Audiogram(thresholds))[0]
    said = finding.model_copy(update={"comment": levels_in_words(Audiogram(thresholds))})
    fields = chart_view({(finding.test, finding.side): said}).fields
    again = tuple(written_level(Side(e), Conduction(c), hz, t) for (e, c, hz), t in fields.items())
    assert Audiogram(again) == Audiogram(thresholds)


def test_an_octave_is_as_long_as_20_db():
    # ISO 8253-1, presentation of the audiogram.
    chart = chart_view({})
    at = {hz: x for hz, x, _ in chart.columns}
    level = dict(chart.rows)
    assert math.isclose(at[2000] - at[1000], level[20] - level[0])


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({}, "at least one threshold"),
        ({"level right air 1000": "40"}, "500, 1000, 2000 and 4000 Hz"),
        (FORM | {"level left air 500": "forty"}, "40 m or 110 n"),
        (FORM | {"level left air 500": "400"}, "dB HL"),
    ],
)
def test_what_cannot_be_an_audiogram_is_refused(enter, present, form, said):
    answer = enter("audiogram", **form)
    assert answer.status_code == 422
    assert said in answer.text
    assert present() == set()


@pytest.mark.browser
def test_touching_the_grid_gives_the_same_record_as_typing(open_page, app, examination):
    page = open_page(f"/examinations/{examination}", size="tablet")
    page.locator("#group-hearing > details > summary").tap()
    page.locator("#picture-audiogram > summary").tap()
    chart = chart_view({})
    at, level_y = {hz: x for hz, x, _ in chart.columns}, dict(chart.rows)
    picture = page.locator("form.hearing svg")
    picture.scroll_into_view_if_needed()
    box = picture.bounding_box()
    scale = box["width"] / chart.width
    for (side, way, hz), typed in LEVELS.items():
        curve = page.locator(f"form.hearing input[value='{side} {way}']")
        if not curve.is_checked():
            curve.check()
            page.locator("form.hearing input[name=masked]").set_checked(typed.endswith("m"))
        level = int(typed.split()[0])
        y = level_y[level] if level in level_y else (level_y[level - 5] + level_y[level + 5]) / 2
        picture.click(position={"x": at[hz] * scale, "y": y * scale})
    assert page.locator("form.hearing .mark").count() == len(LEVELS)
    page.get_by_role("button", name="Record the audiogram").tap()
    page.locator("#count-hearing").get_by_text("abnormal").first.wait_for()
    assert recorded(app, examination) == expected()
