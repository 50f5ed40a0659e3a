"""Whatever the history, drift says something sound of it: no visit, no order and no number of them breaks it."""

from __future__ import annotations

import math
from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from asfound.assessment.history.drift import Ahead, drift
from asfound.assessment.history.epochs import VisitHistory, epochs_of, lasting_of
from asfound.assessment.history.scales import scales_of
from asfound.records.models import Channel
from tests.assessment.history.histories import Instrument
from tests.examples import examples

FIRST = date(2012, 2, 29)


def any_history(data):
    """Visits on any days, at two positions, adjusted or not, with new elements, stated results and none at all."""
    instrument, visits, day = Instrument(), [], FIRST
    instrument.result(day, 50.0, 0.0, {"own": 0.1})
    for number in range(data.draw(st.integers(0, 6))):
        day += timedelta(days=data.draw(st.sampled_from([0, 1, 200, 365, 4000])))

        def results(phase, number=number, day=day):
            found = []
            for at in data.draw(st.lists(st.sampled_from([20.0, 50.0, 50.4, 80.0, math.nan]), max_size=4)):
                error, own = data.draw(st.sampled_from([(0.0, 0.1), (0.3, 0.1), (-9.0, 0.1), (0.1, 0.0)]))
                sources = {f"own/{number}/{phase}/{len(found)}": own, data.draw(st.sampled_from(["a", "b"])): 0.2}
                way = data.draw(st.sampled_from(["start", "rising", "falling"]))
                keys = {"direction": way, "phase": phase, "reference_value": 50.0 if math.isnan(at) else at}
                result = instrument.result(day, at, error, sources, **keys)
                stated = data.draw(st.sampled_from([False, False, True]))
                found.append(result.altered(line=None, status="stated", temperature_c=math.nan) if stated else result)
            return tuple(found)

        adjusted, place = data.draw(st.booleans()), data.draw(st.sampled_from(["RH-1", "RH-1", "RH-2"]))
        visits.append(
            VisitHistory(
                day=day,
                as_found=results("as_found"),
                as_left=results("as_left"),
                adjusted=adjusted,
                element=adjusted and data.draw(st.booleans()),
                position=place,
            )
        )
    return instrument, visits, day


@examples(40)
@given(st.data())
def test_whatever_the_history_something_sound_is_said_of_it(data):
    instrument, visits, last = any_history(data)
    budgets = instrument.budgets()
    lasting = lasting_of(visits, budgets)
    epochs = epochs_of(visits, lasting)
    channel = data.draw(st.sampled_from(list(Channel)))
    known = scales_of([e for e in epochs if e is not None], channel, data.draw(st.sampled_from([0.0, 0.1])))
    ahead = Ahead(today=last, due=last, months=12, tolerance_at=lambda at: at / 50.0)
    found = drift(visits, epochs[-1], lasting, channel, known, ahead)
    assert found.state in ("too few visits", "steady", "watch", "drifting") and found.sentence
    assert (found.fit is None) == math.isnan(found.rate)
    if found.fit is None:
        assert found.outlooks == ()
        return
    assert found.U >= 0.0 and 0.0 <= found.p_value <= 1.0 and found.nu > 0.0 and found.naive
    for outlook in found.outlooks:
        assert outlook.U_today > 0.0 and outlook.U_due > 0.0
        assert math.isfinite(outlook.error_today) and math.isfinite(outlook.error_due)
        leaves = outlook.leaves
        days = [leaves.earliest or date.max, leaves.median or date.max, leaves.latest or date.max]
        assert days == sorted(days) and leaves.sentence
